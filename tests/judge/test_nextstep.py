"""The next step: never stop on hope, never guess a direction, forecasts from the log alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.judge.nextstep import ACTIONS, learn_rates
from fringe.judge.progress import VisitRecord, progress
from fringe.judge.verdict import Measured, Tolerance
from sample_visits import hours

TOLERANCE = Tolerance(2.0, wavelength_nm=589.29)


def visit(power, u=0.05, sense=None, *, more=(), **work):
    """A visit with one reading of power, or none."""
    sense = sense or ("edge" if power is not None and power < 0 else "centre")
    powers = () if power is None else (power, *more)
    readings = tuple(Measured(p, u, sense, wavelength_nm=589.29) for p in powers)
    return VisitRecord("s", hours(0), measured=readings, **work)


def step(*visits, tolerance=TOLERANCE):
    """The next step after visits."""
    return progress(visits, tolerance).next_step


def polish(power, minutes=30.0, on_top="tool", **fields):
    """A visit after polishing."""
    return visit(power, stage="polish", minutes=minutes, on_top=on_top, **fields)


def test_stop_when_proven_inside():
    """A visit that is proven inside the tolerance ends the work."""
    found = step(polish(-0.5))
    assert (found.action, found.minutes, found.piece_on_top) == ("stop", None, None)


RECORDS = st.builds(
    visit,
    st.none() | st.floats(-30, 30),
    st.floats(0, 3),
    st.sampled_from(["centre", "edge", "unknown"]),
    more=st.lists(st.floats(-30, 30), max_size=2),
    stage=st.sampled_from([None, "#120", "#800", "polish"]),
    minutes=st.none() | st.floats(0, 300),
    on_top=st.sampled_from([None, "work", "tool"]),
)


@given(st.lists(RECORDS, max_size=6), st.sampled_from(["guard95", "shrinkU"]))
def test_stop_means_proven(records, rule):
    """Whatever the history, `stop` is said only where the last visit is proven inside."""
    tolerance = Tolerance(2.0, wavelength_nm=589.29, rule=rule)
    result = progress(records, tolerance)
    found = result.next_step
    assert found.action in ACTIONS
    assert found.reason
    assert "\n" not in found.reason
    if found.action == "stop":
        assert result.rows[-1].verdict == "inside"
    if found.minutes is not None:
        assert found.minutes > 0
        assert found.action in ("grind", "polish")


def test_unproven_is_measured_again():
    """Neither inside nor outside: measure again, even if the value itself is inside."""
    found = step(polish(-1.9, u=0.2))
    assert found.action == "remeasure"
    assert "smaller uncertainty" in found.reason


def test_unproven_twice_goes_on_working():
    """If measuring again does not decide it, the work goes on toward the middle."""
    visits = [polish(-6.0), polish(-1.9, u=0.2), visit(-1.9, u=0.2)]
    found = step(*visits)
    assert found.action == "polish"
    assert found.piece_on_top == "tool"


def test_an_unknown_sense_is_no_direction():
    """Far outside, but which way is not known: measure the sense, do not guess a stroke."""
    found = step(polish(9.0, sense="unknown"))
    assert (found.action, found.piece_on_top) == ("remeasure", None)


@pytest.mark.parametrize(("power", "on_top"), [(9.0, "work"), (-9.0, "tool")])
def test_which_piece_on_top(power, on_top):
    """Power > 0 wants the work more concave, so on top; < 0 more convex, so below.

    Common practice, no source: the upper piece turns concave. Power is defined through the
    gap, so the rule is one for convex and concave works.
    """
    assert step(polish(power)).piece_on_top == on_top


@pytest.mark.parametrize(
    ("stage", "action"),
    [("polish", "polish"), ("Polishing, pitch", "polish"), ("cerium oxide", "polish"),
     ("#800", "grind"), ("9 um", "grind"), ("", "grind")],
)  # fmt: skip
def test_work_goes_on_as_it_was(stage, action):
    """The step after polishing is polishing, after any other work grinding."""
    assert step(visit(-9.0, stage=stage, minutes=20.0)).action == action


def test_the_forecast_is_the_learned_rate():
    """Analytic: 10 fringes in 40 minutes leave 20 minutes for the last 5."""
    found = step(polish(-15.0), polish(-5.0, minutes=40.0))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert found.minutes == pytest.approx(20.0)
    assert found.text() == "polish about 20 min, tool on top"


def test_only_the_same_work_teaches():
    """Grinding, or the other piece on top, says nothing about this rate."""
    other = polish(-15.0, on_top="tool"), polish(-25.0, minutes=40.0, on_top="work")
    assert step(*other).minutes is None
    ground = visit(-15.0), visit(-9.0, stage="#800", minutes=10.0, on_top="tool"), polish(-8.0, 0.0)
    assert step(*ground).minutes is None


def test_a_rate_lost_in_noise_forecasts_nothing():
    """A change smaller than its uncertainty is no rate."""
    found = step(polish(-9.0, u=1.0), polish(-8.5, u=1.0))
    assert found.minutes is None
    assert "too little to tell" in found.reason


def test_work_that_goes_the_wrong_way_is_named():
    """If the work has moved power away from the target, no minutes of it are asked for."""
    found = step(polish(-5.0), polish(-9.0))
    assert (found.minutes, found.piece_on_top) == (None, None)
    assert "wrong way" in found.reason


def test_hopelessly_slow_polishing_goes_back_to_grinding():
    """If polishing would take days, grind."""
    found = step(polish(-300.0, u=0.01), polish(-299.0, u=0.01, minutes=60.0))
    assert found.action == "grind"
    assert "too slow" in found.reason


def test_readings_that_drift_wait():
    """Readings of one visit that differ by more than their uncertainty: wait, even if inside."""
    found = step(polish(-0.2, u=0.02, more=(-0.6, -0.4)))
    assert found.action == "wait"
    assert "temperature" in found.reason
    assert step(polish(-0.5, u=0.05, more=(-0.52,))).action == "stop"


def test_irregular_alone_names_no_piece():
    """With power inside and irregularity outside, which piece is on top does not follow."""
    reading = Measured(0.1, 0.02, "centre", 0.9, 0.02, wavelength_nm=589.29)
    record = VisitRecord("s", hours(0), stage="polish", minutes=9.0, measured=(reading,))
    found = step(record, tolerance=Tolerance(2.0, 0.3, wavelength_nm=589.29))
    assert (found.action, found.piece_on_top) == ("polish", None)
    assert "irregularity" in found.reason


def test_nothing_measured_yet():
    """Without a visit, a reading or a tolerance there is nothing to decide by."""
    assert step().action == "remeasure"
    assert step(visit(None, stage="#120", minutes=60.0)).action == "remeasure"
    assert step(visit(5.0), tolerance=Tolerance(wavelength_nm=589.29)).action == "remeasure"


def test_rates_pool_what_is_alike():
    """Analytic: 4 fringes in 20 min and 2 in 20 min are 0.15 fringes a minute."""
    rows = progress([polish(-9.0), polish(-5.0, 20.0), polish(-3.0, 20.0)], TOLERANCE).rows
    (rate,) = learn_rates(rows)
    assert rate.fringes_per_minute == pytest.approx(0.15)
    assert rate.minutes == 40.0
    # each change has sqrt(2) x 0.05 fringes of uncertainty
    assert rate.u == pytest.approx(0.05 * 2 / 40, rel=1e-3)


def test_work_logged_in_pieces_adds_up():
    """Visits without a reading between two readings add their minutes, if alike."""
    alike = [polish(-9.0), polish(None, 10.0), polish(-5.0, 30.0)]
    (rate,) = learn_rates(progress(alike, TOLERANCE).rows)
    assert rate.fringes_per_minute == pytest.approx(0.1)
    mixed = [polish(-9.0), visit(None, stage="#800", minutes=10.0), polish(-5.0, 30.0)]
    assert learn_rates(progress(mixed, TOLERANCE).rows) == ()


def test_a_correction_of_sense_is_no_work():
    """Visits of unknown sense teach nothing, and do not break the chain of those that do."""
    rows = progress(
        [polish(-9.0), polish(7.0, 20.0, sense="unknown"), polish(-5.0, 20.0)], TOLERANCE
    ).rows
    (rate,) = learn_rates(rows)
    assert rate.fringes_per_minute == pytest.approx(0.1)


@pytest.mark.parametrize("powers", [(12.0, 6.0), (-12.0, -6.0)])
def test_forecast_aims_at_zero_from_both_sides(powers):
    """Analytic: half the error in 30 minutes leaves 30 minutes, from either side."""
    on_top = "work" if powers[0] > 0 else "tool"
    found = step(polish(powers[0], on_top=on_top), polish(powers[1], on_top=on_top))
    assert found.minutes == pytest.approx(30.0)
