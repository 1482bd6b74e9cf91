"""Rings in mercury yellow measured in a student laboratory, whose printed radius is twice too big.

Source
------
READ   repository BlackSamorez/mipt_lab, folder 4.2.1, second report, commit 695ec051: dark rings 1
       to 10, 579 nm, 1 division = 0.1 mm; a convex lens on a flat. Printed: "k = 2 R lambda =
       1.488e-2 mm^2", R = (2.570 +/- 0.013) cm.

The report takes r = sqrt(2 m R lambda); for reflected light on a flat it is r^2 = m lambda R. The
readings are sound, the printed radius is not: half of it is tested.
"""

from __future__ import annotations

import numpy as np
import pytest
from ring_line import ring_line

from fringe.optics import rings

ORDERS = np.arange(1, 11)
RADII_MM = np.array([0.91, 1.24, 1.51, 1.74, 1.93, 2.11, 2.29, 2.44, 2.58, 2.72]) / 10
PRINTED_R2 = [0.83, 1.54, 2.28, 3.03, 3.72, 4.45, 5.24, 5.95, 6.66, 7.40]  # 1e-2 mm^2


def test_printed_squares_follow_from_the_radii():
    """The printed r^2 are those of the printed radii, to their last digit (published)."""
    np.testing.assert_allclose(RADII_MM**2 * 100, PRINTED_R2, atol=0.0051)


def test_half_of_the_printed_slope_is_the_step():
    """Through the origin the step is half the printed "2 R lambda" (published; halved)."""
    step = ORDERS @ RADII_MM**2 / (ORDERS @ ORDERS)
    assert 2 * step == pytest.approx(1.488e-2, abs=5e-6)
    radius = rings.effective_radius_from_step_mm(step, 579.0)
    assert 2 * radius == pytest.approx(25.70, abs=5e-3)  # the printed radius


def test_radius_with_free_intercept():
    """With an intercept the printed r^2 give a step of 0.7314e-2 mm^2, R = 12.63 mm (analytic)."""
    fit = ring_line(ORDERS, np.sqrt(np.array(PRINTED_R2) / 100))
    assert fit.slope * 100 == pytest.approx(0.7314, abs=5e-5)
    assert fit.intercept * 100 == pytest.approx(0.087, abs=1e-3)
    assert rings.effective_radius_from_step_mm(fit.slope, 579.0) == pytest.approx(12.63, abs=5e-3)
