"""Two ring problems as they stand in Halliday's textbook.

Trust: MEMORY. No copy was opened; the problems are recalled and the arithmetic was redone.
"""

from __future__ import annotations

import math

import pytest
from ring_line import ring_line

from fringe.optics import rings, spheres


def test_radius_from_two_rings_twenty_apart():
    """Rings of 0.162 and 0.368 cm, 20 orders apart, give R = 100 cm (published; recalled)."""
    fit = ring_line([0, 20], [1.62, 3.68])
    radius = rings.effective_radius_from_step_mm(fit.slope, 546.0)
    assert radius / 1000 == pytest.approx(0.99982, abs=5e-6)
    assert f"{radius / 10:.0f}" == "100"


def test_count_of_bright_rings_over_a_lens():
    """A 20 mm lens of R = 5.0 m shows 34 bright rings at 589 nm (published; recalled)."""
    order = 2e6 * spheres.sagitta_mm(5000.0, 10.0) / 589.0
    assert order - 0.5 == pytest.approx(33.456, abs=5e-4)
    assert math.floor(order - 0.5) + 1 == 34
