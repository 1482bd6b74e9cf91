"""More rings from a positive air lens: the limit of the test-plate formula.

Source
------
READ   abstract of Opt. Eng. 61(12) 125107 (2022), "Analysis of using Newton's ring to test lens
       surface radius": "For h/r = 0.87, the ratio of these two numbers can be as large as 2", the
       positive-meniscus air gap showing more rings than the negative-meniscus one.

A positive-meniscus gap is thickest at the centre: contact at the edge. That reading of the
abstract, and the gap along the normal, are ours.
"""

from __future__ import annotations

import pytest

from fringe.optics import spheres


@pytest.mark.parametrize("work", ["convex", "concave"])
@pytest.mark.parametrize("radius", [20.0, 150.0])
def test_same_radius_error_gives_twice_the_rings_at_0_87(radius, work):
    """At h/r = 0.87 edge contact shows 2.0 times the rings of centre contact (published)."""
    difference = 1e-6 * radius
    at_edge, at_centre = sorted(
        spheres.power_fringes(sign * difference, radius, 2 * 0.87 * radius, 546.07, work)
        for sign in (1, -1)
    )
    assert round(-at_edge / at_centre, 1) == 2.0
    assert -at_edge / at_centre == pytest.approx(2.028, abs=5e-4)  # 1/cos, computed


def test_paraxial_formula_errs_at_such_slopes():
    """The test-plate formula misses both contacts by tens of per cent at h/r = 0.87 (analytic).

    Published is only that it "contains significant error" (companion preprint, TechRxiv 21801100).
    """
    args = (100.0, 174.0, 546.07, "concave")
    paraxial = 174.0**2 * 100.0 / (4 * 546.07 * 100.0**2)  # D^2 dR / (4 lambda R^2), dR in nm
    centre = spheres.power_fringes(1e-4, *args)
    edge = -spheres.power_fringes(-1e-4, *args)
    assert centre / paraxial > 1.3
    assert edge / paraxial > 2.5
