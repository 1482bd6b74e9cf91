"""Rings between two curved surfaces: the half-order trap.

Source
------
READ   inputs: physicsforums.com thread 384351, a problem of Serway's textbook: a convex of 4.00 m
       in a concave of 12.0 m, 500 nm, radius of the 100th bright ring. The poster used order
       100.5 and guessed 1.74 cm.
MEMORY the textbook's answer, 1.73 cm.
RUN    1.7277 cm for order 99.5; 1.73205 for 100; 1.73638 for 100.5.

Three digits cannot tell order 99.5 from 100, so the test is against 1.7277 cm.
"""

from __future__ import annotations

import pytest

from fringe.optics import rings, spheres

CONVEX_MM, CONCAVE_MM, WAVELENGTH_NM = 4000.0, 12000.0, 500.0


def test_effective_radius():
    """1/R = 1/4 - 1/12 per metre: 6 m (analytic)."""
    assert rings.effective_radius_mm(CONVEX_MM, CONCAVE_MM) == pytest.approx(6000.0)


def test_hundredth_bright_ring_has_order_99_5():
    """The 100th bright ring lies at 1.7277 cm (analytic; the printed 1.73 cm has 3 digits)."""
    effective = rings.effective_radius_mm(CONVEX_MM, CONCAVE_MM)
    r = rings.bright_ring_radius_mm(100, WAVELENGTH_NM, effective)
    assert r / 10 == pytest.approx(1.7277, abs=5e-5)
    assert round(r / 10, 2) == 1.73
    dark = rings.dark_ring_radius_mm(100, WAVELENGTH_NM, effective)
    assert dark / 10 == pytest.approx(1.73205, abs=5e-6)
    beyond = rings.bright_ring_radius_mm(101, WAVELENGTH_NM, effective)
    assert beyond / 10 == pytest.approx(1.73638, abs=5e-6)
    assert round(beyond / 10, 2) == 1.74


def test_exact_gap_there_is_99_5_half_waves():
    """The exact gap of the spheres at 1.7277 cm is of order 99.5, not 100 or 100.5 (analytic)."""
    gap = spheres.gap_nm(CONVEX_MM, CONCAVE_MM - CONVEX_MM, 17.277)
    assert 2 * gap / WAVELENGTH_NM == pytest.approx(99.5, abs=0.01)
