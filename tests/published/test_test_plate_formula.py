"""The test-plate formula N = D^2 dR / (4 lambda R^2) and its exact counterparts.

Sources
-------
READ   (existence only) Saayman, "Tutorial on Test Plates", OPTI 515 (2009), which gives the radius
       deviation in terms of R, m, d and lambda; the equation was lost in the text seen.
MEMORY the formula; its derivation: the sagitta changes by D^2 dR / 8 R^2, a fringe is lambda / 2.
RUN    the numbers.
"""

from __future__ import annotations

import math

import pytest

from fringe.optics import spheres


def slope_factor(diameter_mm: float, radius_mm: float) -> float:
    """Exact over paraxial power to first order in dR: 2 (1 - cos t) / sin^2 t = 2 / (1 + cos t)."""
    return 2 / (1 + math.sqrt(1 - (diameter_mm / (2 * radius_mm)) ** 2))


def test_fringes_of_a_hundredth_of_a_millimetre():
    """D = 50, R = 100, dR = 0.01 mm at 546.07 nm: 1.14454 fringes but for the slope (analytic).

    The exact power is of second order in dR too, which is a ten-thousandth of R.
    """
    got = spheres.power_fringes(0.01, 100.0, 50.0, 546.07, "concave")
    assert got / slope_factor(50.0, 100.0) == pytest.approx(1.14454, rel=3e-4)


def test_exact_fringes_of_the_same_pair():
    """The same pair has 1.20102 fringes in contact at the edge, by axial sagittas (analytic)."""
    got = spheres.power_fringes(0.01, 100.0, 50.0, 546.07, "convex")
    assert -got == pytest.approx(1.20102, abs=5e-6)


def test_exact_fringes_along_the_normal():
    """In contact at the centre it has 1.16288 fringes along the concave's normal (analytic).

    To one unit of the last digit; the first-order value at R = 100 is 1.16301.
    """
    got = spheres.power_fringes(-0.01, 100.01, 50.0, 546.07, "convex")
    assert got == pytest.approx(1.16288, abs=1e-5)


def test_radius_difference_of_five_fringes():
    """5 fringes at 546.07 nm, D = 30, R = 50: 0.0303372 mm but for the slope (analytic).

    The exact difference is of second order in dR too, which is 6e-4 of R.
    """
    got = spheres.radius_difference_mm(5, 50.0, 30.0, 546.07, "concave")
    assert got * slope_factor(30.0, 50.0) == pytest.approx(0.0303372, rel=2e-3)


@pytest.mark.parametrize(
    ("fringes", "from_nm", "to_nm", "want", "half_digit"),
    [(1, 632.8, 546.07, 1.15883, 5e-6), (10, 546.07, 589.3, 9.26642, 5e-6)],
)
def test_fringes_at_another_wavelength(fringes, from_nm, to_nm, want, half_digit):
    """N2 = N1 lambda1 / lambda2 (analytic)."""
    assert spheres.convert_fringes(fringes, from_nm, to_nm) == pytest.approx(want, abs=half_digit)
