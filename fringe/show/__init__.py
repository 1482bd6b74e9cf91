"""Figures and reports. Functions return figures; saving is the caller's."""
