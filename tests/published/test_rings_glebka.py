"""Rings in mercury green measured in a student laboratory, with too small an uncertainty.

Source
------
READ   repository glebka35/GenPhys_4sem, 4.2.1/421.tex, commit ae98b80c: eyepiece positions of
       rings on both sides, divisions of "about 0.1 mm" (7 of them 0.69 mm); 546 nm; a convex lens
       on a flat. Printed: slope (7.17 +/- 0.03)e-3 mm^2, a line through the origin;
       R = (13.1 +/- 0.1) mm.

The report's 0.1 mm leaves out the error of its scale: with 0.69/7 mm R is 12.5 mm.
"""

from __future__ import annotations

import numpy as np
import pytest
from ring_line import ring_line

from fringe.optics import rings

ORDERS = np.arange(1, 7)
LEFT = {
    "dark": [2.64, 2.31, 2.05, 1.83, 1.62, 1.46],
    "bright": [2.92, 2.49, 2.19, 1.95, 1.73, 1.54],
}
RIGHT = {
    "dark": [4.36, 4.73, 5.01, 5.23, 5.40, 5.59],
    "bright": [4.13, 4.51, 4.90, 5.11, 5.32, 5.50],
}
PRINTED_R2 = [7.4, 14.6, 21.9, 28.9, 35.7, 42.6]  # dark, 1e-3 mm^2


def radii_mm(kind: str, division_mm: float = 0.1) -> np.ndarray:
    """Half distances of the two sides."""
    return np.subtract(RIGHT[kind], LEFT[kind]) / 2 * division_mm


def test_printed_squares_follow_from_the_positions():
    """The printed r^2 are those of the positions, to their last digit (published)."""
    np.testing.assert_allclose(radii_mm("dark") ** 2 * 1000, PRINTED_R2, atol=0.051)


def test_line_through_the_origin_is_the_printed_one():
    """Without an intercept slope and R are the printed 7.17e-3 mm^2 and 13.1 mm (published)."""
    step = (ORDERS @ radii_mm("dark") ** 2) / (ORDERS @ ORDERS)
    assert 1000 * step == pytest.approx(7.17, abs=5e-3)
    assert rings.effective_radius_from_step_mm(step, 546.0) == pytest.approx(13.1, abs=0.05)


def test_free_intercept_lowers_the_step_and_shows_the_half_order():
    """With an intercept: 7.04e-3 mm^2, dark +0.08 ring, bright half a ring in (analytic)."""
    dark, bright = (ring_line(ORDERS, radii_mm(k)) for k in ("dark", "bright"))
    assert dark.slope * 1000 == pytest.approx(7.04, abs=5e-3)
    assert dark.intercept / dark.slope == pytest.approx(0.08, abs=5e-3)
    assert bright.intercept / bright.slope == pytest.approx(-0.5, abs=0.05)


@pytest.mark.parametrize(("division", "radius"), [(0.1, 12.9), (0.69 / 7, 12.5)])
def test_radius_hangs_on_the_scale(division, radius):
    """R is 12.9 or 12.5 mm by the report's two scales, with an intercept (analytic).

    Neither lies in the printed 13.1 +/- 0.1 mm, which has no intercept and no error of the scale.
    """
    fit = ring_line(ORDERS, radii_mm("dark", division))
    got = rings.effective_radius_from_step_mm(fit.slope, 546.0)
    assert got == pytest.approx(radius, abs=0.05)
    assert abs(got - 13.1) > 0.1
