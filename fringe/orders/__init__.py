"""From a clean picture to the gap: fringe orders, surface form and covariance."""
