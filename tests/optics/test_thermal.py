"""Thermal formulas beyond the published figures: signs, scaling, the table's lookup."""

from __future__ import annotations

import pytest

from fringe.errors import BadInput
from fringe.optics.thermal import (
    bending_nm,
    glass,
    glass_names,
    slab_time_constant_s,
)


def test_bending_scales():
    """Bending goes with the square of the diameter and the inverse of the thickness (analytic)."""
    one = bending_nm(3.25e-6, 0.2, 100, 20)
    assert bending_nm(3.25e-6, 0.2, 200, 20) == pytest.approx(4 * one)
    assert bending_nm(3.25e-6, -0.2, 100, 10) == pytest.approx(-2 * one)


def test_bending_is_that_of_the_curvature():
    """The face warmer by dT is longer by alpha dT D: the disc is an arc of curvature alpha dT/t."""
    alpha, dt, diameter, thickness = 7.1e-6, 0.5, 120.0, 20.0
    radius = thickness / (alpha * dt)
    sagitta = radius - (radius**2 - diameter**2 / 4) ** 0.5
    assert bending_nm(alpha, dt, diameter, thickness) == pytest.approx(1e6 * sagitta, rel=1e-4)


@pytest.mark.parametrize("name", glass_names())
def test_every_glass_loads(name):
    """Each glass of the table has plausible data and a range that holds its value."""
    one = glass(name.upper())
    low, high = one.expansion_range_per_k
    assert low <= one.expansion_per_k <= high
    assert 0.2 < one.diffusivity_mm2_s < 2.0


def test_unknown_glass_and_sizes():
    """An unknown glass is answered with those that there are; sizes must be sizes."""
    with pytest.raises(BadInput, match="borosilicate"):
        glass("unobtainium")
    with pytest.raises(BadInput, match="diameter and a thickness"):
        bending_nm(1e-6, 1, 100, 0)
    with pytest.raises(BadInput, match="greater than zero"):
        slab_time_constant_s(10, 0)
