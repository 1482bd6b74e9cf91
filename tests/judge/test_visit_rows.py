"""Visits judged: means of readings, rows, verdicts as they stood."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from fringe.judge.progress import progress
from fringe.judge.state.combine import combine, together
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.student_t import coverage_factor
from sample_visits import hours

K = coverage_factor()


def one(power, u=0.1, sense="centre", wavelength=589.29, **fields):
    """A reading of power."""
    return Measured(power, u, sense, wavelength_nm=wavelength, **fields)


def test_one_reading_is_itself():
    """The mean of one reading is that reading."""
    reading = one(
        2.5,
        irregularity_fringes=0.2,
        irregularity_u_fringes=0.03,
        radius_difference_mm=-1.2,
        radius_difference_u_mm=0.05,
        dof=7.0,
    )
    assert combine([reading]) == reading


def test_repeating_does_not_lessen_what_is_common():
    """Analytic: equal readings keep their uncertainty; scatter adds s / sqrt(n) to it."""
    assert combine([one(2.0, 0.1)] * 9).power_u_fringes == pytest.approx(0.1)
    values = [1.8, 2.0, 2.2, 2.0]
    scatter = np.std(values, ddof=1) / 2
    mean = combine([one(v, 0.1) for v in values])
    assert mean.power_fringes == pytest.approx(2.0)
    assert mean.power_u_fringes == pytest.approx(np.hypot(0.1, scatter))


@pytest.mark.parametrize(("count", "common"), [(2, 0.02), (3, 0.0), (3, 0.1), (8, 0.02)])
def test_the_mean_covers_the_truth(rng, count, common):
    """Of 400 visits of a few readings, the interval covers 95 % or more, however few they are.

    Analytic: where the readings scatter alone, Student's interval covers 95 %; what they have
    in common, counted in full beside it, makes it cover more. Without Student's t two readings
    would cover 70 %. The lower bound is five standard deviations below 95 %.
    """
    hits = 0
    for _ in range(400):
        shared = rng.normal(0, common)
        readings = [one(2.0 + shared + rng.normal(0, 0.05), common) for _ in range(count)]
        mean = combine(readings)
        half = coverage_factor(mean.dof) * mean.power_u_fringes
        hits += abs(mean.power_fringes - 2.0) <= half
    assert hits / 400 > 0.95 - 5 * np.sqrt(0.95 * 0.05 / 400)
    if common == 0:
        assert hits / 400 == pytest.approx(0.95, abs=5 * np.sqrt(0.95 * 0.05 / 400))


def test_half_width_of_a_mean():
    """Analytic: half-widths of what is common and of the scatter, t(n - 1), add in squares."""
    mean = combine([one(1.9, 0.1), one(2.1, 0.1)])
    scatter = 0.1  # sqrt(0.02 / 1) / sqrt(2)
    half = np.hypot(1.959964 * 0.1, 12.7062 * scatter)
    assert mean.power_u_fringes == pytest.approx(np.hypot(0.1, scatter))
    assert coverage_factor(mean.dof) * mean.power_u_fringes == pytest.approx(half, rel=1e-5)
    assert combine([one(2.0, 0.1), one(2.0, 0.1)]).dof is None
    row = progress([visit(1, one(1.9, 0.1), one(2.1, 0.1))], Tolerance(5.0)).rows[0]
    assert row.power_u95_fringes == pytest.approx(half, rel=1e-5)


def test_senses_of_several_readings():
    """An unknown sense takes that of the others; contradicting ones leave magnitudes."""
    mean = combine([one(-3.0, sense="edge"), one(3.2, sense="unknown")])
    assert (mean.sense, mean.power_fringes) == ("edge", pytest.approx(-3.1))
    mean = combine([one(-3.0, sense="edge"), one(3.2, sense="centre")])
    assert (mean.sense, mean.power_fringes) == ("unknown", pytest.approx(3.1))
    mean = combine([one(3.0, sense="unknown"), one(3.2, sense="unknown")])
    assert (mean.sense, mean.power_fringes) == ("unknown", pytest.approx(3.1))


def test_radius_differences_follow_the_sense():
    """The radius difference of an unknown sense takes the sign that the others have."""
    known = one(-3.0, sense="edge", radius_difference_mm=1.5, radius_difference_u_mm=0.1)
    unknown = one(3.0, sense="unknown", radius_difference_mm=1.7, radius_difference_u_mm=0.1)
    assert combine([known, unknown]).radius_difference_mm == pytest.approx(1.6)
    known = one(3.0, radius_difference_mm=-1.5, radius_difference_u_mm=0.1)
    assert combine([known, unknown]).radius_difference_mm == pytest.approx(-1.6)


def test_fringes_of_two_lamps_are_one_gap():
    """Analytic: the same gap in fringes of two wavelengths has one mean, in those asked for."""
    gap_nm = 1500.0
    readings = [one(2 * gap_nm / w, 0.1, wavelength=w) for w in (546.07, 589.29)]
    assert combine(readings, 500.0).power_fringes == pytest.approx(2 * gap_nm / 500.0)
    assert combine(readings).power_fringes == pytest.approx(2 * gap_nm / 546.07)


def spherometer(power, u, **fields):
    """What a spherometer says of power."""
    sense = "centre" if power >= 0 else "edge"
    return Measured(power, u, sense, wavelength_nm=589.29, source="spherometer", **fields)


def test_sources_are_weighed():
    """Analytic: independent sources count by 1 / u^2."""
    found = together([one(3.0, 0.3, irregularity_fringes=0.2), spherometer(4.0, 0.4)])
    weights = np.array([1 / 0.09, 1 / 0.16])
    assert found.value.power_fringes == pytest.approx((weights @ [3.0, 4.0]) / weights.sum())
    assert found.value.power_u_fringes == pytest.approx(weights.sum() ** -0.5)
    assert found.value.irregularity_fringes == 0.2
    assert found.value.source == "fringes, spherometer"
    assert [part.source for part in found.parts] == ["fringes", "spherometer"]
    assert found.conflict is None


@pytest.mark.parametrize(("told", "sense"), [(-28.0, "edge"), (33.0, "centre"), (3.0, "unknown")])
def test_the_spherometer_tells_the_sense(told, sense):
    """Fringes of unknown sense take the spherometer's where that is beyond doubt, else none."""
    fringes = one(30.0, 0.1, "unknown", radius_difference_mm=9.0, radius_difference_u_mm=0.1)
    found = together([fringes, spherometer(told, 4.0, radius_difference_mm=-told / 3)])
    assert found.value.sense == sense
    if sense != "unknown":
        assert found.value.power_fringes == pytest.approx(np.copysign(30.0, told), abs=0.1)
        assert found.value.radius_difference_mm == pytest.approx(-np.copysign(9.0, told))


def test_a_weak_spherometer_tells_no_sense():
    """Where both senses would do, the sense stays unknown, and nothing contradicts."""
    found = together([one(3.0, 0.1, "unknown"), spherometer(-2.0, 4.0)])
    assert (found.value.sense, found.conflict) == ("unknown", None)
    assert found.value.power_fringes == 3.0


def test_contradicting_sources_are_named():
    """Sources more than three standard uncertainties apart are a conflict with both numbers."""
    found = together([one(-3.0, 0.1, "edge"), spherometer(20.0, 4.0)])
    assert found.conflict == (
        "photographs say −3.00 ± 0.20 fringes, the spherometer says +20 ± 8 fringes: "
        "they contradict each other"
    )
    assert found.value.power_fringes == -3.0
    assert together([one(-3.0, 0.1, "edge"), spherometer(8.0, 4.0)]).conflict is None


def test_both_senses_near_zero_agree():
    """Readings of both senses that agree within their uncertainty have a signed mean."""
    mean = combine([one(0.05, 0.1), one(-0.03, 0.1, "edge")])
    assert (mean.sense, mean.power_fringes) == ("centre", pytest.approx(0.01))


def test_an_unknown_uncertainty_stays_unknown():
    """A mean with a reading of unknown uncertainty has none either."""
    assert combine([one(1.0, 0.1), one(1.0, None)]).power_u_fringes is None
    assert combine([]) == Measured()


def visit(number, *readings, **fields):
    """A visit so many hours after the first."""
    return VisitRecord(f"s{number}", hours(number), Work(**fields), readings)


def test_rows_add_up_and_judge():
    """Hours add up, power is in the tolerance's fringes, and each visit has its verdict."""
    visits = [
        visit(1, stage="#400", minutes=90.0),
        visit(2, one(9.0, 0.2, "edge"), stage="polish", minutes=30.0, on_top="tool"),
        visit(3, one(-1.9, 0.2, "edge"), stage="polish", minutes=60.0, on_top="tool"),
        visit(
            4,
            one(-0.5, 0.2, "edge"),
            stage="polish",
            minutes=15.0,
            on_top="tool",
            pits="gone",
            rested_minutes=240.0,
        ),
    ]
    result = progress(visits, Tolerance(2.0, wavelength_nm=546.07))
    assert [row.hours_total for row in result.rows] == [1.5, 2.0, 3.0, 3.25]
    assert [row.verdict for row in result.rows] == [None, "outside", "unproven", "inside"]
    assert result.rows[3].power_fringes == pytest.approx(-0.5 * 589.29 / 546.07)
    assert result.rows[3].power_u95_fringes == pytest.approx(0.2 * K * 589.29 / 546.07)
    assert result.rows[3].probability > 0.99
    assert result.verdict.state == "inside"
    assert result.next_step.action == "stop"
    assert result.rows[3].next_step == "stop"


def test_a_row_is_judged_without_what_came_later():
    """A visit's verdict and next step are the same with and without the later ones."""
    visits = [
        visit(i, one(p, 0.1, "edge"), stage="polish", minutes=30.0, on_top="tool")
        for i, p in enumerate([-9.0, -6.5, -4.0, -2.2, -0.6])
    ]
    tolerance = Tolerance(2.0, wavelength_nm=589.29)
    whole = progress(visits, tolerance).rows
    for count in range(1, 6):
        assert progress(visits[:count], tolerance).rows == whole[:count]


def test_no_tolerance_no_verdict():
    """Without a limit there is no verdict; fringes are those of the first reading."""
    result = progress([visit(1, one(3.0))], Tolerance())
    assert (result.rows[0].verdict, result.rows[0].probability) == (None, None)
    assert result.wavelength_nm == 589.29
    assert result.next_step.action == "remeasure"


def test_a_radius_alone_is_judged():
    """A visit that measured a radius difference alone is judged by it."""
    reading = Measured(radius_difference_mm=0.2, radius_difference_u_mm=0.05, sense="centre")
    result = progress([visit(1, reading)], Tolerance(radius_difference_mm=1.0))
    assert result.rows[0].verdict == "inside"


def test_spread_of_a_visit():
    """A visit of several readings tells the largest difference between them."""
    result = progress([visit(1, one(3.0), one(3.4), one(3.1))], Tolerance(2.0))
    assert result.rows[0].power_spread_fringes == pytest.approx(0.4)
    assert progress([visit(1, one(3.0))], Tolerance(2.0)).rows[0].power_spread_fringes is None


def test_rows_have_a_json_form():
    """Every row prints as JSON, its time with offset."""
    result = progress([visit(1), visit(2, one(3.0))], Tolerance(2.0))
    for row in result.rows:
        values = json.loads(json.dumps(row.to_json()))
        assert values["when"].endswith("+00:00")
        assert set(values) == {field.name for field in dataclasses.fields(row)}


def test_no_visits():
    """A surface without visits has no rows, and a first step."""
    result = progress([], Tolerance(2.0))
    assert (result.rows, result.verdict) == ((), None)
    assert result.next_step.action == "remeasure"
