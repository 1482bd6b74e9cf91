"""`fringe progress`: the visits to a surface, what they prove, and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import NUMBER
from fringe.cli._options import json_option, print_json
from fringe.cli._screen import console
from fringe.cli.params import picture_option
from fringe.errors import BadInput

if TYPE_CHECKING:
    from rich.table import Table

    from fringe.archive.views.surface_state import SurfaceState
    from fringe.judge.state.visits import VisitRow

STYLES = {"inside": "green", "unproven": "yellow", "outside": "red"}


@click.command("progress", short_help="Show a surface's visits, verdicts and next step.")
@click.argument("surface")
@picture_option
@click.option("--alone", is_flag=True, help="Learn nothing from the archive's other surfaces.")
@click.option(
    "--pit-factor", type=NUMBER, metavar="F", help="Depth of a grit's pits over its grains; else 3."
)
@json_option
def command(
    surface: str, picture: Path | None, alone: bool, pit_factor: float | None, as_json: bool
) -> None:
    """Show a surface's visits, verdicts and next step.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. All visits are judged by the
    tolerance of today's record. A visit that was corrected is passed over. How fast each kind
    of work moves the surface is learned from its own visits, and from those of like surfaces
    of the archive; forecasts hold in 90 of 100 cases.

    \b
    Example:
      fringe progress 'shop/concave 1'
      fringe progress 'shop/concave 1' --picture progress.png
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.views.surface_state import surface_state
    from fringe.cli._waiting import waiting

    found = find_surface(surface)
    if pit_factor is not None and pit_factor <= 0:
        raise BadInput("--pit-factor must be greater than zero")
    with waiting("judging the visits", quiet=as_json):
        state = surface_state(found, alone=alone, pit_factor=pit_factor)
        if picture is not None:
            _draw(state, picture)
    if as_json:
        print_json({**state.to_json(), "picture": None if picture is None else str(picture)})
        return
    _show(state)
    if picture is not None:
        click.echo(f"Picture: {picture}")
    for problem in state.problems:
        click.echo(f"fringe: {problem}", err=True)


def _draw(state: SurfaceState, path: Path) -> None:
    from fringe.files import write_whole
    from fringe.show.figures.course import course_figure
    from fringe.show.figures.style import png_bytes

    write_whole(path, png_bytes(course_figure(state, ahead=True)))


def _show(state: SurfaceState) -> None:
    from rich.text import Text

    screen = console()
    screen.print(Text(state.surface.name, style="bold"))
    screen.print(Text(_limits(state)))
    if state.rows:
        screen.print()
        screen.print(_table(state, screen.width))
        screen.print(Text(LEGEND, style="dim"))
        screen.print()
    if state.verdict is not None:
        reason = state.verdict.reason
        if state.rows and state.rows[-1].conflict:
            reason = state.rows[-1].conflict or reason
        screen.print(Text(f"Verdict: {state.verdict.state}: {reason}"))
    screen.print(Text(f"Next: {state.next_step.sentence()}"))
    for row in _outlook(state):
        screen.print(Text(row))


def _outlook(state: SurfaceState) -> list[str]:
    """What the next spell does, and what was learned, in a few lines."""
    from fringe.cli._outlook import learned_lines, spell_lines

    wavelength = state.wavelength_nm
    if wavelength is None:
        return []
    return [
        *spell_lines(state, wavelength),
        *learned_lines(state.judged, wavelength),
    ]


def _limits(state: SurfaceState) -> str:
    from fringe.format import figures

    surface, tolerance = state.surface, state.surface.tolerance
    parts = [
        f"{surface.form}, radius {figures(surface.radius_mm, 7)} mm, "
        f"aperture {surface.diameter_mm:g} mm"
    ]
    if tolerance.power_fringes is not None:
        parts.append(f"power ±{figures(tolerance.power_fringes)}")
    if tolerance.irregularity_fringes is not None:
        parts.append(f"irregularity {figures(tolerance.irregularity_fringes)}")
    if tolerance.radius_difference_mm is not None:
        parts.append(f"radius ±{figures(tolerance.radius_difference_mm)} mm")
    light = "" if state.wavelength_nm is None else f"; fringes at {state.wavelength_nm:.2f} nm"
    return ", ".join(parts) + light


def _table(state: SurfaceState, width: int) -> Table:
    """The visits, with as many columns as the terminal has room for."""
    from rich import box
    from rich.table import Table

    columns = [_column(name, state.rows) for name in COLUMNS]
    for name in SPARED:
        if sum(max(map(len, cells)) + 2 for _, cells in columns) - 2 <= width:
            break
        columns = [column for column in columns if column[0] != name]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for name, _ in columns:
        table.add_column(name, justify="right" if name in NUMBERS else "left")
    for cells in zip(*(cells[1:] for _, cells in columns), strict=True):
        table.add_row(*(_styled(cell) for cell in cells))
    return table


def _column(name: str, rows: Sequence[VisitRow]) -> tuple[str, list[str]]:
    """A column's name and its cells, the heading first."""
    return name, [name, *(COLUMNS[name](number, row) for number, row in enumerate(rows, 1))]


def _styled(cell: str) -> Any:
    from rich.text import Text

    return Text(cell, style=STYLES.get(cell, ""))


def _work(row: VisitRow) -> str:
    from fringe.format import figures

    minutes = "" if row.minutes is None else f"{figures(row.minutes, 3)} min"
    return ", ".join(filter(None, [" ".join(filter(None, [row.stage, minutes])), row.on_top]))


def _power(row: VisitRow) -> str:
    from fringe.format import plus_minus

    if row.power_fringes is None:
        return ""
    signed = row.sense != "unknown"
    shown = plus_minus(row.power_fringes, row.power_u95_fringes, signed=signed)
    shown = shown if signed else f"? {shown}"
    return f"s {shown}" if row.method == "spherometer" else shown


def _radius(row: VisitRow) -> str:
    from fringe.format import plus_minus

    if row.radius_difference_mm is None:
        return ""
    signed = row.sense != "unknown"
    shown = plus_minus(row.radius_difference_mm, row.radius_difference_u95_mm, signed=signed)
    return shown if signed else f"? {shown}"


def _irregularity(row: VisitRow) -> str:
    from fringe.format import figures

    return "" if row.irregularity_fringes is None else figures(row.irregularity_fringes, 2)


def _probability(row: VisitRow) -> str:
    from fringe.format import percent_text

    return "" if row.probability is None else percent_text(row.probability)


LEGEND = (
    "power and irregularity in fringes; power + contact at the centre, − at the edge, ? not "
    "known, s by spherometer"
)
COLUMNS: dict[str, Callable[[int, VisitRow], str]] = {
    "": lambda number, row: str(number),
    "date": lambda number, row: f"{row.when:%Y-%m-%d}",
    "time": lambda number, row: f"{row.when:%H:%M}",
    "work before, on top": lambda number, row: _work(row),
    "power": lambda number, row: _power(row),
    "work − plate, mm": lambda number, row: _radius(row),
    "irreg.": lambda number, row: _irregularity(row),
    "verdict": lambda number, row: row.verdict or "",
    "conforms": lambda number, row: _probability(row),
    "next step": lambda number, row: row.next_step or "",
}
NUMBERS = ("", "power", "work − plate, mm", "irreg.", "conforms")
SPARED = ("time", "next step", "work − plate, mm", "conforms", "irreg.")  # the first goes first
