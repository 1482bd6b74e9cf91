"""Histories after which advice is easily wrong, each with what is to be said."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from advised import RESTED, TOLERANCE, ground, history, judged, polish, rings, step, visit

from fringe.judge.advice.next_step import nextstep
from fringe.judge.state.belief import Doubt
from fringe.judge.state.filter import believe
from fringe.judge.state.observed import observed
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance

WORK = ("grind", "polish")


def test_rings_straight_from_the_lap_are_waited_for():
    """One reading by eye while the glass is warm proves nothing; a rested one ends the work."""
    warm = rings(-0.1, stage="polish", minutes=45.0, on_top="tool", rested_minutes=3.0)
    found = step(rings(-9.0), warm)
    assert found.action == "wait"
    assert 30 <= found.minutes <= 240
    assert found.back_at == history(rings(-9.0), warm)[-1].when + timedelta(minutes=found.minutes)
    assert "still warm from the lap" in found.reason
    assert step(rings(-9.0), warm, rings(-0.2)).action == "stop"


def test_readings_that_moved_without_work_are_told():
    """Two readings by eye, 1.5 fringes apart without work between: the reason says so."""
    worked = rings(-0.4, stage="polish", minutes=45.0, on_top="tool", rested_minutes=3.0)
    found = step(rings(-9.0), worked, rings(-1.9))
    assert found.action != "stop"
    assert "−0.4 ± 0.6 before it rested" in found.reason


def test_the_spherometers_offset_is_no_rate():
    """From a spherometer's reading to the first of fringes: no wrong way, and no rate of polish."""
    found = step(ground(-20.0, "#800", 60.0, pits="gone"), polish(-28.0))
    assert found.piece_on_top == "tool"
    assert "wrong way" not in found.reason
    rate = found.forecast.rate_um_h
    assert 0 < rate.low < rate.high


@pytest.mark.parametrize("count", [1, 2])
def test_wrong_way_takes_two_spells(count):
    """One spell that went the other way is an odd one; after two the pieces are turned round."""
    spells = [polish(-9.0 - 4.0 * i, rested_minutes=RESTED) for i in range(count)]
    found = step(polish(-5.0), *spells)
    assert found.piece_on_top == ("tool" if count == 1 else "work")
    assert ("wrong way" in found.reason) == (count == 2)
    assert found.minutes is not None


def test_the_reversed_piece_contradicts_wrong_way():
    """If the work on top lowered power as it should, the tool on top is not turned round."""
    spells = [polish(-9.0 - 4.0 * i, rested_minutes=RESTED) for i in range(2)]
    other = polish(-5.0, on_top="work", rested_minutes=RESTED)
    found = step(polish(3.0), other, *spells)
    assert found.piece_on_top == "tool"
    assert "wrong way" not in found.reason


def test_short_spells_contradict_wrong_way_together():
    """Three reversed trials of 0.7 fringe, all away from the middle: back to practice."""
    spells = [polish(-9.0 - 4.0 * i, rested_minutes=RESTED) for i in range(2)]
    trials = [
        polish(-13.0 - 0.7 * i, 20.0, on_top="work", rested_minutes=RESTED) for i in range(1, 4)
    ]
    found = step(polish(-5.0), *spells, *trials)
    assert found.piece_on_top == "tool"
    assert "wrong way" not in found.reason


def test_spells_that_went_right_contradict_wrong_way():
    """Where the same piece moved power as it should before, two odd spells do not turn it round."""
    right = [polish(-25.0 + 8.0 * i, rested_minutes=RESTED) for i in range(3)]
    wrong = [polish(-13.0 - 4.0 * i, rested_minutes=RESTED) for i in range(2)]
    found = step(*right, *wrong)
    assert found.piece_on_top == "tool"
    assert "wrong way" not in found.reason


def test_a_spell_without_a_piece_is_followed_by_one_with():
    """Work that was logged without its piece on top: the next step names one."""
    found = step(visit(-15.0), visit(-9.0, stage="polish", minutes=30.0))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert found.minutes is not None


def test_a_precise_reading_is_not_forgotten():
    """Fringes at −8.5, then a spherometer that knows nothing: on with polish, tool on top."""
    found = step(polish(-8.5, u=0.25), visit(10.0, 15.0, source="spherometer"))
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert "by all visits power is −8" in found.reason


@pytest.mark.parametrize("told", [{"pits": "left"}, {"removed_mm": 0.002}])
def test_pits_forbid_a_stop(told):
    """Proven inside, but loupe or gauge say that pits are left: on with both pieces in turn."""
    before = (ground(-9.0, "#800", 60.0), polish(-0.2, rested_minutes=RESTED, **told))
    for visits in (before, (*before, visit(-0.2))):
        found = step(*visits)
        assert (found.action, len(found.alternate)) == ("polish", 2)


def test_a_look_is_asked_for_where_only_practice_doubts_pits():
    """A short polish after a grit, inside: look first. What the look says decides, told alone."""
    worked = [
        ground(12.0, "#240", 40.0),
        ground(3.0, "#400", 20.0),
        polish(-0.4, 60.0, rested_minutes=RESTED),
    ]
    asked = step(*worked)
    assert asked.action == "remeasure"
    assert "look through a loupe" in asked.reason
    assert step(*worked, visit(None, pits="gone")).action == "stop"
    left = step(*worked, visit(None, pits="left"))
    assert (left.action, left.stage) == ("polish", "polish")
    # nobody looked, but read again: it is not asked twice
    again = step(*worked, visit(-0.4))
    assert "loupe" not in again.reason


def test_minutes_for_pits_keep_power():
    """The minutes that pits ask for are shared by the pieces, so that power stays near the middle.

    Analytic: with the work on top alone so many minutes would move it ten times as far.
    """
    found = step(ground(-30.0, "#240", 60.0), ground(2.0, "#400", 20.0, pits="left"))
    assert found.stage == "#400"
    after = found.forecast.after_um.median
    alone = found.minutes / 60 * abs(found.forecast.rate_um_h.median)
    assert abs(after) < alone / 5


def test_pits_are_not_crept_after():
    """All but a micrometre of the pits is gone by the gauge: no spell of one minute."""
    found = step(ground(-30.0, "#240", 60.0), ground(5.0, "#400", 80.0, removed_mm=0.133))
    assert found.minutes >= 5 or found.stage != "#400"


def test_a_slow_and_doubtful_rate_is_split():
    """A rate between nothing and three fringes an hour: not eight hours at once."""
    found = step(visit(-8.0, 0.5), polish(-7.7, u=0.5, minutes=60.0))
    assert found.minutes <= 240


def test_what_shows_fringes_is_polished():
    """A first visit by eye, three rings and nothing else: polish, the work on top, a trial."""
    found = step(rings(3.0))
    assert (found.action, found.piece_on_top, found.trial) == ("polish", "work", True)
    assert found.minutes is not None


def test_a_first_visit_by_spherometer_begins_coarse():
    """Nothing but a spherometer's reading: a grit is named, and how to name another."""
    found = step(visit(-60.0, 15.0, source="spherometer"))
    assert (found.action, found.stage, found.trial) == ("grind", "#120", True)
    assert "or log the grit that it was worked with last (--stage)" in found.reason
    told = step(visit(-20.0, 4.0, source="spherometer", stage="#400"))
    assert (told.action, told.stage) == ("grind", "#800")
    assert "it came in with #400: begin with #800" in told.reason


def test_fringes_after_a_grit_are_polish():
    """A grit, and fringes at a later visit without work: somebody polished and did not log it."""
    found = step(ground(-9.0, "#800", 60.0, pits="gone"), rings(-5.0))
    assert found.action == "polish"


def test_no_turns_between_polish_and_grit():
    """What polishing reaches in hours is polished, whatever a spherometer said in between."""
    visits = [
        ground(-20.0, "#800", 60.0, pits="gone"),
        polish(-9.0, 60.0),
        visit(-40.0, 20.0, source="spherometer"),
        polish(-6.0, 60.0),
    ]
    for count in range(2, 5):
        assert step(*visits[:count]).action == "polish"


def test_a_wrong_sense_is_asked_about():
    """Rings that half an hour cannot have made, but would on the other side: is the sense right?"""
    rested = {"rested_minutes": RESTED}
    visits = polish(-15.0, **rested), polish(-11.0, **rested), polish(7.0, **rested)
    found = step(*visits)
    assert found.action == "remeasure"
    assert found.question.startswith(
        "Is the sense of visit 3 right? If the contact was at the edge"
    )
    assert "--replaces 3 --sense edge" in found.question
    assert (found.doubt.kind, found.doubt.visit) == ("sense", 3)
    assert found.question in found.sentence()
    mended = step(*visits[:-1], polish(-7.0, **rested))
    assert (mended.action, mended.question) == ("polish", None)


@pytest.mark.parametrize("kind", ["sense", "dust"])
def test_a_question_holds_the_work_up_once(kind):
    """Read again without work, or a spell later, nobody is asked any more: the work goes on."""
    for visits, asked in (
        ((polish(-15.0), polish(-11.0)), True),
        ((polish(-15.0), polish(-11.0), visit(-11.0)), False),
        ((polish(-15.0), polish(-11.0), polish(-9.0), polish(-8.0)), False),
    ):
        log = history(*visits)
        belief = believe(observed(log, 589.29))[-1]
        doubted = replace(belief, doubts=(Doubt(kind, 2, 0.9, 11.0, 0.1),))
        found = nextstep(judged(*log).rows, TOLERANCE, doubted)
        assert (found.action == "remeasure") == asked
        assert (found.question is not None) == asked


def test_wrong_minutes_are_asked_about_along_the_way():
    """Minutes that are likely twice those logged: asked, while the work goes on."""
    visits = history(*(polish(p, rested_minutes=RESTED) for p in (-25.0, -20.0, -10.0)))
    rows = judged(*visits).rows
    belief = believe(observed(visits, 589.29))[-1]
    doubt = Doubt("minutes twice", 3, 0.8, -2.9, 0.1)
    found = nextstep(rows, TOLERANCE, replace(belief, doubts=(doubt,)))
    assert found.action in WORK
    assert "Were the 30 minutes of visit 3 rather 60?" in found.question
    assert "--replaces 3 --minutes 60" in found.question


def test_the_wait_is_said_with_the_spell():
    """Polishing near the middle is followed by a rest that the step tells; grinding is not."""
    found = step(polish(-9.0), polish(-5.0, rested_minutes=RESTED))
    assert 30 <= found.rest_minutes <= 240
    assert f"then let it rest {found.rest_minutes:.0f} min" in found.whole()
    assert step(ground(-60.0, "#240")).rest_minutes is None


def test_every_visit_keeps_its_step():
    """Each row tells what was to do after it, in the words of the step."""
    result = judged(polish(-9.0), polish(-5.0), polish(-3.0))
    assert [row.next_step for row in result.rows][-1] == result.next_step.text()
    assert all(row.next_step.startswith("polish about") for row in result.rows)


def test_a_tolerance_of_the_radius_alone_is_enough():
    """A limit in millimetres gives minutes and piece as one in fringes does."""
    aperture = Aperture(3048.0, 150.0, 589.29, "convex")
    tolerance = Tolerance(radius_difference_mm=1.5, wavelength_nm=589.29)
    reading = Measured(
        -9.0,
        0.05,
        "edge",
        wavelength_nm=589.29,
        radius_difference_mm=9.0,
        radius_difference_u_mm=0.1,
    )
    record = history(polish(-9.0))[0]
    found = step(replace(record, measured=(reading,)), tolerance=tolerance, aperture=aperture)
    assert (found.action, found.piece_on_top) == ("polish", "tool")
    assert found.minutes > 0
