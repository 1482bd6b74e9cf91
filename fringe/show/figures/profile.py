"""Profiles through the centre of the aperture, along the tilt and across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.orders.reading import Reading
from fringe.show.figures.form_grid import Sphere, best_sphere, form_values, height_u, rest_u
from fringe.show.figures.form_marks import key_lines, mark_profile
from fringe.show.figures.scales import nm_axis, nm_text
from fringe.show.figures.style import (
    BAND,
    BODY_PT,
    BRICK,
    INK,
    MUTED,
    SMALL_PT,
    TEAL,
    WIDTH_IN,
    Dashes,
    Facts,
    Key,
    Sheet,
    styled,
)
from fringe.show.words import limit_text
from fringe.student_t import coverage_factor

Array = NDArray[np.float64]
_LEFT_IN, _RIGHT_IN = 0.75, 0.8
_COLUMN_LEFT_IN, _COLUMN_RIGHT_IN = 0.55, 0.6
_LINE_PT = 1.4
_LEAST_TILT = 0.02  # with less, its direction means nothing [fringe]


@dataclass(frozen=True)
class _Cut:
    """Heights along one diameter, tilt taken out and zero at the centre [fringe]."""

    name: str
    along: Array
    height: Array
    u95: Array
    rest: Array
    rest_u95: Array
    colour: str
    dashes: Dashes


@styled
def profile_figure(
    reading: Reading,
    *,
    tolerance_fringes: float | None = None,
    irregularity_tolerance_fringes: float | None = None,
    title: str | None = None,
    surface: str | None = None,
    when: str | None = None,
    diameter_mm: float | None = None,
    plate_radius_mm: float | None = None,
    width_in: float = WIDTH_IN,
) -> Figure:
    """Draw the departure from the plate along two diameters, with the tolerance as a band.

    Parameters
    ----------
    reading : Reading
        With a form.
    tolerance_fringes : float or None
        Largest power of either sign [fringe]; draws the band that it allows.
    irregularity_tolerance_fringes : float or None
        Largest irregularity, peak to valley [fringe]; draws its band below.
    title, surface, when, diameter_mm, plate_radius_mm, width_in
        As for `gap_map_figure`.

    Returns
    -------
    Figure

    Raises
    ------
    BadInput
        If the reading holds no form.
    """
    if reading.form is None:
        raise BadInput("profile: the reading holds no form over an aperture; read it with an edge")
    sphere = best_sphere(reading.form, plate_radius_mm, diameter_mm)
    cuts = _cuts(reading, sphere)
    facts = Facts.of_reading(reading, diameter_mm, surface, when)
    sheet = Sheet(width_in)
    top = sheet.heading(title or "Profiles through the centre", facts)
    top = _legend(sheet, top, cuts, tolerance_fringes is not None)
    beside = (_COLUMN_LEFT_IN, _COLUMN_RIGHT_IN) if sheet.is_column else (_LEFT_IN, _RIGHT_IN)
    width = sheet.inner_in - sum(beside)
    left = sheet.margin_in + beside[0]
    half = 1.0 if diameter_mm is None else diameter_mm / 2
    top = _title(sheet, top, _upper_title(tolerance_fringes))
    tall, low = (1.7, 1.2) if sheet.is_column else (2.2, 1.45)
    upper = sheet.axes(left, top, width, tall)
    _draw_upper(upper, cuts, sphere, half, tolerance_fringes)
    top = _title(sheet, top + tall + 0.35, _lower_title(irregularity_tolerance_fringes))
    lower = sheet.axes(left, top, width, low)
    _draw_lower(lower, cuts, half, irregularity_tolerance_fringes)
    mark_profile(lower, reading.features, half)
    for axes in (upper, lower):
        _dress(axes, half, reading.wavelength_nm / 2)
    lower.set_xlabel("share of the semi-diameter" if diameter_mm is None else "mm from the centre")
    bottom = top + low + 0.5
    note = _band_note(
        (upper, tall, [cut.u95 for cut in cuts]), (lower, low, [cut.rest_u95 for cut in cuts])
    )
    if reading.sense not in ("centre", "edge"):
        note += " The sense is unknown, so the profiles may be upside down."
    whole = sheet.inner_in
    for line in () if sheet.is_column else key_lines(reading.features, placed=True):
        bottom = sheet.paragraph(sheet.margin_in, bottom, whole, line, BODY_PT)
    bottom = sheet.paragraph(sheet.margin_in, bottom, whole, note, SMALL_PT, colour=MUTED)
    return sheet.finish(bottom + 0.18)


def _cuts(reading: Reading, sphere: Sphere) -> tuple[_Cut, _Cut]:
    form = reading.form
    assert form is not None
    along = np.linspace(-1.0, 1.0, 401)
    tilted = np.hypot(sphere.tilt_u, sphere.tilt_v) > _LEAST_TILT
    direction = np.deg2rad(sphere.tilt_direction_deg) if tilted else 0.0
    names = ("along the tilt", "across the tilt") if tilted else ("left to right", "top to bottom")
    dashes: Dashes
    cuts = []
    for name, turn, colour, dashes in (
        (names[0], direction, INK, "solid"),
        (names[1], direction + np.pi / 2, BRICK, (0, (5.0, 2.0))),
    ):
        u, v = along * np.cos(turn), along * np.sin(turn)
        level = form_values(form, u, v) - sphere.plane(u, v)
        rest = level - sphere.power * sphere.shape(u, v)
        u95 = coverage_factor() * height_u(form, u, v)
        rest_u95 = coverage_factor() * rest_u(form, u, v)
        height = level - level[200]
        cuts.append(_Cut(name, along, height, u95, rest, rest_u95, colour, dashes))
    return cuts[0], cuts[1]


def _title(sheet: Sheet, top: float, text: str) -> float:
    """Write a panel's title; return where the panel starts."""
    return sheet.paragraph(sheet.margin_in, top, sheet.inner_in, text, BODY_PT, bold=True) + 0.12


def _legend(sheet: Sheet, top: float, cuts: tuple[_Cut, _Cut], banded: bool) -> float:
    key = Key(sheet, top, BODY_PT)
    for cut in cuts:
        left, row = key.place(0.38, cut.name)
        sheet.rule(left, row + 0.08, 0.32, colour=cut.colour, weight_pt=1.5, dashes=cut.dashes)
    if banded:
        left, row = key.place(0.38, "allowed by the tolerance")
        sheet.rule(left, row + 0.08, 0.32, colour=BAND, weight_pt=8.0)
    return key.bottom


def _upper_title(tolerance: float | None) -> str:
    text = "Gap above that at the centre, tilt taken out"
    return text if tolerance is None else f"{text}; tolerance ±{limit_text(tolerance)}"


def _lower_title(tolerance: float | None) -> str:
    text = "Left by the best sphere"
    return text if tolerance is None else f"{text}; tolerance {limit_text(tolerance)} in all"


def _band_note(*panels: tuple[Axes, float, list[Array]]) -> str:
    """Say what the bands are; of panels where they hide behind their lines, that they do.

    A panel is its axes, their height [inch], and half-widths of its bands [fringe].
    """
    hidden = []
    for axes, height_in, half_widths in panels:
        low, high = axes.get_ylim()
        widest_pt = max(float(one.max()) for one in half_widths) * 2 * 72 * height_in / (high - low)
        hidden.append(widest_pt < _LINE_PT + 0.6)
    about = "95 % limits, from the covariance of the fit"
    if all(hidden):
        return f"The {about}, are narrower than the lines are thick."
    if hidden[0]:
        return f"Bands about the lower lines: {about}; those of the upper lines are narrower."
    return f"Bands about the lines: {about}."


def _draw_cut(axes: Axes, cut: _Cut, place: Array, height: Array, u95: Array) -> None:
    low, high = height - u95, height + u95
    axes.fill_between(place, low, high, color=cut.colour, alpha=0.18, linewidth=0)
    axes.plot(place, height, color=cut.colour, linestyle=cut.dashes, linewidth=_LINE_PT)


def _draw_upper(
    axes: Axes, cuts: tuple[_Cut, _Cut], sphere: Sphere, half: float, tolerance: float | None
) -> None:
    if tolerance is not None:
        allowed = tolerance * sphere.shape(cuts[0].along, np.zeros_like(cuts[0].along))
        axes.fill_between(half * cuts[0].along, -allowed, allowed, color=BAND, linewidth=0)
        for sign in (-1, 1):
            axes.plot(half * cuts[0].along, sign * allowed, color=TEAL, linewidth=0.7)
    for cut in cuts:
        _draw_cut(axes, cut, half * cut.along, cut.height, cut.u95)


def _draw_lower(axes: Axes, cuts: tuple[_Cut, _Cut], half: float, tolerance: float | None) -> None:
    if tolerance is not None:
        axes.axhspan(-tolerance / 2, tolerance / 2, color=BAND, linewidth=0)
        for sign in (-1, 1):
            axes.axhline(sign * tolerance / 2, color=TEAL, linewidth=0.7)
    for cut in cuts:
        _draw_cut(axes, cut, half * cut.along, cut.rest, cut.rest_u95)
    most = max(float((np.abs(cut.rest) + cut.rest_u95).max()) for cut in cuts)
    most = max(1.12 * most, 0.6 * (tolerance or 0.0), 0.025)
    axes.set_ylim(-most, most)


def _dress(axes: Axes, half: float, nm: float) -> None:
    axes.set_xlim(-half, half)
    axes.axhline(0, color=MUTED, linewidth=0.5, zorder=0)
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value)))
    axes.set_ylabel("fringes")
    nm_axis(axes, nm)
