"""Fit fringe orders to the light inside the edge, from a first model to the covariance."""
