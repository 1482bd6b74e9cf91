"""What the record of a bench adds to what was measured on it."""

from __future__ import annotations

import math

import pytest

from fringe.archive.store.bench import bench_of, plate_form_u_nm
from fringe.archive.store.surface import Plate, Surface
from fringe.judge.tolerance.measured import Measured
from fringe.judge.uncertainty.sources import measured_of
from fringe.orders.reading import Quality, Reading
from fringe.quantity import Source, correlation, half_width
from fringe.student_t import coverage_factor

SURFACE = Surface("convex 1", "convex", 3048.0, 150.0, plate=Plate("P7", 3048.0, 0.3))


def seen(power: float | None = 2.5, u: float | None = 0.1, **values: object) -> Reading:
    """A reading of a power that errs by u [fringe]."""
    return Reading(
        589.3,
        Quality(0.8, 0.9, 0.1),
        power_fringes=power,
        power_u95_fringes=None if u is None else half_width(u),
        sense="centre",
        radius_difference_mm=None if power is None else -2.43,
        **values,  # type: ignore[arg-type]
    )


def measured(reading: Reading, form_nm: float = 0.0, **more: object) -> Measured:
    """What it measured on a plate of that form."""
    bench = bench_of(SURFACE, {"plate": {"u_form_nm": form_nm}}, **more)  # type: ignore[arg-type]
    return measured_of(reading, bench)


def test_it_adds_to_power_and_radius() -> None:
    """Half a fringe of form adds half a fringe, each lambda R^2 / r^2 of radius (analytic)."""
    found = measured(seen(), 0.5 * 589.3 / 2)
    assert found.power_u_fringes == pytest.approx(math.hypot(0.1, 0.5))
    a_fringe_mm = 589.3e-6 * 3048**2 / 75**2
    assert found.radius_difference_u_mm == pytest.approx(
        math.hypot(0.1, 0.5) * a_fringe_mm, rel=5e-3
    )
    assert (found.power_fringes, found.radius_difference_mm) == (2.5, -2.43)


def test_a_smaller_circle_means_more_radius() -> None:
    """Over half the aperture the same height is four times the radius difference (analytic)."""
    whole = measured(seen(u=1e-6), 100.0).radius_difference_u_mm
    part = measured(seen(u=1e-6), 100.0, aperture_mm=75.0).radius_difference_u_mm
    assert part == pytest.approx(4 * (whole or 0.0), rel=1e-2)


def test_another_piece_has_no_plate_form() -> None:
    """What was laid on another piece does not have the form of the plate."""
    on = measured(seen(), 20.0, against="concave 1", options={"plate_radius_mm": 3050.0})
    assert on.power_u_fringes == pytest.approx(0.1)


@pytest.mark.parametrize(("power", "u"), [(None, None), (2.5, None)])
def test_what_was_not_measured_gets_no_uncertainty(power: float | None, u: float | None) -> None:
    """Without a power, or an uncertainty of it, the plate's form does not make one."""
    found = measured(seen(power, u), 20.0)
    assert found.power_u_fringes is None
    assert found.power_fringes == power


def test_the_plate_and_the_lamp_are_shared() -> None:
    """Two photographs on one plate in one lamp are correlated by both, not by their fits."""
    lit = {"lamp": "led", "u_wavelength_nm": 2.0}
    one, other = (
        measured(seen(reading_id=name, power_u_parts={"fit": 0.05}, **lit), 20.0).power
        for name in ("a", "b")
    )
    assert one is not None
    assert other is not None
    form, light = 2 * 20.0 / 589.3, 2.5 * 2.0 / 589.3
    assert one.contributions == pytest.approx(
        {
            Source("fit", "a"): 0.05,
            Source("plate_form", "P7"): form,
            Source("wavelength", "led"): light,
        }
    )
    expected = (form**2 + light**2) / (form**2 + light**2 + 0.05**2)
    assert correlation(one, other) == pytest.approx(expected)


def test_nothing_added_leaves_the_readings_own() -> None:
    """A record without uncertainties adds none: U is the reading's own."""
    found = measured(seen()).power
    assert found is not None
    assert found.u95 == pytest.approx(0.1 * coverage_factor())


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
def test_by_the_record(instruments: dict[str, object], u_form_nm: float) -> None:
    """The copy of the plate's record in the session tells it; a strange one counts for nothing."""
    assert plate_form_u_nm(instruments) == u_form_nm
