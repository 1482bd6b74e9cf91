"""Plates' own visits as the archive has them, and what follows from them."""
