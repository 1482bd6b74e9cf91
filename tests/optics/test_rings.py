"""The textbook's ring step against the exact gap of two spheres."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.optics import spheres
from fringe.optics.rings import effective_radius_from_step_mm

YELLOW = 587.562


@given(st.integers(1, 40), st.floats(500, 50_000), st.floats(1.001, 100))
def test_ring_step_is_that_of_the_exact_gap(order, convex, ratio):
    """Where the exact gap is whole half waves, r^2 grows by lambda R a ring (analytic)."""
    concave = ratio * convex
    effective = 1 / (1 / convex - 1 / concave)
    step = effective * YELLOW * 1e-6
    assert effective_radius_from_step_mm(step, YELLOW) == pytest.approx(effective, rel=1e-12)
    r2 = order * step
    gap = spheres.gap_nm(convex, concave - convex, r2**0.5)
    assert 2 * gap / YELLOW == pytest.approx(order, rel=1e-9 + r2 / convex**2, abs=1e-9)
