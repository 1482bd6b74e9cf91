"""How long a surface had left the lap when it was read."""

from __future__ import annotations

from fringe.judge.state.abrasives import stage
from fringe.judge.state.observed import HeightReading, ObservedVisit, Spell
from fringe.judge.state.rest import SET_UP_MINUTES, rest_of
from sample_visits import hours

SPELL = Spell(stage("polish"), 40.0, "work")


def visit(at_hours: float, *spells: Spell, rested: float | None = None) -> ObservedVisit:
    """A visit with one reading."""
    reading = HeightReading("eye", 1.0, 0.1, rested_minutes=rested)
    return ObservedVisit(hours(at_hours), spells, (reading,))


def test_told_rest_is_taken() -> None:
    """A rest that is told counts, whatever the clock says."""
    found = rest_of(visit(10.0, SPELL, rested=15.0), visit(0.0))
    assert (found.minutes, found.doubtful) == (15.0, False)


def test_rest_is_what_the_clock_leaves() -> None:
    """Untold: the time since the visit before, less the work and setting up; it may be none."""
    found = rest_of(visit(5.0, SPELL), visit(0.0))
    assert (found.minutes, found.doubtful) == (300.0 - 40.0 - SET_UP_MINUTES, True)
    hasty = rest_of(visit(1.0, SPELL), visit(0.0))
    assert (hasty.minutes, hasty.doubtful) == (60.0 - 40.0 - SET_UP_MINUTES, False)
    assert rest_of(visit(0.5, SPELL), visit(0.0)).minutes == 0.0
    assert rest_of(visit(5.0, SPELL)).minutes == 0.0


def test_without_work_time_goes_on() -> None:
    """A visit without work is later by the clock, or by the rest that it tells if that is more."""
    assert rest_of(visit(2.0), visit(0.5), 20.0).elapsed_minutes == 90.0
    assert rest_of(visit(2.0, rested=150.0), visit(0.5), 20.0).elapsed_minutes == 130.0
    assert rest_of(visit(0.0), visit(1.0), 20.0).elapsed_minutes == 0.0


def test_photographs_of_one_visit() -> None:
    """Readings that tell different rests lie so much before the last of them."""
    readings = tuple(HeightReading("fringes", 1.0, 0.1, rested_minutes=m) for m in (2.0, 10.0))
    found = rest_of(ObservedVisit(hours(3.0), (SPELL,), readings))
    assert list(found.earlier_minutes) == [8.0, 0.0]
