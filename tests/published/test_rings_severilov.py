"""Rings in mercury green measured in a student laboratory.

Source
------
READ   repository severilov/GenPhys-labs_3-4-5sem, 4.2.1/"Laboratory No. 4.2.1.tex", commit
       9f271809: eyepiece positions of dark rings on both sides, in divisions; 546 nm; a convex lens
       on a flat. Printed: r_m^2 = 1.096 m (1e-8 m^2), R = (2.0 +/- 0.1) cm.

The report states 11.35 divisions a millimetre, but prints and uses 0.09 mm a division; with the
first R is 19.2 mm, within the printed uncertainty. Its bright rings are not used: numbers 4 and 6
lie on the dark rings of the same number.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ring_line import ring_line

from fringe.optics import rings

ORDERS = [6, 5, 4, 3, 2, 1]
LEFT = [1.30, 1.60, 1.84, 2.20, 2.50, 2.98]
RIGHT = [7.04, 6.77, 6.50, 6.16, 5.83, 5.36]
DIVISION_MM = 0.09


@pytest.fixture
def fit() -> Any:
    """Step from the rings' diameters, in millimetres."""
    return ring_line(ORDERS, np.subtract(RIGHT, LEFT) / 2 * DIVISION_MM)


def test_step_is_the_printed_one(fit):
    """The free fit gives the printed slope of 1.096e-2 mm^2 to its last digit (published)."""
    assert fit.slope * 100 == pytest.approx(1.096, abs=5e-4)
    assert fit.slope / DIVISION_MM**2 == pytest.approx(1.353, abs=5e-4)  # square divisions


def test_contact_is_the_order_zero(fit):
    """The free intercept is nothing within its u: no dust, no counting error (analytic)."""
    assert abs(fit.intercept) < 2 * fit.intercept_stderr
    assert fit.intercept / fit.slope == pytest.approx(0.0, abs=0.05)


def test_radius_is_the_printed_one(fit):
    """R is within the printed (20 +/- 1) mm, by either of the report's two scales (published)."""
    radius = rings.effective_radius_from_step_mm(fit.slope, 546.0)
    assert radius == pytest.approx(20.0, abs=1.0)
    other = radius * (1 / 11.35 / DIVISION_MM) ** 2
    assert other == pytest.approx(19.2, abs=0.05)
    assert other == pytest.approx(20.0, abs=1.0)
