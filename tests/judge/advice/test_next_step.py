"""The next step: never stop on hope, never guess a direction, forecasts from the log alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.judge.advice.step import minutes_text
from fringe.judge.progress import progress, visit_rows
from fringe.judge.state.history import rate_history
from fringe.judge.state.rates import HeightChange, Kind
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import radius_difference_mm
from sample_visits import hours

TOLERANCE = Tolerance(2.0, wavelength_nm=589.29)


def visit(power, u=0.05, sense=None, *, more=(), **work):
    """A visit with one reading of power, or none."""
    sense = sense or ("edge" if power is not None and power < 0 else "centre")
    powers = () if power is None else (power, *more)
    readings = tuple(Measured(p, u, sense, wavelength_nm=589.29) for p in powers)
    return VisitRecord("s", hours(0), Work(**work), readings)


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
    st.just(0.0) | st.floats(1e-6, 3),
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
    assert found.action in ("grind", "polish", "wait", "stop", "remeasure")
    assert found.reason
    assert "\n" not in found.reason
    if found.action == "stop":
        told = [row for row in result.rows if row.stage or row.minutes or row.verdict]
        assert told[-1].verdict == "inside"
    if found.minutes is not None:
        assert found.minutes > 0
        assert found.action in ("grind", "polish")


def test_a_remark_changes_nothing():
    """A visit that neither worked nor read leaves verdict and next step as they were."""
    visits = [polish(-0.5), visit(None)]
    result = progress(visits, TOLERANCE)
    assert result.next_step.action == "stop"
    assert result.verdict.state == "inside"
    worked = progress([*visits, polish(None)], TOLERANCE)
    assert (worked.next_step.action, worked.verdict) == ("remeasure", None)


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
    [
        ("polish", "polish"),
        ("Polishing, pitch", "polish"),
        ("cerium oxide", "polish"),
        ("#800", "grind"),
        ("9 um", "grind"),
        ("", "grind"),
    ],
)
def test_work_goes_on_as_it_was(stage, action):
    """The step after polishing is polishing, after any other work grinding."""
    assert step(visit(-90.0, stage=stage, minutes=20.0)).action == action


def test_the_forecast_is_the_learned_rate():
    """Analytic: 10 fringes in 40 minutes: the interval holds the 12 min to 2 and 20 to 0."""
    found = step(polish(-15.0), polish(-5.0, minutes=40.0))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert found.forecast.minutes.low < 12.0 < found.forecast.minutes.high
    assert found.forecast.minutes.median == pytest.approx(12.0, rel=0.05)
    assert found.forecast.rate_um_h.median == pytest.approx(15 * 0.589292 / 2, rel=0.03)
    # to the middle, or less where that might go through to the other side
    assert 12.0 < found.minutes <= 20.5
    assert found.text() == f"polish about {round(found.minutes / 5) * 5} min, tool on top"


def test_only_the_same_stage_teaches():
    """Grinding says nothing about the rate of polishing."""
    ground = visit(-15.0), visit(-9.0, stage="#800", minutes=10.0, on_top="tool"), polish(-8.0, 0.0)
    assert step(*ground).minutes is None


def test_the_other_piece_on_top_is_a_guess():
    """The reverse of a known work is foretold, wide, and named a guess."""
    found = step(polish(-15.0), polish(-25.0, minutes=40.0, on_top="work"))
    assert found.forecast.borrowed
    assert "guessed from the other piece on top" in found.reason
    straight = step(polish(-35.0), polish(-25.0, minutes=40.0))
    assert not straight.forecast.borrowed
    wide, narrow = (one.forecast.rate_um_h for one in (found, straight))
    assert wide.high / wide.low > 1.5 * narrow.high / narrow.low
    assert wide.median > 0


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
    assert "go back a grit" in found.reason


def ground(power, stage, minutes=20.0, on_top="tool", **fields):
    """A visit after grinding."""
    return visit(power, stage=stage, minutes=minutes, on_top=on_top, **fields)


SHOP = (
    ground(-600.0, "#220"),
    ground(-400.0, "#220"),
    ground(-200.0, "#220"),
    ground(-130.0, "#400"),
    ground(-70.0, "#400"),
)


def test_back_a_grit():
    """What polishing cannot move goes back to the finest grit that can, by the log's own rates."""
    found = step(*SHOP, polish(-69.0, u=0.1, minutes=60.0))
    assert (found.action, found.stage, found.piece_on_top) == ("grind", "#400", "tool")
    assert "go back to #400" in found.reason
    assert 10 < found.minutes < 40  # 69 fringes at 3 to 3.5 a minute
    assert found.text().startswith("grind with #400 about ")


def test_the_next_stage_can_take_it():
    """Grinding ends when polishing, as fast as it was on like surfaces, can take the rest."""
    rows = [ground(-60.0, "#400"), ground(-5.0, "#400")]

    def like(*paces):
        histories = [[polish(-40.0), polish(-40 + pace), polish(-40 + 2 * pace)] for pace in paces]
        return [rate_history(progress(one, TOLERANCE).rows, 589.29).changes for one in histories]

    found = progress(rows, TOLERANCE, like=like(10.0, 8.0, 12.0, 11.0)).next_step
    assert (found.action, found.stage, found.piece_on_top) == ("polish", None, "tool")
    assert "polish can take what is left" in found.reason
    assert 5 < found.minutes < 20
    found = progress(rows, TOLERANCE, like=like(0.2, 0.25, 0.3, 0.2)).next_step
    assert (found.action, found.stage) == ("grind", None)


def test_less_than_a_grain_is_handed_on():
    """Within the grain's size, with nothing known of finer stages, the grit is done."""
    found = step(ground(-600.0, "#220"), ground(-100.0, "#220"))  # 29 um of 53
    assert "less than a grain of #220" in found.reason
    assert found.action == "grind"
    far = step(ground(-600.0, "#220"), ground(-250.0, "#220"))  # 74 um of 53
    assert "less than a grain" not in far.reason
    assert "within a grain of #220 in" in far.reason
    # 74 um at 5.2 um a minute: 14 min to the middle, 4 to the grain
    assert far.forecast.minutes.median == pytest.approx(4.0, rel=0.1)
    assert 4 < far.minutes < 14.5


def test_pits_come_first():
    """A grit that has not removed the last one's pits goes on, though the radius is right."""
    left = [ground(-600.0, "#220"), ground(-5.0, "#400", removed_mm=0.04)]
    found = step(*left)
    assert (found.action, found.stage) == ("grind", None)
    assert "pits of #220 are not gone (40 of about 159 µm taken off)" in found.reason
    assert found.minutes == pytest.approx((159 - 40) / 2)  # 40 um in 20 min, analytic
    seen = step(*left[:-1], ground(-5.0, "#400", removed_mm=0.04, pits="gone"))
    assert "less than a grain of #400" in seen.reason
    unknown = step(*left[:-1], ground(-5.0, "#400"))
    assert "look through a loupe whether the pits of #220, about 159 µm deep" in unknown.reason


def test_after_a_coarse_grit_comes_a_finer_one():
    """Where the log knows no finer stage: after grains above 15 µm a grit, then polishing too."""
    coarse = step(ground(-20.0, "#120"))
    assert (coarse.action, coarse.stage) == ("grind", None)
    assert coarse.reason.endswith("go on to the next finer grit")
    fine = step(ground(-5.0, "#800"))
    assert fine.action == "polish"
    assert fine.reason.endswith("go on to a finer grit, or polishing")


def test_a_grit_is_named_as_the_log_names_it():
    """A stage known only from a like surface goes by the name it was logged under there."""
    kind = Kind("6.5 um", "tool", "#800")
    like = [[HeightChange(3.0, 0.01, 0.01, ((kind, 30.0),))] * 4]
    found = progress([ground(-9.0, "#400")], TOLERANCE, like=like).next_step
    assert found.stage == "#800"
    assert "grind with #800" in found.text()
    assert Kind("6.5 um", "tool") == kind
    rows = visit_rows([ground(-9.0, "#800"), ground(-5.0, "#800")], 589.29)
    ((told, _),) = rate_history(rows, 589.29).changes[0].minutes
    assert told.name == "#800"


def test_irregularity_that_is_missing_is_asked_for():
    """With power well inside and irregularity not read: photograph, not a smaller uncertainty."""
    tolerance = Tolerance(2.0, 0.3, wavelength_nm=589.29)
    found = step(polish(-0.5), tolerance=tolerance)
    assert (found.action, "photograph the contact" in found.reason) == ("remeasure", True)
    near = step(polish(-1.95), tolerance=tolerance)
    assert (near.action, "smaller uncertainty" in near.reason) == ("remeasure", True)


def test_what_was_not_measured_leaves_the_probability_open():
    """Unproven for want of irregularity has no probability; outside by power alone has one."""
    tolerance = Tolerance(2.0, 0.3, wavelength_nm=589.29)
    assert progress([polish(-0.5)], tolerance).rows[0].probability is None
    assert progress([polish(-9.0)], tolerance).rows[0].probability == pytest.approx(0.0, abs=1e-6)


def test_a_ground_surface_is_not_finished():
    """A radius that is proven right while the surface is grey: on to finer stages, no stop."""
    found = step(ground(-600.0, "#600"), ground(-0.5, "#600"))
    assert found.action == "polish"
    assert "the radius is right" in found.reason
    assert step(polish(-0.5)).action == "stop"


def sagitta(power, u=4.0, **work):
    """A visit that the spherometer read."""
    sense = "edge" if power < 0 else "centre"
    one = Measured(power, u, sense, wavelength_nm=589.29, source="spherometer")
    return VisitRecord("s", hours(0), Work(**work), (one,))


def test_the_trades_overshoot():
    """Too shallow by 15 um at one visit, too deep by 12 at the next: turned round, and shorter.

    Common practice, no source. A convex too shallow has its contact at the edge; 27 um went in
    40 minutes with the tool on top, so that the work turned more convex.
    """
    um = 2 / 0.58929
    aperture = Aperture(3048.0, 150.0, 589.29, "convex")
    visits = [
        sagitta(-15 * um, stage="9 um", minutes=60.0, on_top="tool"),
        sagitta(12 * um, stage="9 um", minutes=40.0, on_top="tool"),
    ]
    found = progress(visits, TOLERANCE, aperture=aperture).next_step
    assert (found.action, found.piece_on_top) == ("grind", "work")
    assert found.moves == "the radius grows"
    assert "gone past the middle from −51" in found.reason
    assert found.forecast.borrowed
    # 12 of 27 um would be 18 min at the same pace; not so long as to pass through again
    assert 4 < found.minutes < 18


@pytest.mark.parametrize(
    ("form", "power", "on_top", "moves"),
    [
        ("convex", 90.0, "work", "the radius grows"),
        ("convex", -90.0, "tool", "the radius falls"),
        ("concave", 90.0, "work", "the radius falls"),
        ("concave", -90.0, "tool", "the radius grows"),
    ],
)
def test_which_way_the_radius_moves(form, power, on_top, moves):
    """The upper piece goes concave: a convex work's radius grows then, a concave one's falls.

    Common practice, no source; against the contact's sign: power > 0 is R_convex < R_concave.
    """
    aperture = Aperture(3048.0, 150.0, 589.29, form)
    found = progress([polish(power)], TOLERANCE, aperture=aperture).next_step
    assert (found.piece_on_top, found.moves) == (on_top, moves)
    grows = moves == "the radius grows"
    step = radius_difference_mm(power, 3048.0, 150.0, 589.29, form)
    assert (step < 0) is grows  # toward the plate's radius


def test_the_spherometers_end():
    """Unproven by the spherometer: on to the next stage in grinding, to fringes in polishing."""
    found = step(sagitta(1.0, stage="#600", minutes=20.0))
    assert found.action == "polish"
    assert "spherometer tells no more" in found.reason
    found = step(sagitta(1.0, stage="polish", minutes=20.0))
    assert found.action == "remeasure"
    assert "go on with fringes" in found.reason


def test_contradicting_sources_prove_nothing():
    """Photographs and spherometer that contradict each other: unproven, and both are named."""
    record = VisitRecord(
        "s",
        hours(0),
        Work("polish", 30.0),
        measured=(Measured(-0.5, 0.05, "edge", wavelength_nm=589.29), *sagitta(60.0).measured),
    )
    result = progress([record], TOLERANCE)
    assert result.rows[0].verdict == "unproven"
    assert result.next_step.action == "remeasure"
    assert "photographs say −0.50 ± 0.10 fringes, the spherometer says +60 ± 8" in (
        result.next_step.reason
    )


def test_readings_that_drift_wait():
    """Readings of one visit that differ by more than their uncertainty: wait, even if inside."""
    found = step(polish(-0.2, u=0.02, more=(-0.6, -0.4)))
    assert found.action == "wait"
    assert "temperature" in found.reason
    assert found.reason.startswith("inside as read, but readings of one visit differ")
    far = step(polish(-9.0, u=0.02, more=(-9.6, -9.4)))
    assert (far.action, far.reason[:8]) == ("wait", "readings")
    assert step(polish(-0.5, u=0.05, more=(-0.52,))).action == "stop"


def test_irregular_alone_names_no_piece():
    """With power inside and irregularity outside, which piece is on top does not follow."""
    reading = Measured(0.1, 0.02, "centre", 0.9, 0.02, wavelength_nm=589.29)
    record = VisitRecord("s", hours(0), Work("polish", 9.0), (reading,))
    found = step(record, tolerance=Tolerance(2.0, 0.3, wavelength_nm=589.29))
    assert (found.action, found.piece_on_top) == ("polish", None)
    assert "irregularity" in found.reason


def test_nothing_measured_yet():
    """Without a visit, a reading or a tolerance there is nothing to decide by."""
    assert step().action == "remeasure"
    assert step(visit(None, stage="#120", minutes=60.0)).action == "remeasure"
    assert step(visit(5.0), tolerance=Tolerance(wavelength_nm=589.29)).action == "remeasure"


@pytest.mark.parametrize("powers", [(12.0, 6.0), (-12.0, -6.0)])
def test_forecast_is_the_same_from_both_sides(powers):
    """Analytic: half the error in 30 minutes leaves 20 to the limit, from either side."""
    on_top = "work" if powers[0] > 0 else "tool"
    found = step(polish(powers[0], on_top=on_top), polish(powers[1], on_top=on_top))
    assert found.forecast.minutes.median == pytest.approx(20.0, rel=0.05)
    assert 20 < found.minutes <= 30.5


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (12.2, 21.0, "12 to 20 min"),
        (0.0, 0.2, "under a minute"),
        (30.0, 400.0, "0.5 to 6.7 h"),
        (None, None, "never"),
        (40.0, None, "40 min or never"),
    ],
)
def test_minutes_as_text(low, high, text):
    """Forecasts are rounded to what they are worth, and never is said so."""
    assert minutes_text(low, high) == text
