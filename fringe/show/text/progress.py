"""A surface's visits, what they prove and what to do next, for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from fringe.archive.views.surface_state import SurfaceState
from fringe.format import figures, plus_minus
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict_words import probability_cell
from fringe.show.text.lines import remark
from fringe.show.text.outlook import learned_lines, spell_lines
from fringe.show.words import aperture_text, form_cell, rested_text, work_cell

_STYLES = {"inside": "green", "unproven": "yellow", "outside": "red"}


def progress_view(state: SurfaceState, width: int) -> Iterator[RenderableType]:
    """What a screen of so many columns shows: limits, a table of the visits, verdict, next step."""
    yield Text(state.surface.name, style="bold")
    yield Text(_limits(state))
    if state.listed:
        yield Text("")
        yield _table(state, width)
        yield Text(_LEGEND, style="dim")
        yield Text("")
    if state.verdict is not None:
        reason = state.verdict.reason
        if state.rows and state.rows[-1].conflict:
            reason = state.rows[-1].conflict or reason
        yield Text(f"Verdict: {state.verdict.state}: {reason}")
    if state.rows and state.rows[-1].form:
        yield Text(f"Form: {'; '.join(one.text() for one in state.rows[-1].form)}")
    yield Text(f"Next: {state.next_step.sentence()}")
    if state.correction is not None:
        yield Text(f"To correct: {state.correction}", no_wrap=True, overflow="ignore")
    for row in _outlook(state):
        yield Text(row)
    for note in state.notes:
        yield Text(remark(note))


def _outlook(state: SurfaceState) -> list[str]:
    """What the next spell does, and what was learned, in a few lines."""
    wavelength = state.wavelength_nm
    if wavelength is None:
        return []
    return [
        *spell_lines(state, wavelength),
        *learned_lines(state.judged, wavelength),
    ]


def _limits(state: SurfaceState) -> str:
    surface, tolerance = state.surface, state.laid.tolerance
    parts = [f"{surface.form}, radius {figures(surface.radius_mm, 7)} mm, {aperture_text(surface)}"]
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
    columns = [_column(name, state) for name in _COLUMNS]
    columns = [one for one in columns if one[0] != "rested" or any(one[1][1:])]
    for name in _SPARED:
        if sum(max(map(len, cells)) + 2 for _, cells in columns) - 2 <= width:
            break
        columns = [column for column in columns if column[0] != name]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for name, cells in columns:
        table.add_column(cells[0], justify="right" if name in _NUMBERS else "left")
    for row in zip(*(cells[1:] for _, cells in columns), strict=True):
        table.add_row(*(_styled(cell) for cell in row))
    return table


def _column(name: str, state: SurfaceState) -> tuple[str, list[str]]:
    """A column's name and its cells, the heading first."""
    shown = name.replace("plate", state.laid_on)
    return name, [shown, *(_COLUMNS[name](row) for row in state.listed)]


def _styled(cell: str) -> Text:
    return Text(cell, style=_STYLES.get(cell, ""))


def _power(row: VisitRow) -> str:
    if row.power_fringes is None:
        return ""
    signed = row.sense != "unknown"
    shown = plus_minus(row.power_fringes, row.power_u95_fringes, signed=signed)
    shown = shown if signed else f"? {shown}"
    return f"s {shown}" if row.method == "spherometer" else shown


def _radius(row: VisitRow) -> str:
    if row.radius_difference_mm is None:
        return ""
    signed = row.sense != "unknown"
    shown = plus_minus(row.radius_difference_mm, row.radius_difference_u95_mm, signed=signed)
    return shown if signed else f"? {shown}"


_LEGEND = (
    "power and irregularity in fringes; power + contact at the centre, − at the edge, ? not "
    "known, s by spherometer"
)
_COLUMNS: dict[str, Callable[[VisitRow], str]] = {
    "": lambda row: str(row.visit),
    "date": lambda row: f"{row.when:%Y-%m-%d}",
    "time": lambda row: f"{row.when:%H:%M}",
    "work before, on top": lambda row: (
        f"struck out: {row.remark}" if row.struck else work_cell(row, rested=False)
    ),
    "rested": lambda row: rested_text(row),
    "power": lambda row: _power(row),
    "work − plate, mm": lambda row: _radius(row),
    "irreg.": lambda row: form_cell(row.irregularity_fringes, row.irregularity_u95_fringes),
    "verdict": lambda row: row.verdict or "",
    "conforms": lambda row: probability_cell(row.probability),
    "next step": lambda row: row.next_step or "",
}
_NUMBERS = ("", "rested", "power", "work − plate, mm", "irreg.", "conforms")
# the first goes first
_SPARED = ("time", "next step", "work − plate, mm", "conforms", "rested", "irreg.", "date")
