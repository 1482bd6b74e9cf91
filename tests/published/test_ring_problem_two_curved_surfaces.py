"""Rings between two curved surfaces: the half-order trap.

Source
------
READ   inputs: physicsforums.com thread 384351, a problem of Serway's textbook: a convex of 4.00 m
       in a concave of 12.0 m, 500 nm, radius of the 100th bright ring. The poster used order
       100.5 and guessed 1.74 cm.
MEMORY the textbook's answer, 1.73 cm.
RUN    1.7277 cm for order 99.5; 1.73205 for 100; 1.73638 for 100.5.

Three digits cannot tell order 99.5 from 100, so the test is against the computed ones.
"""

from __future__ import annotations

import pytest

from fringe.optics import spheres

CONVEX_MM, CONCAVE_MM, WAVELENGTH_NM = 4000.0, 12000.0, 500.0


@pytest.mark.parametrize(
    ("r_mm", "order"),
    # the hundredth bright ring, the hundredth dark one, and the next bright one
    [(17.277, 99.5), (17.3205, 100.0), (17.3638, 100.5)],
)
def test_order_of_the_exact_gap(r_mm, order):
    """The exact gap is of order 99.5 where the 100th bright ring lies, not 100 (analytic)."""
    gap = spheres.gap_nm(CONVEX_MM, CONCAVE_MM - CONVEX_MM, r_mm)
    assert 2 * gap / WAVELENGTH_NM == pytest.approx(order, abs=0.006)
