"""Worked ring examples "Ex3c.11" and "Ex3c.12, page 187" of a textbook's public solutions.

Trust: READ, numbers as printed there.
"""

from __future__ import annotations

import pytest
from ring_line import ring_line

from fringe.optics import rings


def test_radius_from_fifth_and_fifteenth_ring():
    """D5 = 0.336 cm and D15 = 0.590 cm at 5890 angstrom give R = 99.83 cm (published)."""
    fit = ring_line([5, 15], [3.36 / 2, 5.90 / 2])
    radius = rings.effective_radius_from_step_mm(fit.slope, 589.0)
    assert radius / 10 == pytest.approx(99.83, abs=0.005)


def test_wavelength_from_two_rings():
    """D_n = 0.42 cm, D_(n+14) = 0.7 cm and R = 100 cm give 5600 angstrom (published)."""
    fit = ring_line([0, 14], [4.2 / 2, 7.0 / 2])
    # step = lambda R
    assert fit.slope / 1000.0 / rings.MM2_PER_NM_MM == pytest.approx(560.0, abs=0.5)
