"""Tolerances in all their forms, and whether a value is proven inside."""
