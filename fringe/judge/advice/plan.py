"""A plan: visits, hours and days that one or several surfaces still take, with 90 % intervals.

Lives are drawn from what is believed of each surface and led on, each as the next step says;
the turns of all surfaces then share one pair of hands (`schedule`). What the intervals hold is
only what the model knows: its laws of removal, warmth and pits, readings as they were until
now, the next step followed. Irregularity is taken to come with power.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np

from fringe.errors import BadInput
from fringe.judge.advice.course import Course, course, limits_power
from fringe.judge.advice.schedule import Day, Slot, Turn, schedule

if TYPE_CHECKING:
    from fringe.judge.judging import Judging

LIVES = 60
USUAL_DAY = Day()
READING_MINUTES = 10.0  # cleaning, laying on, reading (common practice, no source)
_TAIL = 0.05


@dataclass(frozen=True)
class Range:
    """Middle of a number and the ends of its 90 % interval."""

    median: float
    low: float
    high: float

    @classmethod
    def of(cls, values: Sequence[float]) -> Range:
        """From equally likely values."""
        low, median, high = np.quantile(values, [_TAIL, 0.5, 1 - _TAIL], method="nearest")
        return cls(float(median), float(low), float(high))


@dataclass(frozen=True)
class Days:
    """Middle of a time and the ends of its 90 % interval."""

    median: datetime
    low: datetime
    high: datetime

    @classmethod
    def of(cls, times: Sequence[datetime]) -> Days:
        """From equally likely times."""
        ordered = sorted(times)
        last = len(ordered) - 1
        low, median, high = (ordered[round(last * q)] for q in (_TAIL, 0.5, 1 - _TAIL))
        return cls(median, low, high)


@dataclass(frozen=True)
class PlannedSurface:
    """What one surface still takes.

    Attributes
    ----------
    name : str
        Of the surface.
    visits : Range
        That still read it.
    work_minutes : Range
        Of work [min].
    finished : Days
        When it is finished, the other surfaces of the plan in between.
    chance : float
        That it comes to `stop` within `MOST_VISITS` at all.
    """

    name: str
    visits: Range
    work_minutes: Range
    finished: Days
    chance: float

    @property
    def work_hours(self) -> Range:
        """Of work [h]."""
        work = self.work_minutes
        return Range(work.median / 60, work.low / 60, work.high / 60)


@dataclass(frozen=True)
class PlannedTurn:
    """A turn of the middle one of all lives."""

    surface: str
    what: str
    start: datetime
    end: datetime
    rest_until: datetime


@dataclass(frozen=True)
class Plan:
    """What several surfaces still take together.

    Attributes
    ----------
    surfaces : tuple of PlannedSurface
        In the order in which they were named.
    finished : Days
        When the last of them is.
    hands : Range
        Hours at the bench, readings included [h].
    turns : tuple of PlannedTurn
        The course of one life of all: the one that ends in the middle of all ends.
    lives : int
        How many were drawn.
    now : datetime
        From when it is planned.
    day : Day
        When there is somebody at the bench.
    """

    surfaces: tuple[PlannedSurface, ...]
    finished: Days
    hands: Range
    turns: tuple[PlannedTurn, ...]
    lives: int
    now: datetime
    day: Day


@dataclass(frozen=True)
class Habits:
    """How the shop works.

    Attributes
    ----------
    day : Day
        When there is somebody at the bench.
    reading_minutes : float
        That a reading takes the hands [min].
    first_minutes : float or None
        Of the first spell of each surface, in place of those advised [min].
    """

    day: Day = USUAL_DAY
    reading_minutes: float = READING_MINUTES
    first_minutes: float | None = None


def plan(
    named: Sequence[tuple[str, Judging]],
    now: datetime,
    habits: Habits | None = None,
    *,
    pair: bool = False,
    lives: int | None = None,
) -> Plan:
    """Foretell what surfaces still take.

    Parameters
    ----------
    named : sequence of (str, Judging)
        Name of each surface, and its visits, judged.
    now : datetime
        When the first turn can begin.
    habits : Habits, optional
        How the shop works.
    pair : bool
        Whether the surfaces are laid on each other at the end: one more reading.
    lives : int, optional
        How many to draw; otherwise `LIVES`.

    Returns
    -------
    Plan

    Raises
    ------
    BadInput
        If a surface has no reading, or no tolerance of power or radius to end at.
    """
    made, lives = habits or Habits(), lives or LIVES
    for name, judging in named:
        if not limits_power(judging.tolerance):
            raise BadInput(f"{name}: it has no tolerance of power or radius, so no end to plan for")
        if judging.belief is None or not judging.visits:
            raise BadInput(f"{name}: nothing was read of it yet; log a reading first")
    drawn = [
        [
            # a surface lives the same lives whoever shares the bench with it
            course(judging, (life, crc32(name.encode())), made.reading_minutes, made.first_minutes)
            for name, judging in named
        ]
        for life in range(lives)
    ]
    slots = [schedule([one.turns for one in each], now, made.day) for each in drawn]
    ends = [_ends(one, len(named), now) for one in slots]
    last = [_last(each, made, pair=pair, now=now) for each in ends]
    middle = int(np.argsort([one.timestamp() for one in last], kind="stable")[lives // 2])
    return Plan(
        surfaces=tuple(
            _planned(name, [each[i] for each in drawn], [each[i] for each in ends])
            for i, (name, _) in enumerate(named)
        ),
        finished=Days.of(last),
        hands=Range.of([_hands(each) / 60 for each in drawn]),
        turns=_turns(drawn[middle], slots[middle], [name for name, _ in named]),
        lives=lives,
        now=now,
        day=made.day,
    )


def _planned(name: str, courses: Sequence[Course], ends: Sequence[datetime]) -> PlannedSurface:
    return PlannedSurface(
        name,
        Range.of([one.visits for one in courses]),
        Range.of([one.work_minutes for one in courses]),
        Days.of(ends),
        float(np.mean([one.finished for one in courses])),
    )


def _ends(slots: Sequence[Slot], count: int, now: datetime) -> list[datetime]:
    """When each surface's last turn ends."""
    ends = [now] * count
    for one in slots:
        ends[one.surface] = max(ends[one.surface], one.end)
    return ends


def _last(ends: Sequence[datetime], habits: Habits, *, pair: bool, now: datetime) -> datetime:
    """When all is done; a pair is laid on each other last."""
    end = max(ends)
    if not pair:
        return end
    laid = schedule([(Turn(habits.reading_minutes),)], max(end, now), habits.day)
    return laid[-1].end


def _hands(courses: Sequence[Course]) -> float:
    return sum(turn.minutes for one in courses for turn in one.turns)


def _turns(
    courses: Sequence[Course], slots: Sequence[Slot], names: Sequence[str]
) -> tuple[PlannedTurn, ...]:
    found = []
    for slot in slots:
        one = courses[slot.surface]
        rest = timedelta(minutes=one.turns[slot.turn].rest_minutes)
        found.append(
            PlannedTurn(
                names[slot.surface],
                one.steps[slot.turn],
                slot.start,
                slot.end,
                slot.end + rest,
            )
        )
    return tuple(found)
