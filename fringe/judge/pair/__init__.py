"""Whether a convex and a concave match."""
