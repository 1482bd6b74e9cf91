"""The history of a surface: power and irregularity from visit to visit, against the tolerance."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from fringe.errors import BadInput
from fringe.format import figures, plus_minus
from fringe.judge.state.forecast import Forecast
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict_words import SURFACE, with_probability
from fringe.show.figures.scales import nm_text
from fringe.show.figures.stages import stage_strip
from fringe.show.figures.style import (
    AMBER,
    BAND,
    BODY_PT,
    BRICK,
    COLUMN_IN,
    DPI,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    TEAL,
    WIDTH_IN,
    Facts,
    Key,
    Sheet,
    styled,
)
from fringe.show.figures.vertical_scale import (
    POWER_IN,
    apply_scale,
    height_scale,
    scale_note,
    vertical_scale,
)

_LEFT_IN, _COLUMN_LEFT_IN, _RIGHT_IN, _SECOND_IN = 0.75, 0.66, 0.15, 0.72
_IRREGULARITY_IN = 1.2
# visits nearer than this share of all hours would lie on each other, and are set side by side;
# one that would stand farther from its hours than the other share makes visits the scale
_LEAST_STEP, _MOST_ASIDE = 0.03, 0.08
_NOT_JUDGED = "not judged"
_HOURS = "hours of work"
_AHEAD = 0.5  # of the hours so far, drawn ahead at most
# shape tells the verdict; colour repeats it
_MARKS = {
    "inside": ("o", TEAL),
    "unproven": ("^", AMBER),
    "outside": ("s", BRICK),
    _NOT_JUDGED: ("D", MUTED),
}


@styled
def progress_figure(
    rows: Sequence[VisitRow],
    surface_name: str,
    tolerance_fringes: float | None = None,
    *,
    irregularity_tolerance_fringes: float | None = None,
    wavelength_nm: float | None = None,
    diameter_mm: float | None = None,
    title: str | None = None,
    against: str | None = None,
    forecast: Forecast | None = None,
    width_in: float = WIDTH_IN,
    irregularity: bool = True,
) -> Figure:
    """Draw how power and irregularity came down to the tolerance.

    Spherometer and fringes stand on one scale: power in fringes at the left, its height in
    micrometres at the right.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits, the earliest first; values that a visit did not measure are None.
    surface_name : str
        Name of the surface.
    tolerance_fringes, irregularity_tolerance_fringes : float or None
        Limits: of power of either sign, and of irregularity [fringe].
    wavelength_nm, diameter_mm : float or None
        What fringes are counted in [nm], and the aperture's diameter [mm].
    title : str or None
        Heading.
    against : {'hours', 'visits'} or None
        The horizontal axis; None takes hours of work unless visits would fall together.
    forecast : Forecast or None
        What the next work does, drawn ahead of the last visit on the scale of hours.
    width_in : float
        Of the figure [inch]; `COLUMN_IN` for one without heading and verdict.
    irregularity : bool
        Draw it below the power, where it was read.

    Returns
    -------
    Figure

    Raises
    ------
    BadInput
        If there is no visit.
    """
    if not rows:
        raise BadInput(f"progress: {surface_name} has no visits yet; log one first")
    x, x_label = _places(rows, against)
    sheet = Sheet(width_in)
    facts = Facts(wavelength_nm, diameter_mm, None, surface_name, _span(rows))
    top = sheet.heading(title or "Progress", facts)
    whole = sheet.inner_in
    if not sheet.is_column:
        top = sheet.paragraph(sheet.margin_in, top - 0.04, whole, _latest(rows), BODY_PT) + 0.12
    right = _RIGHT_IN if wavelength_nm is None else _SECOND_IN
    beside = _COLUMN_LEFT_IN if sheet.is_column else _LEFT_IN
    left, width = sheet.margin_in + beside, whole - beside - right
    start = _start(rows, x, x_label)
    margin = 0.035 * (x[-1] - start) if x[-1] > start else 0.5
    ahead = None
    if forecast is not None and tolerance_fringes is not None and x_label == _HOURS:
        ahead = _outlook(rows[-1], forecast, tolerance_fringes, wavelength_nm, x)
    top = _legend(sheet, top, rows, tolerance_fringes is not None, ahead is not None)
    limits = (start - margin, max(x[-1], ahead[0][-1] if ahead else x[-1]) + margin)
    top = stage_strip(
        sheet, left, top, width, [row.stage for row in rows], x, limits, ends=x_label == _HOURS
    )
    axes = axes_power = sheet.axes(left, top + 0.08, width, POWER_IN)
    _draw_power(axes, rows, x, tolerance_fringes)
    if ahead is not None:
        _draw_ahead(axes, ahead)
    _dress(axes, "power, fringes", limits, x_label)
    if wavelength_nm is not None:
        height_scale(axes, wavelength_nm)
    top += 0.08 + POWER_IN
    if irregularity and any(row.irregularity_fringes is not None for row in rows):
        axes.set_xlabel("")
        axes.tick_params(axis="x", labelbottom=False)
        axes = sheet.axes(left, top + 0.18, width, _IRREGULARITY_IN)
        _draw_irregularity(axes, rows, x, irregularity_tolerance_fringes)
        _dress(axes, "irregularity,\nfringes", limits, x_label)
        top += 0.18 + _IRREGULARITY_IN
    top += 0.52
    for note in (scale_note(axes_power, tolerance_fringes), _aside_note(rows, x, x_label)):
        if note:
            top = sheet.paragraph(sheet.margin_in, top, whole, note, SMALL_PT, colour=MUTED)
    return sheet.finish(top + 0.16)


@styled
def irregularity_figure(
    rows: Sequence[VisitRow],
    tolerance_fringes: float | None = None,
    *,
    width_in: float = WIDTH_IN,
) -> Figure:
    """Draw how the irregularity alone came down, for a place beside that of the power.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits, the earliest first; at least one with an irregularity.
    tolerance_fringes : float or None
        Its limit [fringe].
    width_in : float
        Of the figure [inch].
    """
    x, x_label = _places(rows, None)
    start = _start(rows, x, x_label)
    margin = 0.035 * (x[-1] - start) if x[-1] > start else 0.5
    limits = (start - margin, x[-1] + margin)
    sheet = Sheet(width_in)
    left = sheet.margin_in + _COLUMN_LEFT_IN
    width = sheet.inner_in - _COLUMN_LEFT_IN - _RIGHT_IN
    key = Key(sheet, sheet.margin_in)
    key.place(0.0, "lines: 95 %")
    if tolerance_fringes is not None:
        mark, row = key.place(0.32, "tolerance")
        sheet.rule(mark, row + 0.08, 0.26, colour=BAND, weight_pt=8.0)
    stages = [row.stage for row in rows]
    top = stage_strip(sheet, left, key.bottom, width, stages, x, limits, ends=x_label == _HOURS)
    axes = sheet.axes(left, top + 0.08, width, POWER_IN)
    _draw_irregularity(axes, rows, x, tolerance_fringes)
    _dress(axes, "irregularity, fringes", limits, x_label)
    return sheet.finish(top + 0.08 + POWER_IN + 0.6)


def _state(row: VisitRow) -> str:
    return row.verdict or _NOT_JUDGED


def _signed(row: VisitRow) -> bool:
    return row.sense in ("centre", "edge")


def _span(rows: Sequence[VisitRow]) -> str | None:
    days = [str(row.when)[:10] for row in (rows[0], rows[-1]) if row.when]
    return " to ".join(dict.fromkeys(days)) or None


def _places(rows: Sequence[VisitRow], against: str | None) -> tuple[list[float], str]:
    hours = [row.hours_total for row in rows]
    if against is None:
        span = hours[-1] - hours[0]
        aside = _side_by_side(hours)
        most = max(place - hour for place, hour in zip(aside, hours, strict=True))
        against = "hours" if span > 0 and most <= _MOST_ASIDE * span else "visits"
    if against == "hours":
        return _side_by_side(hours), _HOURS
    return [float(k) for k in range(1, len(rows) + 1)], "visit"


def _side_by_side(hours: Sequence[float]) -> list[float]:
    """Hours of work, each visit at least a step from the one before."""
    step = _LEAST_STEP * (hours[-1] - hours[0])
    places: list[float] = []
    for hour in hours:
        places.append(max(hour, places[-1] + step) if places else hour)
    return places


def _start(rows: Sequence[VisitRow], x: Sequence[float], x_label: str) -> float:
    """Where the lying scale begins: at the first visit, or with the work before it."""
    if x_label != _HOURS:
        return x[0]
    return max(0.0, x[0] - (rows[0].minutes or 0.0) / 60)


def _aside_note(rows: Sequence[VisitRow], x: Sequence[float], x_label: str) -> str:
    moved = any(place > row.hours_total for place, row in zip(x, rows, strict=True))
    if x_label != _HOURS or not moved:
        return ""
    return "Visits with hardly any work between them stand side by side."


def _latest(rows: Sequence[VisitRow]) -> str:
    row = rows[-1]
    hours = f", {figures(row.hours_total, 3)} h of work" if row.hours_total else ""
    parts = [f"Latest, visit {row.visit}{hours}: "]
    if row.power_fringes is None:
        parts.append("no power was read")
    else:
        power = plus_minus(row.power_fringes, row.power_u95_fringes, "fringes", signed=_signed(row))
        parts.append(f"power {power}" + ("" if _signed(row) else ", sign unknown"))
    if row.verdict in SURFACE:
        parts.append(f"; {with_probability(SURFACE[row.verdict], row.probability)}")
    parts.append(".")
    if row.next_step:
        parts.append(f" Next step: {row.next_step}.")
    return "".join(parts)


def _legend(sheet: Sheet, top: float, rows: Sequence[VisitRow], banded: bool, ahead: bool) -> float:
    entries = [(name, *_MARKS[name], True) for name in _MARKS if _used(rows, name)]
    if any(row.power_fringes is not None and not _signed(row) for row in rows):
        entries.append(("hollow pair: sign unknown", "o", MUTED, False))
    if any(row.power_fringes is None for row in rows):
        entries.append(("no power read", "x", MUTED, True))
    key = Key(sheet, top)
    for text, marker, colour, filled in entries:
        left, row = key.place(0.18, text)
        sheet.mark(left + 0.06, row + 0.09, marker, colour if filled else PAPER, colour)
    if any(_by_spherometer(row) for row in rows):
        left, row = key.place(0.18, "by spherometer")
        sheet.mark(left + 0.06, row + 0.09, "o", INK, INK)
        sheet.mark(left + 0.06, row + 0.09, ".", PAPER, INK)
    if banded:
        left, row = key.place(0.32, "tolerance")
        sheet.rule(left, row + 0.08, 0.26, colour=BAND, weight_pt=8.0)
    if ahead:
        left, row = key.place(0.32, "forecast, 90 %")
        sheet.rule(left, row + 0.08, 0.26, colour="#fdebd2", weight_pt=8.0)
        sheet.rule(left, row + 0.08, 0.26, colour=INK, weight_pt=0.9, dashes="dotted")
    return key.bottom


def _used(rows: Sequence[VisitRow], state: str) -> bool:
    return any(row.power_fringes is not None and _state(row) == state for row in rows)


def _draw_power(
    axes: Axes, rows: Sequence[VisitRow], x: Sequence[float], tolerance: float | None
) -> None:
    read = [
        (place, row) for place, row in zip(x, rows, strict=True) if row.power_fringes is not None
    ]
    if tolerance is not None:
        axes.axhspan(-tolerance, tolerance, color=BAND, linewidth=0, zorder=0)
        for sign in (-1, 1):
            axes.axhline(sign * tolerance, color=TEAL, linewidth=0.7, zorder=1)
    axes.axhline(0, color=MUTED, linewidth=0.5, zorder=1)
    reach = [
        sign * (row.power_fringes or 0.0) + side * (row.power_u95_fringes or 0.0)
        for _, row in read
        for sign in ((1,) if _signed(row) else (1, -1))
        for side in (-1, 1)
    ]
    scale = vertical_scale(reach, tolerance)
    apply_scale(axes, scale, tolerance, signed=True)
    # broken where the sign is unknown: the path there is not known either
    path = [(row.power_fringes or 0.0) if _signed(row) else math.nan for _, row in read]
    axes.plot([place for place, _ in read], path, color=MUTED, linewidth=0.8, zorder=2)
    size = 6.5 if len(rows) <= 40 else 4.0
    for place, row in read:
        _draw_visit(axes, place, row, size)
    _draw_parts(axes, rows, x)
    missed = [place for place, row in zip(x, rows, strict=True) if row.power_fringes is None]
    axes.plot(
        missed,
        [0.03] * len(missed),
        "x",
        color=MUTED,
        markersize=size - 1,
        transform=axes.get_xaxis_transform(),
    )


def _draw_visit(axes: Axes, place: float, row: VisitRow, size: float) -> None:
    marker, colour = _MARKS[_state(row)]
    power = row.power_fringes or 0.0
    values = [power] if _signed(row) else [abs(power), -abs(power)]
    if len(values) == 2:
        axes.plot([place, place], values, color=colour, linewidth=0.8, linestyle="dotted", zorder=2)
    axes.errorbar(
        [place] * len(values),
        values,
        yerr=row.power_u95_fringes,
        fmt=marker,
        markersize=size,
        markerfacecolor=colour if _signed(row) else PAPER,
        markeredgecolor=INK if _signed(row) else colour,
        markeredgewidth=0.6 if _signed(row) else 1.4,
        ecolor=INK,
        elinewidth=0.9,
        capsize=2.5,
        zorder=3,
    )


def _by_spherometer(row: VisitRow) -> bool:
    return row.method == "spherometer"


def _draw_parts(axes: Axes, rows: Sequence[VisitRow], x: Sequence[float]) -> None:
    """Dots on what the spherometer read, and its bar beside fringes of the same visit."""
    alone = [
        (place, row.power_fringes)
        for place, row in zip(x, rows, strict=True)
        if _by_spherometer(row)
    ]
    if alone:
        axes.plot(
            *zip(*alone, strict=True), ".", color=PAPER, markersize=4.0, markeredgewidth=0, zorder=4
        )
    for place, row in zip(x, rows, strict=True):
        if len(row.parts) < 2:
            continue
        for part in row.parts:
            if part.source == "spherometer":
                axes.errorbar(
                    [place],
                    [part.power_fringes],
                    yerr=part.power_u95_fringes,
                    fmt="none",
                    ecolor=MUTED,
                    elinewidth=2.6,
                    alpha=0.45,
                    zorder=1,
                )


def _outlook(
    row: VisitRow,
    forecast: Forecast,
    tolerance: float,
    wavelength_nm: float | None,
    x: Sequence[float],
) -> tuple[list[float], list[float], list[float], list[float]] | None:
    """Hours ahead, and power there: the middle and both ends of the 90 % interval."""
    if row.power_fringes is None or not _signed(row) or wavelength_nm is None:
        return None
    scale = 2000.0 / wavelength_nm
    rates = [forecast.rate_um_h.median, forecast.rate_um_h.low, forecast.rate_um_h.high]
    middle, low, high = (scale * (rate or 0.0) for rate in rates)
    if middle * row.power_fringes >= 0:
        return None
    minutes = forecast.minutes.high or forecast.advised_minutes
    span = max(_AHEAD * (x[-1] - x[0]), 0.25)
    hours = span if minutes is None else min(span, 1.1 * minutes / 60)
    if hours <= 0:
        return None
    steps = [hours * k / 40 for k in range(41)]
    places = [x[-1] + step for step in steps]
    far = -math.copysign(1.2 * tolerance, row.power_fringes)

    def ends(rate: float) -> list[float]:
        values = [(row.power_fringes or 0.0) + rate * step for step in steps]
        # work stops once the power is through the band
        return [max(v, far) if far < 0 else min(v, far) for v in values]

    return places, ends(middle), ends(low), ends(high)


def _draw_ahead(
    axes: Axes, ahead: tuple[list[float], list[float], list[float], list[float]]
) -> None:
    places, middle, low, high = ahead
    axes.fill_between(places, low, high, color=AMBER, alpha=0.16, linewidth=0, zorder=1)
    axes.plot(places, middle, color=INK, linewidth=0.9, linestyle="dotted", zorder=2)


def _draw_irregularity(
    axes: Axes, rows: Sequence[VisitRow], x: Sequence[float], tolerance: float | None
) -> None:
    read = [
        (place, row.irregularity_fringes)
        for place, row in zip(x, rows, strict=True)
        if row.irregularity_fringes is not None
    ]
    if tolerance is not None:
        axes.axhspan(0, tolerance, color=BAND, linewidth=0, zorder=0)
        axes.axhline(tolerance, color=TEAL, linewidth=0.7, zorder=1)
    ends = [
        (place, max(0.0, value - u95), value + u95)
        for place, value, u95 in (
            (place, row.irregularity_fringes, row.irregularity_u95_fringes)
            for place, row in zip(x, rows, strict=True)
        )
        if value is not None and u95 is not None
    ]
    tops = [high for _, _, high in ends]
    scale = vertical_scale([*(value for _, value in read), *tops], tolerance, from_zero=True)
    for place, low, high in ends:
        axes.vlines(place, low, high, color=INK, linewidth=0.9, zorder=2)
    axes.plot(
        *zip(*read, strict=True),
        color=INK,
        linewidth=0.8,
        marker="o",
        markersize=4.0,
        markerfacecolor=PAPER,
        markeredgecolor=INK,
        markeredgewidth=1.0,
    )
    apply_scale(axes, scale, tolerance, signed=False)


def _dress(axes: Axes, label: str, limits: tuple[float, float], x_label: str) -> None:
    axes.set_xlim(*limits)
    axes.set_ylabel(label)
    axes.set_xlabel(x_label)
    if x_label == "visit" and limits[1] - limits[0] < 12:
        axes.set_xticks(range(math.ceil(limits[0]), math.floor(limits[1]) + 1))
    else:
        most = 10 if axes.bbox.width > COLUMN_IN * DPI else 6
        axes.xaxis.set_major_locator(MaxNLocator(most, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value)))
