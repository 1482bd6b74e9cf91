"""The evidence on a pair: the mismatch by each item, and by all together."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from fringe.format import capital, plus_minus
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import (
    PairStep,
    answer_text,
    mismatch_text,
    together_text,
    tolerance_step_mm,
)
from fringe.judge.uncertainty.evidence import Judged
from fringe.quantity import half_width
from fringe.show.figures.scales import nm_text
from fringe.show.figures.style import (
    BAND,
    BODY_PT,
    BRICK,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    TEAL,
    WIDTH_IN,
    Facts,
    Sheet,
    styled,
    wrap,
)

_LABEL_IN, _COLUMN_LABEL_IN = 2.6, 1.7
_RIGHT_IN, _ROW_IN, _HEIGHT_IN = 0.25, 0.24, 0.95
_MOST = 5.0  # beyond so many standard uncertainties a mark stands at the edge
_KINDS = ("contact", "spherometer", "certificate")


@dataclass(frozen=True)
class _EvidenceRow:
    """One line of the evidence: its name in lines that fit, and how far off it is."""

    lines: list[str]
    named: int  # of the lines, how many are the name
    judged: Judged


@styled
def pair_figure(
    pair: Pair,
    step: PairStep,
    *,
    title: str | None = None,
    when: str | None = None,
    width_in: float = WIDTH_IN,
) -> Figure:
    """Draw the mismatch against its tolerance, and each piece of evidence against the rest.

    Parameters
    ----------
    pair : Pair
        As estimated.
    step : PairStep
        What to do next.
    title : str or None
        Heading.
    when : str or None
        When the evidence was taken, in words.
    width_in : float
        Of the figure [inch]; `COLUMN_IN` for one without heading and answer.

    Returns
    -------
    Figure
    """
    sheet = Sheet(width_in)
    names = f"{pair.convex.name} and {pair.concave.name}"
    facts = Facts(pair.wavelength_nm, pair.diameter_mm, None, names, when)
    top = sheet.heading(title or "Pair", facts)
    whole = sheet.inner_in
    said = (f"{capital(answer_text(pair))}.", f"Next: {step.sentence()}.")
    for text in () if sheet.is_column else said:
        top = sheet.paragraph(sheet.margin_in, top - 0.04, whole, text, BODY_PT) + 0.06
    left, width = sheet.margin_in + 0.15, whole - 0.3
    heading = "Radius of the concave less that of the convex, mm"
    if _limit_mm(pair) is not None:
        heading += "; shaded: allowed"
    top = sheet.paragraph(sheet.margin_in, top + 0.08, whole, heading, BODY_PT, bold=True)
    axes = sheet.axes(left, top + 0.04, width, _HEIGHT_IN)
    _draw_mismatch(axes, pair)
    top += _HEIGHT_IN + 0.44
    top = sheet.paragraph(sheet.margin_in, top, whole, _mismatch_line(pair), SMALL_PT, colour=MUTED)
    top = sheet.text(
        sheet.margin_in,
        top + 0.16,
        "Each piece of evidence against all the rest",
        BODY_PT,
        bold=True,
    )
    top = _draw_evidence(sheet, pair, top + 0.04, whole)
    for note in pair.notes:
        top = sheet.paragraph(sheet.margin_in, top, whole, f"{note}.", SMALL_PT, colour=BRICK)
    return sheet.finish(top + 0.16)


def _mismatch_line(pair: Pair) -> str:
    return (
        f"{mismatch_text(pair)}, 95 %. Laid together, over {pair.diameter_mm:g} mm: "
        f"{together_text(pair)}."
    )


def _limit_mm(pair: Pair) -> float | None:
    """Mismatch that the tolerance allows either way [mm]."""
    if pair.verdict is None:
        return None
    limits = []
    for part in pair.verdict.parts:
        if part.upper is None:
            continue
        if part.quantity == "radius difference":
            limits.append(part.upper)
        elif part.quantity == "power":
            limits.append(abs(tolerance_step_mm(part.upper, pair)))
    return min(limits, default=None)


def _draw_mismatch(axes: Axes, pair: Pair) -> None:
    half = half_width(pair.u_mismatch_mm)
    limit = _limit_mm(pair)
    reach = [pair.mismatch_mm - half, pair.mismatch_mm + half, 0.0]
    if limit is not None:
        reach += [-1.3 * limit, 1.3 * limit]
        axes.axvspan(-limit, limit, color=BAND, linewidth=0, zorder=0)
        for sign in (-1, 1):
            axes.axvline(sign * limit, color=TEAL, linewidth=0.8, zorder=1)
    axes.axvline(0, color=MUTED, linewidth=0.5, zorder=1)
    axes.errorbar(
        [pair.mismatch_mm],
        [0.5],
        xerr=[half],
        fmt="o",
        markersize=7,
        markerfacecolor=TEAL,
        markeredgecolor=INK,
        ecolor=INK,
        elinewidth=1.2,
        capsize=4,
        zorder=3,
    )
    room = 0.08 * (max(reach) - min(reach) or 1.0)
    axes.set_xlim(min(reach) - room, max(reach) + room)
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))


def _draw_evidence(sheet: Sheet, pair: Pair, top: float, whole: float) -> float:
    """Each piece in a line of its own: name, value, and how far it lies from the rest."""
    label = _COLUMN_LABEL_IN if sheet.is_column else _LABEL_IN
    shown = [one for one in pair.estimate.judged if one.evidence.kind in _KINDS]
    rows = []
    for one in shown:
        name, value = (wrap(text, label, SMALL_PT) for text in (one.evidence.name, _value(one)))
        rows.append(_EvidenceRow([*name, *value], len(name), one))
    height = sum(_row_in(row) for row in rows) + 0.1
    left = sheet.margin_in + label + 0.15
    width = whole - label - 0.15 - _RIGHT_IN
    axes = sheet.axes(left, top, width, height)
    axes.axvspan(-2, 2, color=BAND, linewidth=0, zorder=0)
    axes.axvline(0, color=MUTED, linewidth=0.5, zorder=1)
    at = 0.05
    for row in rows:
        for i, text in enumerate(row.lines):
            colour = MUTED if i >= row.named else INK
            sheet.text(sheet.margin_in, top + at + 0.16 * i, text, SMALL_PT, colour=colour)
        middle = at + 0.09
        _draw_off(axes, row.judged, middle)
        at += _row_in(row)
    axes.set_xlim(-_MOST - 0.4, _MOST + 0.4)
    axes.set_ylim(height, 0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xticks(range(-4, 5, 2))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))
    axes.set_xlabel(
        "standard uncertainties off\nshaded: within 2; hollow:\nnothing else speaks of it"
        if sheet.is_column
        else "standard uncertainties off\nshaded: within 2; hollow: nothing else speaks of it"
    )
    return top + height + (0.9 if sheet.is_column else 0.72)


def _row_in(row: _EvidenceRow) -> float:
    return _ROW_IN + 0.16 * (len(row.lines) - 1)


def _value(one: Judged) -> str:
    evidence = one.evidence
    unit = {"um": "µm"}.get(evidence.unit, evidence.unit)
    u95 = half_width(evidence.u)
    return plus_minus(evidence.value, u95, unit, signed=unit == "fringes")


def _draw_off(axes: Axes, one: Judged, y: float) -> None:
    alone = one.leverage > 0.999
    off = max(-_MOST, min(_MOST, one.off))
    beyond = abs(one.off) > _MOST
    marker = "o" if not beyond else (">" if one.off > 0 else "<")
    wrong = abs(one.off) > 3 and not alone
    colour = BRICK if wrong else TEAL
    axes.plot(
        [off],
        [y],
        marker,
        markersize=6.5,
        markerfacecolor=PAPER if alone else colour,
        markeredgecolor=colour,
        markeredgewidth=1.2,
        zorder=3,
        clip_on=False,
    )
