"""Rings expected against rings readable."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.judge.spherometer.reach import LEAST_CONTRAST, reach, rings_by_camera, rings_by_lamp
from fringe.judge.uncertainty.budget import Budget
from fringe.optics.lamps import lamp


def power(value: float, u: float) -> Budget:
    return Budget("power", "fringes", value, u, None, ())


@pytest.mark.parametrize(
    ("value", "u", "near"),
    [(-60, 5, "yes"), (95, 5, "perhaps"), (-200, 5, "no"), (0, 1, "yes")],
)
def test_near_enough(value, u, near):
    """Near enough is what surely fits under the limit, too far what surely does not."""
    found = reach(power(value, u), [("lamp", 500.0), ("camera", 100.0)])
    assert found.near_enough == near
    assert (found.rings_readable, found.limited_by) == (100.0, "camera")


def test_overlap():
    """Both methods meet between the spherometer's interval and the last ring, if at all."""
    low, high = reach(power(10, 5), [("lamp", 12.0)]).overlap_fringes
    assert low == pytest.approx(9.8, abs=0.01)
    assert high == 12.0
    assert reach(power(10, 7), [("lamp", 12.0)]).overlap_fringes is None


def test_rings_by_camera_are_four_pixels_apart_at_the_rim():
    """At the limit the last ring before the rim is 4 pixels wide: r sqrt(m/N) (analytic)."""
    count = rings_by_camera(150.0, 12.0)
    radius_px = 150.0 / 2 * 12.0
    width = radius_px * (1 - np.sqrt((count - 1) / count))
    assert width == pytest.approx(4.0, rel=5e-3)


@pytest.mark.parametrize("name", ["led:525:30", "led:630:18", "led:546.07:10"])
def test_rings_by_lamp(name):
    """A diode's contrast is above the least before that order and below it after (analytic)."""
    one = lamp(name)
    count = rings_by_lamp(one)
    before, after = one.contrast(np.array([count - 0.5, count]) * one.wavelength_nm)
    assert after < LEAST_CONTRAST <= before


@pytest.mark.parametrize("name", ["sodium", "hene", "mercury-green"])
def test_narrow_lamps_set_no_limit(name):
    """Sodium's contrast falls to a third at its beat, not to nothing: the camera's limit counts."""
    assert rings_by_lamp(lamp(name)) == np.inf
    alone = reach(power(60, 5), [("lamp", np.inf)])
    assert (alone.near_enough, alone.limited_by) == ("yes", None)
    assert alone.overlap_fringes == (pytest.approx(9.8, abs=0.01), np.inf)
    both = reach(power(60, 5), [("lamp", np.inf), ("camera", 55.0)])
    assert (both.near_enough, both.limited_by) == ("perhaps", "camera")
