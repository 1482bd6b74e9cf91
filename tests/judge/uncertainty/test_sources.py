"""Budgets of fringe readings and of the chain plate, convex, concave."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.uncertainty.sources import (
    Bench,
    reading_budgets,
    visit_measured,
)
from fringe.optics.spheres import radius_difference_mm
from fringe.orders.reading import Quality, Reading
from fringe.quantity import correlation, standard

PARTS = {"fit": 0.03, "edge": 0.06, "view": 0.02}
BENCH = Bench("convex", 150.0, 0.05, 3048.0, 0.3, 0.1)


def reading(power, sense="centre", parts=PARTS, wavelength=589.3):
    return Reading(
        wavelength, Quality(0.8, 1.0, 0.1), power_fringes=power, sense=sense, power_u_parts=parts
    )


def row_of(budget, name):
    return next(row for row in budget.rows if row.input.name == name)


def test_power_has_the_parts_of_the_reading():
    """One reading's power has the uncertainty of its parts in quadrature (analytic)."""
    found = reading_budgets([reading(2.5)], Bench(), trials=0)
    assert list(found.results) == ["power"]
    assert found["power"].value == 2.5
    assert found["power"].u == pytest.approx(np.sqrt(0.03**2 + 0.06**2 + 0.02**2))
    assert row_of(found["power"], "view angle").input.u == 0.02


def with_map(name, share):
    """A reading of 0.3 fringe of form, a share of whose variance is that of its plate's map."""
    return dataclasses.replace(
        reading(2.5),
        irregularity_fringes=0.3,
        irregularity_u95_fringes=0.04,
        plate_map="no 7, 2026-03-14",
        plate_map_shares={"irregularity": share},
        reading_id=name,
    )


def test_irregularity_has_the_part_of_the_plates_map():
    """Where the plate's map was taken out, it is a row of irregularity's budget (analytic)."""
    found = reading_budgets([with_map("a", 0.36)], Bench(), trials=0)
    budget = found["irregularity"]
    assert budget.value == 0.3
    assert budget.u == pytest.approx(standard(0.04))
    assert row_of(budget, "plate map").contribution == pytest.approx(0.6 * budget.u)
    assert row_of(budget, "form as read").contribution == pytest.approx(0.8 * budget.u)
    assert row_of(budget, "plate map").input.of == "no 7, 2026-03-14"
    # no turning tells the plate's power: its map has no part in that
    assert row_of(found["power"], "plate map").contribution == 0
    plain = dataclasses.replace(with_map("a", 0.0), plate_map="", plate_map_shares={})
    assert "irregularity" not in reading_budgets([plain], Bench(), trials=0).results


def test_readings_with_one_map_share_its_error():
    """Two photographs of other errors are correlated by their plate's map (analytic)."""
    one, other = (with_map(name, 0.36).irregularity for name in "ab")
    assert correlation(one, other) == pytest.approx(0.36)


def test_radius_difference_and_radius():
    """Radius difference is the power's; the plate enters the radius, hardly the difference."""
    found = reading_budgets([reading(2.5)], BENCH, trials=0)
    step = found["radius difference"]
    assert step.value == pytest.approx(
        radius_difference_mm(2.5, 3048.0, 150.0, 589.3, "convex"), rel=1e-12
    )
    slope = step.value / 2.5
    assert abs(row_of(step, "edge").sensitivity) == pytest.approx(abs(slope), rel=1e-3)
    # dR ~ N lambda R^2 / r^2: twice the plate's relative error, minus twice the diameter's
    assert row_of(step, "plate radius").sensitivity == pytest.approx(
        2 * step.value / 3048.0, rel=2e-3
    )
    assert row_of(step, "diameter").sensitivity == pytest.approx(-2 * step.value / 150, rel=2e-3)
    assert row_of(step, "wavelength").sensitivity == pytest.approx(step.value / 589.3, rel=2e-3)
    radius = found["work radius"]
    assert radius.value == pytest.approx(3048.0 + step.value)
    assert radius.rows[0].input.name == "plate radius"
    assert radius.u == pytest.approx(np.hypot(0.3 * (1 + 2 * step.value / 3048), step.u), rel=1e-3)


def test_bench_adds_form_and_temperature():
    """Plate form and 0.1 K across the glass add to the power as heights (analytic)."""
    bench = Bench(
        "convex",
        150.0,
        plate_radius_mm=3048.0,
        u_plate_form_nm=29.465,
        u_axial_k=0.1,
        u_pieces_k=0.5,
        expansion_per_k=3.25e-6,
        thickness_mm=25.0,
    )
    found = reading_budgets([reading(2.5)], bench, trials=0)
    assert row_of(found["power"], "plate form").contribution == pytest.approx(0.1)
    bend = 3.25e-6 * 0.1 * 150**2 / (8 * 25) * 1e6 * 2 / 589.3
    assert row_of(found["power"], "temperature").contribution == pytest.approx(bend)
    pieces = row_of(found["radius difference"], "temperature, pieces")
    assert pieces.contribution == pytest.approx(3048 * 3.25e-6 * 0.5)


def test_repeated_readings():
    """Readings of one visit: their mean, parts in common, scatter as repeatability (analytic)."""
    powers = [2.4, 2.5, 2.9]
    one = reading_budgets([reading(p) for p in powers], Bench(), trials=0)["power"]
    assert one.value == pytest.approx(np.mean(powers))
    scatter = row_of(one, "repeatability")
    assert scatter.input.u == pytest.approx(np.std(powers, ddof=1) / np.sqrt(3))
    assert scatter.input.dof == 2
    assert row_of(one, "edge").input.u == pytest.approx(0.06)
    assert one.dof < 10


def test_unknown_sense():
    """Readings of unknown sense take that of the others; all unknown count by magnitude."""
    mixed = [reading(-2.5, "edge"), reading(2.7, "unknown")]
    assert reading_budgets(mixed, Bench(), trials=0)["power"].value == pytest.approx(-2.6)
    unknown = [reading(2.5, "unknown"), reading(2.7, "unknown")]
    assert reading_budgets(unknown, Bench(), trials=0)["power"].value == pytest.approx(2.6)
    assert visit_measured(unknown, Bench()).sense == "unknown"


def test_monte_carlo_agrees_on_a_usual_reading():
    """First order is good enough for a usual reading, on all three results."""
    found = reading_budgets([reading(2.5)], BENCH, trials=20_000)
    assert all(one.monte_carlo.agrees for one in found.results.values())


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: reading_budgets([reading(None)], Bench()), "no reading has a power"),
        (lambda: reading_budgets([reading(1), reading(1, wavelength=546.1)], Bench()), "one lamp"),
        (
            lambda: reading_budgets([reading(1), reading(-1, "edge")], Bench()),
            "another at the edge",
        ),
        (lambda: Bench(u_axial_k=0.1, expansion_per_k=1e-6), "thickness"),
        (lambda: Bench(u_pieces_k=0.1), "the glass"),
    ],
)
def test_nonsense(call, message):
    """Readings and benches that no budget can be made of are refused in one line."""
    with pytest.raises(BadInput, match=message):
        call()
