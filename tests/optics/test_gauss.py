"""Nodes of Gauss's integration, against numpy's."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.optics.gauss import gauss_legendre


@pytest.mark.parametrize("count", [1, 2, 24, 65])
def test_nodes_and_weights_are_numpys(count: int) -> None:
    """As numpy.polynomial has them, to the last digits."""
    for ours, theirs in zip(
        gauss_legendre(count), np.polynomial.legendre.leggauss(count), strict=True
    ):
        np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-14)


def test_powers_are_integrated() -> None:
    """Of x^k over -1 to 1, 400 nodes give 2 / (k + 1) or zero, up to k = 799 (analytic)."""
    nodes, weights = gauss_legendre(400)
    for power in (0, 1, 2, 3, 100, 798, 799):
        meant = 2 / (power + 1) if power % 2 == 0 else 0.0
        assert abs(weights @ nodes**power - meant) < 1e-13
