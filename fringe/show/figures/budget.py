"""Where an uncertainty comes from, as bars: one block a result, one bar an input."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from fringe.format import figures, share_text
from fringe.judge.uncertainty.budget import Budget, Row
from fringe.show.figures.style import (
    BAND,
    BODY_PT,
    INK,
    MARGIN_IN,
    MUTED,
    SMALL_PT,
    TEAL,
    Facts,
    Sheet,
    printable,
    styled,
    text_width_in,
)

_ROW_IN = 0.23
_BAR_IN = 0.13
_GAP_IN = 0.14
LEAST_SHARE = 0.0005  # what would print as 0.0 % gets no bar


@styled
def budget_figure(
    results: Sequence[Budget], facts: Facts | None = None, title: str = "Uncertainty budget"
) -> Figure:
    """Draw the budgets of some results.

    Parameters
    ----------
    results : sequence of Budget
        At least one, in their order.
    facts : Facts, optional
        What the figure is about.
    title : str
        Its heading.

    Returns
    -------
    Figure
        One bar an input, as long as its share of the variance; beside it what it gives to the
        95 % interval, and the standard uncertainty of that.
    """
    sheet = Sheet()
    top = sheet.heading(title, facts or Facts())
    shown = [(one, bars_of(one)) for one in results]
    labels = [printable(row.input.name) for _, rows in shown for row in rows]
    label_in = max((text_width_in(label, BODY_PT) for label in labels), default=0.0) + 0.12
    given = [_gives(one, row) for one, rows in shown for row in rows]
    # one width for all blocks, so that equal shares have equal bars
    numbers_in = 0.62 + max((text_width_in(text, BODY_PT) for text in given), default=1.0)
    for one, rows in shown:
        top = _block(sheet, top + _GAP_IN, one, rows, (label_in, numbers_in))
    note = (
        "Share of the variance; ± what the input gives to the 95 % interval, "
        "and u, the same as a standard uncertainty."
    )
    top = sheet.paragraph(MARGIN_IN, top + _GAP_IN, sheet.inner_in, note, SMALL_PT, colour=MUTED)
    return sheet.finish(top + 0.2)


def bars_of(one: Budget) -> list[Row]:
    """Rows of a budget that are worth a bar, longest first."""
    return sorted((row for row in one.rows if abs(row.share) >= LEAST_SHARE), key=_by_share)


def _by_share(row: Row) -> float:
    return -row.share


def _block(
    sheet: Sheet, top: float, one: Budget, rows: list[Row], beside_in: tuple[float, float]
) -> float:
    width = sheet.inner_in
    sheet.rule(MARGIN_IN, top, width)
    top += 0.05
    sheet.text(MARGIN_IN, top, one.name, bold=True)
    # a difference keeps its plus sign, a radius has none
    value = f"{one.text} (95 %)"
    top = sheet.text(MARGIN_IN + width, top, value, bold=True, align="right") + 0.04
    if one.warning:
        top = sheet.paragraph(MARGIN_IN, top, width, one.warning, SMALL_PT)
    left = MARGIN_IN + beside_in[0]
    room = width - sum(beside_in)
    for row in rows:
        top = _bar(sheet, (left, top + 0.02), room, one, row)
    return top


def _bar(sheet: Sheet, at: tuple[float, float], room: float, one: Budget, row: Row) -> float:
    left, top = at
    sheet.text(left - 0.12, top, row.input.name, align="right")
    middle = top + 0.07
    axes = sheet.axes(left, middle - _BAR_IN / 2 + 0.02, room, _BAR_IN)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    axes.set_axis_off()
    axes.barh(0.5, 1.0, height=1.0, color=BAND, linewidth=0)
    # below zero where a correlation takes away: hollow, so that it is not read as a share
    share = row.share
    face, edge = (TEAL, TEAL) if share > 0 else ("none", INK)
    axes.barh(0.5, min(abs(share), 1.0), height=1.0, facecolor=face, edgecolor=edge, linewidth=0.7)
    tail = left + room + 0.08
    sheet.text(tail + 0.42, top, share_text(share), align="right")
    sheet.text(sheet.width_in - MARGIN_IN, top, _gives(one, row), colour=MUTED, align="right")
    return top + _ROW_IN


def _gives(one: Budget, row: Row) -> str:
    half, u = figures(one.half_width(row), 2), figures(abs(row.contribution), 2)
    return f"± {half} {one.unit} (u {u})"
