"""A strip that says which stage of work each visit belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from fringe.show.figures.style import (
    BAND,
    HAIRLINE,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    Sheet,
    printable,
    text_width_in,
)

_HEIGHT_IN, _ROW_IN = 0.21, 0.16
_ROOM_IN = 0.08
_MOST_ROWS = 6  # of names above the strip


@dataclass(frozen=True)
class _Cell:
    """A run of visits in one stage.

    Attributes
    ----------
    name : str or None
        Of the stage, as it can be printed.
    start, end : float
        On the strip, from its left end [inch].
    row : int or None
        Row above the strip that its name stands in, from below; None where it is in the cell,
        or has no room anywhere.
    left : float
        Where the name starts [inch].
    """

    name: str | None
    start: float
    end: float
    row: int | None = None
    left: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether the cell is wide enough for the name."""
        return _width(self.name or "") + _ROOM_IN <= self.end - self.start

    @property
    def middle(self) -> float:
        """[inch]."""
        return (self.start + self.end) / 2


def stage_strip(
    sheet: Sheet,
    left: float,
    top: float,
    width: float,
    stages: Sequence[str | None],
    x: Sequence[float],
    limits: tuple[float, float],
    *,
    ends: bool = False,
) -> float:
    """Draw runs of visits in one stage as cells, named inside or, where that is narrow, above.

    Parameters
    ----------
    sheet : Sheet
    left, top, width : float
        Place of the strip [inch].
    stages : sequence of str or None
        Stage of each visit.
    x : sequence of float
        Place of each visit on the horizontal axis.
    limits : (float, float)
        Ends of the horizontal axis.
    ends : bool
        A visit stands at the end of its stage, as on a scale of hours, not in its middle.

    Returns
    -------
    float
        Where the strip ends [inch]; `top` when no visit has a stage.
    """
    runs = _runs(stages)
    if all(stage is None for stage, _, _ in runs):
        return top
    inches = width / (limits[1] - limits[0])
    cells = []
    for stage, first, last in runs:
        start, end = _cell(first, last, x, limits, ends=ends)
        name = None if stage is None else _shortened(printable(stage), width)
        cells.append(_Cell(name, (start - limits[0]) * inches, (end - limits[0]) * inches))
    cells = _named_above(cells, width)
    rows = max((cell.row + 1 for cell in cells if cell.row is not None), default=0)
    bar = top + rows * _ROW_IN
    axes = sheet.axes(left, bar, width, _HEIGHT_IN)
    axes.set_xlim(*limits)
    axes.set_ylim(0, 1)
    axes.set_axis_off()
    for count, cell in enumerate(cells):
        if cell.name is None and ends:
            continue
        shade = BAND if count % 2 == 0 else PAPER
        start, end = (limits[0] + place / inches for place in (cell.start, cell.end))
        axes.axvspan(start, end, facecolor=shade, edgecolor=HAIRLINE, linewidth=0.6)
        if cell.row is not None:
            _write_above(sheet, cell, left, bar)
        elif cell.name is not None and cell.fits:
            axes.text(
                (start + end) / 2,
                0.46,
                cell.name,
                fontsize=SMALL_PT,
                color=INK,
                ha="center",
                va="center",
                parse_math=False,
            )
    return bar + _HEIGHT_IN


def _write_above(sheet: Sheet, cell: _Cell, left: float, bar: float) -> None:
    """Write a name over the strip, with a line down to its cell."""
    row = cell.row or 0
    top = bar - (row + 1) * _ROW_IN
    sheet.text(left + cell.left, top - 0.01, cell.name or "", SMALL_PT)
    if row:
        below = top + _ROW_IN
        sheet.rule(left + cell.middle, below, 0.0, down=bar - below, colour=MUTED)


def _named_above(cells: Sequence[_Cell], width: float) -> list[_Cell]:
    """Give each name that its cell cannot hold the lowest row above where it has room.

    Names go in from the right: then no name of a lower row crosses the line of a higher one.
    """
    taken: list[float] = [width] * _MOST_ROWS  # how far to the left each row is full
    placed = []
    for cell in reversed(cells):
        wide = _width(cell.name or "")
        start = max(0.0, min(cell.middle - wide / 2, width - wide))
        free = [row for row in range(_MOST_ROWS) if start + wide <= taken[row]]
        if cell.name is None or cell.fits or not free:
            placed.append(cell)
            continue
        row = free[0]
        for lower in range(row):
            taken[lower] = min(taken[lower], cell.middle - 0.04)
        taken[row] = start - 0.08
        placed.append(replace(cell, row=row, left=start))
    return placed[::-1]


def _width(name: str) -> float:
    return text_width_in(name, SMALL_PT)


def _shortened(name: str, width: float) -> str:
    """The name, or as much of it as half of the strip holds."""
    if _width(name) <= width / 2:
        return name
    kept = next(k for k in range(len(name), -1, -1) if _width(name[:k] + "…") <= width / 2)
    return name[:kept].rstrip() + "…"


def _cell(
    first: int, last: int, x: Sequence[float], limits: tuple[float, float], *, ends: bool
) -> tuple[float, float]:
    """Where the cell of a run of visits begins and ends on the horizontal axis."""
    if ends:
        return (limits[0] if first == 0 else x[first - 1]), x[last]
    start = limits[0] if first == 0 else (x[first - 1] + x[first]) / 2
    return start, limits[1] if last == len(x) - 1 else (x[last] + x[last + 1]) / 2


def _runs(stages: Sequence[str | None]) -> list[tuple[str | None, int, int]]:
    runs = []
    for stage, group in groupby(range(len(stages)), key=lambda k: stages[k] or None):
        members = list(group)
        runs.append((stage, members[0], members[-1]))
    return runs
