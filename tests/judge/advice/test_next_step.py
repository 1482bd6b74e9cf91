"""The next step: never stop on hope, always say how long and which piece, ask about slips."""

from __future__ import annotations

import pytest
from advised import RESTED, TOLERANCE, ground, history, judged, polish, step, visit
from hypothesis import given, settings
from hypothesis import strategies as st

from fringe.judge.advice.step import minutes_text
from fringe.judge.progress import progress
from fringe.judge.state.observed import OtherSurface, observed
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import radius_difference_mm
from sample_visits import hours

FINISHED = polish(-0.5, rested_minutes=RESTED)


def test_stop_when_proven_inside():
    """A visit that is proven inside the tolerance, long after the lap, ends the work."""
    found = step(FINISHED)
    assert (found.action, found.minutes, found.piece_on_top) == ("stop", None, None)


RECORDS = st.builds(
    visit,
    st.none() | st.floats(-30, 30),
    st.just(0.0) | st.floats(1e-6, 3),
    st.sampled_from(["centre", "edge", "unknown"]),
    more=st.lists(st.floats(-30, 30), max_size=2),
    source=st.sampled_from(["fringes", "eye", "spherometer"]),
    stage=st.sampled_from([None, "#120", "#800", "polish", "by hand"]),
    minutes=st.none() | st.floats(0, 300),
    on_top=st.sampled_from([None, "work", "tool"]),
    pits=st.sampled_from([None, "gone", "left"]),
    removed_mm=st.none() | st.floats(0, 0.2),
    rested_minutes=st.none() | st.floats(0, 600),
)


@settings(deadline=None)
@given(st.lists(RECORDS, max_size=5), st.sampled_from(["guard95", "shrinkU"]))
def test_a_step_is_whole(records, rule):
    """Whatever the history: `stop` only on proof, and no work without stage, minutes and piece."""
    tolerance = Tolerance(2.0, wavelength_nm=589.29, rule=rule)
    result = judged(*records, tolerance=tolerance)
    found = result.next_step
    assert found.action in ("grind", "polish", "wait", "stop", "remeasure")
    assert found.reason
    assert "\n" not in found.sentence()
    told = [row for row in result.rows if row.stage or row.minutes or row.verdict]
    if found.action == "stop":
        assert told[-1].verdict == "inside"
        assert all(row.pits != "left" for row in told[-1:])
    working = found.action in ("grind", "polish")
    assert (found.stage is not None, found.piece_on_top is not None) == (working, working)
    assert (found.minutes is not None) == (working or found.action == "wait")
    assert (found.back_at is not None) == (found.action == "wait")
    if found.minutes is not None:
        assert 0 < found.minutes <= 245
    assert sum(minutes for _, minutes in found.alternate) in (0, found.minutes)


def test_a_remark_changes_nothing():
    """A visit that neither worked nor read leaves verdict and next step as they were."""
    result = judged(FINISHED, visit(None))
    assert result.next_step.action == "stop"
    assert result.verdict.state == "inside"
    worked = judged(FINISHED, visit(None), polish(None))
    assert (worked.next_step.action, worked.verdict) == ("remeasure", None)


def test_unproven_is_measured_again():
    """Neither inside nor outside, and near the middle: measure again."""
    wide = {"u": 1.2, "rested_minutes": RESTED}
    found = step(polish(-9.0), polish(-0.2, **wide))
    assert found.action == "remeasure"
    assert "smaller uncertainty" in found.reason


def test_near_the_limit_work_does_more_than_reading():
    """At the limit itself another reading decides little: the work goes on toward the middle."""
    found = step(polish(-6.0), polish(-1.9, u=0.2, rested_minutes=RESTED))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    again = step(polish(-6.0), polish(-1.9, u=0.2, rested_minutes=RESTED), visit(-1.9, u=0.2))
    assert (again.action, again.piece_on_top) == ("polish", "tool")


def test_an_unknown_sense_is_no_direction():
    """Far outside, but which way is not known: measure the sense, do not guess a stroke."""
    found = step(polish(9.0, sense="unknown"))
    assert (found.action, found.piece_on_top) == ("remeasure", None)


def test_earlier_visits_tell_a_sense_that_the_last_one_does_not():
    """From 25 fringes at the edge, half an hour does not come out at 20 on the other side."""
    found = step(polish(-25.0), polish(20.0, sense="unknown"))
    assert (found.action, found.piece_on_top) == ("polish", "tool")


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
    ],
)
def test_work_goes_on_as_it_was(stage, action):
    """The step after polishing is polishing, after grinding that is not done grinding."""
    found = step(visit(-30.0, stage=stage, minutes=20.0))
    assert (found.action, found.stage) == (action, stage)


def test_the_forecast_is_the_learned_rate():
    """Analytic: 10 fringes in 40 minutes, four times: 15 an hour, 15 fringes in an hour."""
    rested = {"minutes": 40.0, "rested_minutes": RESTED}
    found = step(polish(-55.0), *(polish(p, **rested) for p in (-45.0, -35.0, -25.0, -15.0)))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert found.forecast.rate_um_h.median == pytest.approx(15 * 0.589292 / 2, rel=0.1)
    assert found.forecast.minutes.low < 52.0 < found.forecast.minutes.high
    assert found.forecast.minutes.median == pytest.approx(52.0, rel=0.1)
    # to the middle, or less where that might go through to the other side
    assert 35.0 <= found.minutes <= 60.0
    assert found.text().startswith(f"polish about {found.minutes:.0f} min, tool on top")


def test_another_stage_teaches_little():
    """Grinding says nothing of polishing, but that a shop works: a short trial, said as such."""
    found = step(ground(-15.0, "#800", pits="gone"), visit(-9.0))
    assert (found.action, found.trial) == ("polish", True)
    assert "a trial" in found.reason
    assert found.minutes <= 60


def test_the_other_piece_on_top_is_a_guess():
    """The reverse of a known work is foretold, wider, and marked as a guess."""
    found = step(polish(-15.0, on_top="work"), polish(-25.0, minutes=40.0, on_top="work"))
    assert found.forecast.borrowed
    straight = step(polish(-35.0), polish(-25.0, minutes=40.0))
    assert not straight.forecast.borrowed
    wide, narrow = (one.forecast.rate_um_h for one in (found, straight))
    assert wide.high / wide.low > 1.2 * narrow.high / narrow.low
    assert wide.median > 0


def test_a_hopelessly_far_surface_goes_back_to_grinding():
    """If polishing would take days, grind."""
    slow = {"u": 0.01, "rested_minutes": RESTED}
    found = step(polish(-200.0, **slow), polish(-199.0, minutes=60.0, **slow))
    assert (found.action, found.piece_on_top) == ("grind", "tool")
    assert "too far for polish: go back to #" in found.reason


SHOP = (
    ground(-600.0, "#220"),
    ground(-400.0, "#220"),
    ground(-200.0, "#220", pits="gone"),
    ground(-130.0, "#400"),
    ground(-100.0, "#400", pits="gone"),
)


def test_back_a_grit():
    """What polishing cannot move goes back to the finest grit that can, by the log's own rates."""
    found = step(*SHOP, polish(-99.0, u=0.1, minutes=60.0))
    assert (found.action, found.stage, found.piece_on_top) == ("grind", "#400", "tool")
    assert "go back to #400" in found.reason
    assert 10 < found.minutes < 90  # 99 fringes at 1.5 to 3.5 a minute


def test_the_next_stage_can_take_it():
    """Grinding ends when the next stage takes the rest with the pits; else it goes on."""
    near = step(ground(-30.0, "#400"), ground(-5.0, "#400", pits="gone"))
    assert (near.action, near.stage) == ("grind", "#800")
    assert "#800 can take what is left" in near.reason
    far = step(ground(-150.0, "#400"), ground(-130.0, "#400", pits="gone"))
    assert far.stage in ("#400", "#240")


def test_a_small_piece_is_not_handed_on_by_its_grain():
    """108 fringes are less than a grain of #240, but more than #400 takes on the way: go on."""
    aperture = Aperture(300.0, 40.0, 589.29, "convex")
    slow = [ground(p, "#240", 30.0, "work", 1.0, pits="gone") for p in (130.0, 119.0, 108.0)]
    found = step(*slow, aperture=aperture)
    assert found.piece_on_top == "work"
    assert "less than a grain" not in found.reason


def test_pits_come_first():
    """A grit that has not removed the last one's pits goes on, though the radius is right."""
    before = (ground(-40.0, "#220"), ground(-5.0, "#400", removed_mm=0.04))
    found = step(*before)
    assert (found.action, found.stage) == ("grind", "#400")
    assert "pits of #220" in found.reason
    assert found.pits.gone is not True
    assert len(found.alternate) == 2  # power is kept meanwhile
    assert found.forecast.kind.on_top == "tool"  # what leads to the middle, not the longer turn
    after = found.forecast.after_um
    assert abs(after.median) < 5.0
    seen = step(*before[:-1], ground(-5.0, "#400", removed_mm=0.16, pits="gone"))
    assert seen.stage == "#800"


def test_after_a_coarse_grit_comes_a_finer_one():
    """Where the log knows no finer stage: after grains above 15 µm a usual grit, then polish."""
    coarse = step(ground(-5.0, "#120", 120.0, pits="gone"))
    assert (coarse.action, coarse.stage) == ("grind", "#240")
    fine = step(ground(-5.0, "#800", 90.0, pits="gone"))
    assert (fine.action, fine.stage) == ("polish", "polish")


def other(*visits):
    """A surface of the shop that was made before."""
    return OtherSurface(observed(history(*visits), 589.29), 150.0)


def test_a_grit_is_named_as_the_log_names_it():
    """A stage known only from another surface goes by the name it was logged under there."""
    made = other(ground(-90.0, "#320"), ground(-50.0, "JIS1000", 30.0), polish(-9.0))
    found = step(ground(-5.0, "#320", 90.0, pits="gone"), others=[made])
    assert (found.stage, found.trial) == ("JIS1000", False)
    assert "grind with JIS1000" in found.text()


def test_irregularity_that_is_missing_is_asked_for():
    """With power well inside and irregularity not read: photograph, not a smaller uncertainty."""
    tolerance = Tolerance(2.0, 0.3, wavelength_nm=589.29)
    found = step(FINISHED, tolerance=tolerance)
    assert (found.action, "photograph the contact" in found.reason) == ("remeasure", True)


def test_what_was_not_measured_leaves_the_probability_open():
    """Unproven for want of irregularity has no probability; outside by power alone has one."""
    tolerance = Tolerance(2.0, 0.3, wavelength_nm=589.29)
    assert progress([polish(-0.5)], tolerance).rows[0].probability is None
    assert progress([polish(-9.0)], tolerance).rows[0].probability == pytest.approx(0.0, abs=1e-6)


def test_a_ground_surface_is_not_finished():
    """A radius that is proven right while the surface is grey: on to finer stages, no stop."""
    found = step(ground(-30.0, "#600"), ground(-0.5, "#600", 60.0, u=0.3, pits="gone"))
    assert (found.action, found.stage) == ("polish", "polish")
    assert step(FINISHED).action == "stop"


def test_the_trades_overshoot():
    """Too shallow by 8 um at one visit, too deep by 6 at the next: turned round, and shorter.

    Common practice, no source. A convex too shallow has its contact at the edge; 14 um went in
    80 minutes with the tool on top, so that the work turned more convex.
    """
    um = 2 / 0.58929
    aperture = Aperture(3048.0, 150.0, 589.29, "convex")
    visits = [
        ground(-8 * um, "9 um", 60.0, u=1.5),
        ground(6 * um, "9 um", 80.0, u=1.5, pits="left"),
    ]
    found = step(*visits, aperture=aperture)
    assert (found.stage, found.piece_on_top) == ("9 um", "work")
    assert found.moves == "the radius grows"
    assert "gone past the middle from −27" in found.reason


@pytest.mark.parametrize(
    ("form", "power", "on_top", "moves"),
    [
        ("convex", 30.0, "work", "the radius grows"),
        ("convex", -30.0, "tool", "the radius falls"),
        ("concave", 30.0, "work", "the radius falls"),
        ("concave", -30.0, "tool", "the radius grows"),
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
    """Near the middle by the spherometer: on to the next stage in grinding, to fringes after."""
    found = step(ground(1.0, "#600", 60.0, pits="gone"))
    assert found.action == "polish"
    found = step(visit(0.5, 0.3, source="spherometer", stage="polish", minutes=20.0))
    assert found.action == "remeasure"
    assert "go on with fringes" in found.reason


def test_contradicting_sources_prove_nothing():
    """Photographs and spherometer that contradict each other: unproven, and both are named."""
    readings = (
        Measured(-0.5, 0.05, "edge", wavelength_nm=589.29),
        Measured(60.0, 4.0, "centre", wavelength_nm=589.29, source="spherometer"),
    )
    result = progress([VisitRecord("s", hours(0), Work("polish", 30.0), readings)], TOLERANCE)
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
    settled = polish(-0.5, u=0.05, more=(-0.52,), rested_minutes=RESTED)
    assert step(settled).action == "stop"


def test_irregular_alone_takes_both_pieces():
    """With power inside and irregularity outside, both pieces in turn keep power where it is."""
    reading = Measured(0.1, 0.02, "centre", 0.9, 0.02, wavelength_nm=589.29)
    record = VisitRecord("s", hours(0), Work("polish", 9.0), (reading,))
    found = step(record, tolerance=Tolerance(2.0, 0.3, wavelength_nm=589.29))
    assert (found.action, len(found.alternate)) == ("polish", 2)
    assert "irregularity" in found.reason


def test_nothing_measured_yet():
    """Without a visit, a reading or a tolerance there is nothing to decide by."""
    assert step().action == "remeasure"
    assert step(visit(None, stage="#120", minutes=60.0)).action == "remeasure"
    assert step(visit(5.0), tolerance=Tolerance(wavelength_nm=589.29)).action == "remeasure"


@pytest.mark.parametrize("powers", [(12.0, 6.0), (-12.0, -6.0)])
def test_both_sides_get_a_spell(powers):
    """From either side, toward the middle and not through to the other."""
    on_top = "work" if powers[0] > 0 else "tool"
    found = step(*(polish(p, on_top=on_top, rested_minutes=RESTED) for p in powers))
    assert found.piece_on_top == on_top
    # twelve to six in half an hour, and as much again is left
    assert 15 <= found.minutes <= 35
    ends = found.forecast.after_um
    assert ends.low < 0 < ends.high or found.forecast.inside_after > 0.3


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
