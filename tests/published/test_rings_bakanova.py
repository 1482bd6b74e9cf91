"""Rings in mercury green measured in a student laboratory that states two scales.

Source
------
READ   repository BakanovaK/PhysLab, 4.2.1/4.2.1.tex, commit 2c3af874: the two edges of rings 0 to
       7, divisions; 546 nm; a convex lens on a flat. Printed: dark r^2 = a m + b with
       a = 0.70 +/- 0.01, b = 0.13 +/- 0.08; bright a = 0.67 +/- 0.01, b = -0.17 +/- 0.06;
       R = (1.28 +/- 0.02) cm.

It states both 0.1 and 0.106 mm a division; the printed R used 0.1.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ring_line import ring_line

from fringe.optics import rings

ORDERS = np.arange(8)
EDGES = {
    "dark": (
        [4.71, 5.00, 5.45, 5.59, 5.83, 6.02, 6.17, 6.47],
        [3.72, 3.24, 2.92, 2.65, 2.42, 2.23, 2.06, 1.89],
    ),
    "bright": (
        [4.15, 4.78, 5.16, 5.44, 5.70, 5.91, 6.09, 6.25],
        [4.15, 3.43, 3.08, 2.79, 2.54, 2.32, 2.11, 1.97],
    ),
}


def fit_of(kind: str) -> Any:
    """Step in square divisions."""
    right, left = EDGES[kind]
    return ring_line(ORDERS, np.subtract(right, left) / 2)


@pytest.mark.parametrize(
    ("kind", "a", "u_a", "b", "u_b"),
    [("dark", 0.70, 0.01, 0.13, 0.08), ("bright", 0.67, 0.01, -0.17, 0.06)],
)
def test_line_is_the_printed_one(kind, a, u_a, b, u_b):
    """Slope, intercept and their uncertainties are the printed ones (published).

    To one unit of the last printed digit: the source cuts digits off (0.675 is printed as 0.67).
    """
    fit = fit_of(kind)
    found = (fit.slope, fit.stderr, fit.intercept, fit.intercept_stderr)
    assert found == pytest.approx((a, u_a, b, u_b), abs=0.01)


@pytest.mark.parametrize(("division", "radius"), [(0.1, 12.85), (0.106, 14.44)])
def test_radius_by_either_scale(division, radius):
    """R is the printed 12.8 mm by the first scale, and 14.4 by the second (published).

    The printed digits are cut off. The second scale is stated but was not used: its R lies
    outside the printed +/- 0.2 mm.
    """
    got = rings.effective_radius_from_step_mm(fit_of("dark").slope * division**2, 546.0)
    assert got == pytest.approx(radius, abs=0.005)
    assert (abs(got - 12.8) <= 0.2) == (division == 0.1)
