"""Reports of a surface and of a pair, as one page."""
