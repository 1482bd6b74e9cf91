"""Surfaces into and out of an archive, and the check of what it holds."""
