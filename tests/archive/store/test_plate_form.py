"""The plate's form among the uncertainties of what was measured on it."""

from __future__ import annotations

import math

import pytest

from fringe.archive.store.plate_form import plate_form_u_nm, with_plate_form
from fringe.archive.store.surface import Plate, Surface
from fringe.judge.tolerance.verdict import Measured

SURFACE = Surface("convex 1", "convex", 3048.0, 150.0, plate=Plate("P7", 3048.0, 0.3))
SEEN = Measured(
    power_fringes=2.5,
    power_u_fringes=0.1,
    sense="centre",
    radius_difference_mm=-2.43,
    radius_difference_u_mm=0.1,
    wavelength_nm=589.3,
)


def test_it_adds_to_power_and_radius():
    """Half a fringe of form adds half a fringe, each lambda R^2 / r^2 of radius (analytic)."""
    found = with_plate_form(SEEN, 0.5 * 589.3 / 2, SURFACE)
    assert found.power_u_fringes == pytest.approx(math.hypot(0.1, 0.5))
    a_fringe_mm = 589.3e-6 * 3048**2 / 75**2
    assert found.radius_difference_u_mm == pytest.approx(
        math.hypot(0.1, 0.5 * a_fringe_mm), rel=5e-3
    )
    assert found.power_fringes == SEEN.power_fringes


def test_a_smaller_circle_means_more_radius():
    """Over half the aperture the same height is four times the radius difference (analytic)."""
    exact = Measured(2.5, 0.1, "centre", radius_difference_u_mm=0.0, wavelength_nm=589.3)
    whole = with_plate_form(exact, 100.0, SURFACE).radius_difference_u_mm
    part = with_plate_form(exact, 100.0, SURFACE, 75.0).radius_difference_u_mm
    assert part == pytest.approx(4 * whole, rel=1e-2)


@pytest.mark.parametrize(
    ("one", "u_form_nm"),
    [
        (SEEN, 0.0),
        (Measured(2.5, 0.1, "centre", wavelength_nm=589.3, against="concave 1"), 20.0),
        (Measured(None, None, wavelength_nm=589.3), 20.0),
        (Measured(2.5, None, wavelength_nm=589.3), 20.0),
    ],
)
def test_where_it_has_no_place(one, u_form_nm):
    """Without a form on record, on another piece, or without a power nothing is added."""
    assert with_plate_form(one, u_form_nm, SURFACE) == one


@pytest.mark.parametrize(
    ("instruments", "u_form_nm"),
    [
        ({}, 0.0),
        ({"plate": {"u_form_nm": 20.0}}, 20.0),
        ({"plate": {"radius_mm": 3048.0}}, 0.0),
        ({"plate": None}, 0.0),
        ({"plate": {"u_form_nm": "some"}}, 0.0),
        ({"plate": {"u_form_nm": -3}}, 0.0),
    ],
)
def test_by_the_record(instruments, u_form_nm):
    """The copy of the plate's record in the session tells it; a strange one counts for nothing."""
    assert plate_form_u_nm(instruments) == u_form_nm
