"""A plan for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from fringe.archive.views.planning import PlannedSurfaces
from fringe.judge.advice.course import MOST_VISITS
from fringe.judge.advice.plan import Plan, PlannedSurface, PlannedTurn
from fringe.show.plan_words import days_range, finished_text, hours_range, whole_range

_MOST_TURNS = 24  # that are listed
_NARROW = 76


def plan_view(found: PlannedSurfaces, width: int) -> Iterator[RenderableType]:
    """What is still to go, a likely course of it, and what another first spell changes."""
    one = found.plan
    yield Text(f"From {one.now:%Y-%m-%d %H:%M}; ranges hold in 90 of 100 cases.")
    yield Text("")
    yield _table(one, width)
    if found.request.pair or len(one.surfaces) > 1:
        what = "The pair, laid on each other" if found.request.pair else "All"
        yield Text(f"{what}: finished {days_range(one.finished)}, {hours_range(one.hands)} at work")
    for each in one.surfaces:
        if each.chance < 0.95:
            yield Text(
                f"{each.name}: in {100 * (1 - each.chance):.0f} of 100 cases not finished after "
                f"{MOST_VISITS} visits"
            )
    for name, step in zip((each.name for each in one.surfaces), found.steps, strict=True):
        yield Text(f"Next, {name}: {step}")
    if found.other is not None:
        yield Text("")
        yield from _what_if(found)
    yield Text("")
    yield from _course(one)


def _table(one: Plan, width: int) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    table.add_column("surface", overflow="fold")
    for name in ("visits", "work"):
        table.add_column(name, no_wrap=True)
    table.add_column("finished", no_wrap=width >= _NARROW)
    for each in one.surfaces:
        table.add_row(*map(Text, _cells(each)))
    return table


def _cells(each: PlannedSurface) -> tuple[str, str, str, str]:
    hours = hours_range(each.work_hours)
    return each.name, whole_range(each.visits), hours, finished_text(each)


def _what_if(found: PlannedSurfaces) -> Iterator[Text]:
    assert found.other is not None
    yield Text(f"If the next spell lasts {found.request.minutes:g} min:")
    for each in found.other.surfaces:
        name, visits, hours, days = _cells(each)
        yield Text(f"  {name}: {visits} visits, {hours} of work, finished {days}")


def _course(one: Plan) -> Iterator[Text]:
    """One course of it, a line a turn."""
    if not one.turns:
        yield Text("Nothing is left to do.")
        return
    yield Text("A likely course:")
    day = ""
    names = max(len(turn.surface) for turn in one.turns)
    for turn in one.turns[:_MOST_TURNS]:
        today = f"{turn.start:%a %Y-%m-%d}"
        if today != day:
            yield Text(f"  {today}")
            day = today
        yield Text(f"    {turn.start:%H:%M}  {turn.surface:<{names}}  {_what(turn)}")
    if len(one.turns) > _MOST_TURNS:
        yield Text(f"    and {len(one.turns) - _MOST_TURNS} more")


def _what(turn: PlannedTurn) -> str:
    rests = turn.rest_until > turn.end
    return turn.what + (f", then rests until {_time(turn.rest_until, turn.end)}" if rests else "")


def _time(when: datetime, before: datetime) -> str:
    return f"{when:%H:%M}" if when.date() == before.date() else f"{when:%a %H:%M}"
