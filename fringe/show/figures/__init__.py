"""Figures from results; they are returned, and saving is the caller's."""
