"""Several surfaces, one pair of hands: one piece's rest is the time to work another.

A visit takes the hands for its work and its reading; then the piece rests, through the night if
need be, before it can be read again or worked on. Whichever piece that is ready has the longest
way still to go (work and rest) is taken first, as in scheduling by the critical path.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

MINUTES_A_DAY = 24 * 60.0


@dataclass(frozen=True)
class Turn:
    """One visit to come.

    Attributes
    ----------
    minutes : float
        That the hands are busy: work, cleaning, reading [min].
    rest_minutes : float
        That the piece then has to lie before its next turn [min].
    """

    minutes: float
    rest_minutes: float = 0.0


@dataclass(frozen=True)
class Day:
    """When there is somebody at the bench.

    Attributes
    ----------
    begins_minutes : float
        From midnight [min].
    minutes : float
        How long [min].
    """

    begins_minutes: float = 9 * 60.0
    minutes: float = 8 * 60.0

    def next_start(self, at_minutes: float, needed_minutes: float) -> float:
        """First time at or after one at which a turn can begin [min after a midnight].

        A turn must end within the day; one that is longer than a day begins with it.
        """
        day = math.floor(at_minutes / MINUTES_A_DAY)
        while True:
            begins = day * MINUTES_A_DAY + self.begins_minutes
            start = max(at_minutes, begins)
            if start + needed_minutes <= begins + self.minutes or (
                start == begins and needed_minutes > self.minutes
            ):
                return start
            day += 1


@dataclass(frozen=True)
class Slot:
    """A turn in the course of the days.

    Attributes
    ----------
    surface : int
        Which surface, counted as they were given.
    turn : int
        Which of its turns.
    start, end : datetime
        When the hands are on it.
    """

    surface: int
    turn: int
    start: datetime
    end: datetime


def schedule(lives: Sequence[Sequence[Turn]], now: datetime, day: Day) -> tuple[Slot, ...]:
    """Put the turns of several surfaces one after the other.

    Parameters
    ----------
    lives : sequence of sequence of Turn
        Turns to come, a surface each.
    now : datetime
        When the first can begin.
    day : Day
        When there is somebody at the bench.

    Returns
    -------
    tuple of Slot
        In the order of time; all turns of all surfaces.
    """
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    at = (now - midnight).total_seconds() / 60
    left = [_ways_to_go(turns) for turns in lives]
    upto = [0] * len(lives)
    ready = [at] * len(lives)
    slots = []
    while any(done < len(turns) for done, turns in zip(upto, lives, strict=True)):
        begins = {
            i: day.next_start(max(at, ready[i]), lives[i][upto[i]].minutes)
            for i in range(len(lives))
            if upto[i] < len(lives[i])
        }
        # the one that can begin first; of several, the one with the longest way to go
        taken = min(begins, key=lambda i: (begins[i], -left[i][upto[i]]))
        turn, start = lives[taken][upto[taken]], begins[taken]
        at = start + turn.minutes
        ready[taken] = at + turn.rest_minutes
        slots.append(
            Slot(
                taken,
                upto[taken],
                midnight + timedelta(minutes=start),
                midnight + timedelta(minutes=at),
            )
        )
        upto[taken] += 1
    return tuple(slots)


def _ways_to_go(turns: Sequence[Turn]) -> list[float]:
    """Work and rest that are still to come before each turn's end and after it [min]."""
    ways, total = [], 0.0
    for turn in reversed(turns):
        total += turn.minutes + turn.rest_minutes
        ways.append(total)
    return ways[::-1]
