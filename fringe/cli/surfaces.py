"""`fringe surfaces`: what an archive holds, how far each surface is, and when it was last seen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import json_option, print_json
from fringe.cli._screen import console

if TYPE_CHECKING:
    from rich.table import Table

    from fringe.archive.store.index import Entry
    from fringe.archive.views.surface_state import LoggedVisits
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.verdict import Verdict

STEP_WIDE = 24  # of the next step, where room is scarce
COLUMNS = ("surface", "form", "state", "last visit", "visits", "hours", "stage", "power")
NUMBERS = ("visits", "hours", "power")
SPARED = ("form", "hours", "visits", "stage")  # the first goes first
STYLES = {"inside": "green", "unproven": "yellow", "outside": "red"}


@click.command("surfaces", short_help="List an archive's surfaces with their state.")
@click.argument("archive", type=click.Path(path_type=Path))
@click.option("--open", "still_open", is_flag=True, help="Only those not proven inside.")
@click.option("--next", "steps", is_flag=True, help="Say what to do next with each, too.")
@json_option
def command(archive: Path, still_open: bool, steps: bool, as_json: bool) -> None:
    """List an archive's surfaces: state, last visit, work so far; the latest visit first.

    The state is the verdict of the last visit that read or worked, by today's tolerance; after
    work that was not read yet it is open.

    \b
    Example:
      fringe surfaces shop
      fringe surfaces shop --open --next
    """
    from fringe.archive.store.index import list_archive
    from fringe.archive.views.surface_state import listed_visits
    from fringe.cli._waiting import waiting

    with waiting("looking through the archive", quiet=as_json):
        entries = list_archive(archive).entries
        visits = listed_visits(entries, alone=not steps)
        states = [_State(*both, steps=steps) for both in zip(entries, visits, strict=True)]
    shown = [one for one in states if not (still_open and one.name == "inside")]
    shown.sort(key=lambda one: one.when, reverse=True)
    problems = [line for one in states for line in one.entry.problems]
    if as_json:
        print_json({"surfaces": [one.to_json() for one in shown], "problems": problems})
        return
    _show(archive, shown, steps=steps, listed=bool(states))
    for problem in problems:
        click.echo(f"fringe: {problem}", err=True)


class _State:
    """How far a surface is."""

    def __init__(self, entry: Entry, visits: LoggedVisits | None, *, steps: bool) -> None:
        self.entry = entry
        self.row: VisitRow | None = None
        self.verdict: Verdict | None = None
        self.step: str | None = None
        if visits is None:
            return
        self.row, self.verdict = visits.last()
        if steps:
            self.step = visits.state().next_step.text()

    @property
    def name(self) -> str:
        """Verdict, or how far it is without one."""
        if self.entry.surface is None:
            return "damaged"
        if self.row is None:
            return "new"
        return "open" if self.verdict is None else self.verdict.state

    @property
    def when(self) -> float:
        """Time of the last visit; before all time without one."""
        return self.entry.visits[-1].when.timestamp() if self.entry.visits else float("-inf")

    @property
    def hours(self) -> float:
        """Work so far [h]."""
        return sum(visit.minutes or 0.0 for visit in self.entry.visits) / 60

    @property
    def stage(self) -> str | None:
        """The last stage that was worked."""
        return next((v.stage for v in reversed(self.entry.visits) if v.stage), None)

    def to_json(self) -> dict[str, Any]:
        """Return everything under its name."""
        surface, row = self.entry.surface, self.row
        return {
            "name": surface.name if surface else self.entry.folder.name,
            "folder": str(self.entry.folder),
            "form": surface.form if surface else None,
            "radius_mm": surface.radius_mm if surface else None,
            "diameter_mm": surface.diameter_mm if surface else None,
            "state": self.name,
            "probability": self.verdict.probability if self.verdict else None,
            "last_visit": self.entry.visits[-1].when.isoformat() if self.entry.visits else None,
            "visits": len(self.entry.visits),
            "sessions": self.entry.sessions,
            "hours": self.hours,
            "stage": self.stage,
            "power_fringes": row.power_fringes if row else None,
            "power_u95_fringes": row.power_u95_fringes if row else None,
            "sense": row.sense if row else None,
            "next_step": self.step,
        }


def _show(archive: Path, shown: list[_State], *, steps: bool, listed: bool) -> None:
    from rich.text import Text

    screen = console()
    if not shown:
        text = (
            "every surface is proven inside"
            if listed
            else ("no surface yet; `fringe surface add` makes one")
        )
        screen.print(Text(f"{archive}: {text}"))
        return
    screen.print(_table(shown, screen.width, steps=steps))


def _table(shown: list[_State], width: int, *, steps: bool) -> Table:
    """The surfaces, with as many columns as the terminal has room for."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    columns = {
        name: [name, *cells]
        for name, cells in zip(COLUMNS, zip(*map(_cells, shown), strict=True), strict=True)
    }
    # the next step's words wrap
    if steps:
        longest = max(len("next step"), *(len(one.step or "") for one in shown))
        width -= min(STEP_WIDE, longest) + 2
    for name in SPARED:
        if sum(max(map(len, cells)) + 2 for cells in columns.values()) - 2 <= width:
            break
        del columns[name]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for name in columns:
        table.add_column(
            name,
            justify="right" if name in NUMBERS else "left",
            overflow="fold",
            no_wrap=name != "surface",
        )
    if steps:
        table.add_column("next step")
    for i, one in enumerate(shown, 1):
        cells = [Text(cells[i], style=STYLES.get(cells[i], "")) for cells in columns.values()]
        table.add_row(*cells, *([Text(one.step or "")] if steps else []))
    return table


def _cells(one: _State) -> list[str]:
    from fringe.format import figures, plus_minus

    surface, row, visits = one.entry.surface, one.row, one.entry.visits
    power = ""
    if row is not None and row.power_fringes is not None:
        signed = row.sense != "unknown"
        power = plus_minus(row.power_fringes, row.power_u95_fringes, signed=signed)
        power = power if signed else f"? {power}"
    return [
        surface.name if surface else one.entry.folder.name,
        surface.form if surface else "",
        one.name,
        f"{visits[-1].when:%Y-%m-%d %H:%M}" if visits else "",
        str(len(visits) or ""),
        figures(one.hours, 2) if one.hours else "",
        one.stage or "",
        power,
    ]
