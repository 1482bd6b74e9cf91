"""Comparison of plate and work on a spherometer: values, coverage, and what is said."""

from __future__ import annotations

import dataclasses

import GTC
import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.spherometer.compare import (
    SpherometerReadings,
    _inputs,
    _Setup,
    _values,
    compare,
    text_of,
    trap_text,
)
from fringe.judge.uncertainty.budget import budgets
from fringe.optics.spheres import power_fringes
from fringe.optics.spherometer import (
    Spherometer,
    circle_of_feet,
    other_form,
    reading_from_radius_mm,
    ring,
    three_legs,
)

KINDS = {
    "ring": ring(100.0, 104.0),
    "legs": three_legs([90.0]),
    "balls": circle_of_feet(100.0, 8.0),
}


def ideal(
    one: Spherometer, form: str, plate_mm: float, work_mm: float, *, signed: bool, zero: float = 0.0
) -> tuple[float, float]:
    """Readings without error: convex below the zero, concave above, or both without sign."""
    other = other_form(form)
    h_plate = reading_from_radius_mm(plate_mm, one.contact_mm(other), other, one.ball_radius_mm)
    h_work = reading_from_radius_mm(work_mm, one.contact_mm(form), form, one.ball_radius_mm)
    if not signed:
        return h_plate + zero, h_work + zero
    side = 1 if form == "concave" else -1
    return -side * h_plate + zero, side * h_work + zero


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("form", ["convex", "concave"])
@pytest.mark.parametrize("signed", [True, False])
@pytest.mark.parametrize("by_plate", [True, False])
def test_radii_come_back(kind, form, signed, by_plate):
    """Readings without error give the true radii, whatever feet, form, signs and way (analytic)."""
    one = KINDS[kind]
    plate, work = ideal(one, form, 900.0, 905.0, signed=signed, zero=0.004)
    result = compare(
        SpherometerReadings((plate,), (work,), (0.004,), 1e-4),
        form,
        spherometer=one,
        plate_radius_mm=900.0 if by_plate else None,
        u_plate_radius_mm=0.05 if by_plate else None,
    )
    assert result.method == ("plate" if by_plate else "ring")
    assert result.work_radius_mm.value == pytest.approx(905.0, rel=1e-9)
    assert result.radius_difference_mm.value == pytest.approx(5.0, rel=1e-7)
    # a longer radius is a shallower piece, convex or concave
    assert result.depth_um.value < 0


@pytest.mark.parametrize("form", ["convex", "concave"])
def test_equal_readings_on_balls(form):
    """Equal readings are radii that differ by the balls' diameter, and that is said (analytic)."""
    readings = SpherometerReadings((1.5,), (1.5,), u_reading_mm=1e-4)
    result = compare(readings, form, spherometer=circle_of_feet(100.0, 8.0))
    sign = 1 if form == "concave" else -1
    assert result.equal_readings_mm == pytest.approx(sign * 8.0, rel=1e-9)
    assert result.radius_difference_mm.value == pytest.approx(sign * 8.0, rel=1e-9)
    assert "8 mm" in trap_text(result)
    assert ("larger" if sign > 0 else "smaller") in trap_text(result)


def test_no_trap_with_points():
    """With points equal readings are equal radii, and nothing is said."""
    readings = SpherometerReadings((1.5,), (1.5,), u_reading_mm=1e-4)
    result = compare(readings, "convex", spherometer=three_legs([90.0]))
    assert trap_text(result) is None
    assert result.state == "equal"


def test_radius_difference_does_not_inherit_the_plate():
    """A plate known to 1 % spoils the radius by 1 % of it, the difference by 1 % (analytic)."""
    one, readings = three_legs([90.0]), SpherometerReadings((1.5,), (1.49,), u_reading_mm=1e-5)
    options = {"spherometer": one, "plate_radius_mm": 900.0}
    good = compare(readings, "convex", **options, u_plate_radius_mm=1e-9)
    poor = compare(readings, "convex", **options, u_plate_radius_mm=9.0)
    assert poor.work_radius_mm.u == pytest.approx(0.01 * poor.work_radius_mm.value, rel=1e-3)
    share = 0.01 * good.radius_difference_mm.value
    assert poor.radius_difference_mm.u == pytest.approx(
        np.hypot(good.radius_difference_mm.u, share), rel=2e-3
    )


def test_the_better_known_size_is_taken():
    """The plate's certificate or the ring's size, whichever knows the plate's radius better."""
    readings = SpherometerReadings((1.5,), (1.49,), u_reading_mm=1e-6)
    one = dataclasses.replace(three_legs([90.0]), u_contact_mm=1e-3)
    methods = [
        compare(
            readings, "convex", spherometer=one, plate_radius_mm=900.0, u_plate_radius_mm=u
        ).method
        for u in (0.001, 10.0)
    ]
    assert methods == ["plate", "ring"]


def test_contradicting_certificate_is_said():
    """A ring that contradicts the plate's certificate is pointed out, one that agrees is not."""
    plate, work = ideal(three_legs([90.0]), "convex", 900.0, 905.0, signed=True)
    readings = SpherometerReadings((plate,), (work,), u_reading_mm=1e-4)
    one = dataclasses.replace(three_legs([90.0]), u_contact_mm=0.01)
    said = [
        any(
            "check ring" in note
            for note in compare(
                readings,
                "convex",
                spherometer=one,
                plate_radius_mm=certified,
                u_plate_radius_mm=0.1,
            ).notes
        )
        for certified in (900.0, 950.0)
    ]
    assert said == [False, True]


def test_gap_in_fringes():
    """The gap is the power of the radius difference over the aperture (analytic)."""
    readings = SpherometerReadings((0.808,), (0.793,), u_reading_mm=5e-4)
    result = compare(
        readings, "convex", plate_radius_mm=3048.0, diameter_mm=150.0, wavelength_nm=589.3
    )
    step = result.radius_difference_mm.value
    assert result.power_fringes.value == pytest.approx(
        power_fringes(step, 3048.0, 150.0, 589.3, "convex")
    )
    assert result.power_fringes.value < 0  # too shallow a convex touches at the edge


def test_budget_is_that_of_the_library():
    """The budget without libraries agrees with the one through `uncertainties`, draws agree."""
    one = dataclasses.replace(circle_of_feet(100.0, 8.0), u_contact_mm=0.005, u_ball_mm=0.001)
    plate, work = ideal(one, "convex", 900.0, 901.0, signed=True)
    readings = SpherometerReadings(
        (plate, plate + 2e-4, plate - 2e-4), (work, work + 1e-4), (0.0,), 1e-4
    )
    result = compare(readings, "convex", spherometer=one)
    setup = _Setup(readings, one, "convex", None, None, (1.0, -1.0), "ring")
    theirs = budgets(
        {("work", "mm"): lambda x: _values(setup, x)["work"]}, _inputs(setup), trials=20_000
    )["work"]
    assert result.work_radius_mm.u == pytest.approx(theirs.u, rel=1e-9)
    assert result.work_radius_mm.dof == pytest.approx(theirs.dof, rel=1e-9)
    assert theirs.monte_carlo.agrees


def simulate(rng, one, form, *, repeats, u_gauge, scatter, u_plate, by_plate, trials):
    """Share of simulated visits whose 95 % intervals hold the truth: radius, difference, depth."""
    held = np.zeros(3)
    for _ in range(trials):
        plate_true = 900.0
        work_true = plate_true + rng.uniform(-6.0, 6.0)
        actual = dataclasses.replace(
            one,
            convex_contact_mm=one.convex_contact_mm + rng.normal(0, one.u_contact_mm),
            ball_radius_mm=one.ball_radius_mm and one.ball_radius_mm + rng.normal(0, one.u_ball_mm),
        )
        shift = actual.convex_contact_mm - one.convex_contact_mm
        actual = dataclasses.replace(actual, concave_contact_mm=one.concave_contact_mm + shift)
        plate, work = ideal(actual, form, plate_true, work_true, signed=True)
        groups = [
            tuple(true + rng.normal(0, u_gauge) + rng.normal(0, scatter, repeats))
            for true in (plate, work, 0.0)
        ]
        result = compare(
            SpherometerReadings(*groups, u_gauge),
            form,
            spherometer=one,
            plate_radius_mm=plate_true + rng.normal(0, u_plate) if by_plate else None,
            u_plate_radius_mm=u_plate if by_plate else None,
        )
        target = reading_from_radius_mm(
            plate_true, actual.contact_mm(form), form, actual.ball_radius_mm
        )
        depth = 1000 * (abs(work) - target)
        truths = (work_true, work_true - plate_true, depth)
        found = (result.work_radius_mm, result.radius_difference_mm, result.depth_um)
        held += [
            abs(one.value - truth) <= one.u95 for one, truth in zip(found, truths, strict=True)
        ]
    return held / trials


@pytest.mark.parametrize(
    ("kind", "form", "by_plate", "repeats", "u_gauge", "scatter"),
    [
        ("balls", "convex", False, 4, 2e-4, 2e-4),
        ("balls", "concave", True, 3, 1e-4, 4e-4),
        ("legs", "convex", True, 1, 4e-4, 0.0),
        ("legs", "concave", False, 5, 0.0, 5e-4),
    ],
)
def test_intervals_hold_the_truth(kind, form, by_plate, repeats, u_gauge, scatter, rng):
    """The 95 % intervals of radius, difference and depth hold the truth in 95 % (simulated).

    Ring, balls, gauge, scatter and certificate all err as stated. 400 visits scatter by 1.1 %;
    the bound is 3.4 of these, and one per cent more for Welch and Satterthwaite.
    """
    one = dataclasses.replace(KINDS[kind], u_contact_mm=0.004, u_ball_mm=0.002)
    shares = simulate(
        rng,
        one,
        form,
        repeats=repeats,
        u_gauge=u_gauge,
        scatter=scatter,
        u_plate=0.3,
        by_plate=by_plate,
        trials=400,
    )
    assert np.all(np.abs(shares - 0.95) < 0.047), shares


def test_depth_needs_no_size():
    """Readings alone say which is deeper; the radii stay open (analytic)."""
    result = compare(SpherometerReadings((0.808,), (0.820,), u_reading_mm=5e-4), "convex")
    assert text_of(result) == "The work is too deep by 12.0 ± 2.4 µm"
    assert result.work_radius_mm is None
    assert result.to_json()["work_radius_mm"] is None


def test_an_error_of_the_zero_counts_twice():
    """Plate and work lie on opposite sides of the zero, so its error enters the depth twice."""
    readings = SpherometerReadings((0.808,), (0.793,), u_reading_mm=1e-3)
    for signs in (1.0, -1.0):
        turned = dataclasses.replace(readings, plate_mm=(signs * 0.808,))
        depth = compare(turned, "convex").depth_um
        by_name = {row.input.name: abs(row.contribution) for row in depth.rows}
        assert by_name["zero"] == pytest.approx(2.0, rel=1e-3)
        assert by_name["plate reading"] == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(
    ("plate", "work", "options", "message"),
    [
        ((), (0.8,), {}, "no reading of the plate"),
        ((0.8, -0.8), (0.8,), {}, "both sides of the zero"),
        ((0.0,), (0.8,), {}, "equals the zero"),
        ((-0.8,), (-0.7,), {}, "below the zero"),
        (
            (0.8,),
            (0.8,),
            {"spherometer": ring(160.0), "diameter_mm": 150.0},
            "larger than the piece",
        ),
        ((90.0,), (0.8,), {"spherometer": ring(160.0)}, "beyond the sphere"),
        ((0.8,), (0.8,), {"plate_radius_mm": 60.0, "diameter_mm": 150.0}, "smaller than half"),
        ((0.8,), (0.8,), {"form": "flat"}, "neither convex nor concave"),
    ],
)
def test_nonsense(plate, work, options, message):
    """Readings and sizes that contradict one another are refused in one line."""
    form = options.pop("form", "convex")
    with pytest.raises(BadInput, match=message) as caught:
        compare(SpherometerReadings(plate, work, u_reading_mm=1e-3), form, **options)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("form", ["convex", "concave"])
def test_against_gtc(form, rng):
    """Radius and difference by ball feet have GTC's value and uncertainty, zero included.

    In GTC the formula of the sphere is written out; an error of the zero deepens the one piece
    and flattens the other.
    """
    plate, work, zero = (mean + rng.normal(0, 2e-4, 3) for mean in (0.808, 0.798, 0.001))
    gauge, ball, u_ball = 3e-4, 3.175, 5e-4
    one = dataclasses.replace(circle_of_feet(140.0, 6.35), u_contact_mm=0.01, u_ball_mm=u_ball)
    result = compare(
        SpherometerReadings(tuple(plate), tuple(work), tuple(zero), gauge), form, spherometer=one
    )
    groups = (plate, work, zero)
    scatter = np.sqrt(sum(np.sum((g - g.mean()) ** 2) for g in groups) / 6 / 3)
    errors = [GTC.ureal(0, gauge) + GTC.ureal(0, scatter, 6) for _ in groups]
    a, b = GTC.ureal(70.0, 0.01), GTC.ureal(ball, u_ball)
    h_plate = plate.mean() - zero.mean() + errors[0] + errors[2]
    h_work = work.mean() - zero.mean() + errors[1] - errors[2]
    sign = 1 if form == "concave" else -1
    radius = h_work / 2 + a * a / (2 * h_work) + sign * b
    step = radius - (h_plate / 2 + a * a / (2 * h_plate) - sign * b)
    for found, theirs in ((result.work_radius_mm, radius), (result.radius_difference_mm, step)):
        assert found.value == pytest.approx(GTC.value(theirs), rel=1e-9)
        assert found.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-6)


def test_draws_agree_with_every_budget():
    """The Monte Carlo run of a usual comparison agrees with all five budgets, and changes none."""
    readings = SpherometerReadings((0.808, 0.8083), (0.798,), (0.0,), 3e-4)
    one = dataclasses.replace(circle_of_feet(140.0, 6.35), u_contact_mm=0.01, u_ball_mm=5e-4)
    over = {"spherometer": one, "diameter_mm": 150.0, "wavelength_nm": 589.3}
    plain, checked = (compare(readings, "convex", trials=n, **over) for n in (0, 20_000))
    for name in (
        "depth_um",
        "work_radius_mm",
        "plate_radius_mm",
        "radius_difference_mm",
        "power_fringes",
    ):
        first, second = getattr(plain, name), getattr(checked, name)
        assert first.monte_carlo is None
        assert second.monte_carlo.agrees
        assert dataclasses.replace(second, monte_carlo=None) == first
