"""Plate and work compared on a spherometer."""
