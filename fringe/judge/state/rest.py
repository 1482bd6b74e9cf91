"""How long a surface had rested when it was read: what the lap warmed is cooling until then."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from fringe.judge.state.visits import VisitRecord

_MINUTE = timedelta(minutes=1)


def rested_minutes(visits: Sequence[VisitRecord]) -> tuple[float | None, ...]:
    """Return the minutes since the lap at each visit; None where nothing tells them.

    As they were told; else, at a visit without work, the time since the visit before whose rest
    is known, or since the last work, together with that rest. Where the rest after that work was
    not told, it counts as none, so that the result is the least that it can be. A visit that
    was logged as of before that time says nothing.

    Parameters
    ----------
    visits : sequence of VisitRecord
        In the order of the work.
    """
    found: list[float | None] = []
    since, rest = None, 0.0  # time and rest of the last visit that one can count from
    for visit in visits:
        told, worked = visit.work.rested_minutes, visit.work.worked
        now = told
        if told is None and not worked and since is not None and visit.when >= since:
            now = rest + (visit.when - since) / _MINUTE
        found.append(now)
        if worked or told is not None:
            since, rest = visit.when, told or 0.0
    return tuple(found)
