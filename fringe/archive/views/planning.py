"""A plan of surfaces by their names: what they still take, and what another first spell changes."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.archive.store.surface import find_surface
from fringe.archive.views.surface_state import logged_visits
from fringe.archive.views.visit_request import time_of
from fringe.errors import BadInput
from fringe.judge.advice.plan import READING_MINUTES, Habits, Plan, plan
from fringe.judge.advice.schedule import MINUTES_A_DAY, Day

_HOURS = re.compile(r"\s*(\d{1,2})(?::(\d\d))?\s*-\s*(\d{1,2})(?::(\d\d))?\s*")


@dataclass(frozen=True)
class PlanRequest:
    """What a plan is asked for, as it is typed.

    Attributes
    ----------
    hours : str
        When there is somebody at the bench, as `9:00-17:00`.
    start : str or None
        When the first turn can begin, ISO 8601; None: now.
    minutes : float or None
        What if the first spell of each surface lasts so long [min].
    reading_minutes : float
        That a reading takes the hands [min].
    pair : bool
        Whether the surfaces are laid on each other at the end.
    alone : bool
        Learn nothing from the archive's other surfaces.
    """

    hours: str = "9:00-17:00"
    start: str | None = None
    minutes: float | None = None
    reading_minutes: float = READING_MINUTES
    pair: bool = False
    alone: bool = False


@dataclass(frozen=True)
class PlannedSurfaces:
    """A plan, and the one with another first spell where that was asked for.

    Attributes
    ----------
    plan : Plan
        With the spells as they are advised.
    other : Plan or None
        With the first spell that was asked about.
    request : PlanRequest
        What was asked.
    steps : tuple of str
        The next step of each surface, in a few words.
    """

    plan: Plan
    other: Plan | None
    request: PlanRequest
    steps: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe plan --json`, without the picture's."""
        return {
            **_json(self.plan),
            "minutes": self.request.minutes,
            "what_if": self.other and _json(self.other),
            "next_steps": list(self.steps),
        }


def planned_surfaces(
    names: Sequence[str], request: PlanRequest, now: datetime | None = None
) -> PlannedSurfaces:
    """Plan surfaces of archives.

    Parameters
    ----------
    names : sequence of str
        Each `ARCHIVE/NAME` or a folder.
    request : PlanRequest
        What is asked.
    now : datetime, optional
        When the first turn can begin where the request does not say; the present otherwise.

    Raises
    ------
    BadInput
        If a surface is named twice, hours or start are not such, or there is nothing to plan.
    """
    day = bench_hours(request.hours)
    start = time_of(request.start, "--start") or now or datetime.now().astimezone()
    surfaces = [find_surface(name) for name in names]
    if len({surface.folder for surface in surfaces}) < len(surfaces):
        raise BadInput("a surface is named twice; name each once")
    if request.pair and len(surfaces) != 2:
        raise BadInput("--pair: name the two pieces of one pair")
    if request.minutes is not None and request.minutes > MINUTES_A_DAY:
        raise BadInput(f"--minutes: {request.minutes:g} is longer than a day")
    judged = [
        (surface.name, logged_visits(surface, alone=request.alone).judging())
        for surface in surfaces
    ]
    habits = Habits(day, request.reading_minutes)
    advised = plan(judged, start, habits, pair=request.pair)
    other = None
    if request.minutes is not None:
        habits = dataclasses.replace(habits, first_minutes=request.minutes)
        other = plan(judged, start, habits, pair=request.pair)
    steps = tuple(judging.step.text() for _, judging in judged)
    return PlannedSurfaces(advised, other, request, steps)


def bench_hours(text: str) -> Day:
    """Understand when there is somebody at the bench, as `9:00-17:00` or `18-22`."""
    found = _HOURS.fullmatch(text)
    if found is not None:
        begin_h, begin_min, end_h, end_min = (int(one or 0) for one in found.groups())
        begins, ends = 60 * begin_h + begin_min, 60 * end_h + end_min
        if max(begin_min, end_min) < 60 and 0 <= begins < ends <= MINUTES_A_DAY:
            return Day(float(begins), float(ends - begins))
    raise BadInput(f"--hours: {text!r} are no hours of a day; write 9:00-17:00")


def _json(one: Plan) -> dict[str, object]:
    return {
        "from": one.now.isoformat(),
        "lives": one.lives,
        "finished": _times(one.finished),
        "bench_hours": dataclasses.asdict(one.hands),
        "surfaces": [
            {
                "surface": each.name,
                "visits": dataclasses.asdict(each.visits),
                "work_minutes": dataclasses.asdict(each.work_minutes),
                "finished": _times(each.finished),
                "chance": each.chance,
            }
            for each in one.surfaces
        ],
        "turns": [
            {
                "surface": turn.surface,
                "what": turn.what,
                "start": turn.start.isoformat(),
                "end": turn.end.isoformat(),
                "rest_until": turn.rest_until.isoformat(),
            }
            for turn in one.turns
        ],
    }


def _times(one: object) -> dict[str, str]:
    return {name: getattr(one, name).isoformat() for name in ("median", "low", "high")}
