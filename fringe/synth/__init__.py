"""Rendered photographs of contact fringes with known truth."""
