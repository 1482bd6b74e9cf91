"""The photograph with the fit's dark fringes drawn over it, and the numbers beside it."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import Normal, Stroke
from numpy.typing import NDArray

from fringe.optics.view import cos_view
from fringe.orders.reading import Reading
from fringe.photo.ellipse import Edge
from fringe.show.figures.fit_lines import (
    CosView,
    FitLines,
    FormLines,
    Place,
    RingLines,
    every_for,
    rim,
)
from fringe.show.figures.picture import Window, cut, samples_of, within
from fringe.show.figures.style import (
    DPI,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    WIDTH_IN,
    Facts,
    Sheet,
    styled,
)
from fringe.show.figures.verdict_panel import verdict_panel

PANEL_IN = 2.4
GUTTER_IN = 0.25
TALLEST_IN = 5.4
_HALVED_FROM = 9  # with fewer dark fringes, lines over all of the picture hide nothing
_ROOM_PT = 4.5  # least distance between lines over the whole picture
_LEAST_ROOM_PT = 1.5  # and in a close-up


@styled
def overlay_figure(
    image: NDArray[Any] | str | Path,
    reading: Reading,
    *,
    title: str | None = None,
    credit: str | None = None,
    surface: str | None = None,
    when: str | None = None,
    diameter_mm: float | None = None,
    camera_distance_mm: float | None = None,
    width_in: float = WIDTH_IN,
    enlarged: bool = True,
) -> Figure:
    """Draw the fitted dark fringes over the photograph that they were read from.

    With more than a few fringes the left half of the picture is left bare, and two places
    are shown enlarged, without and with the lines, so that a person sees at once whether
    the lines lie on the dark fringes.

    Parameters
    ----------
    image : ndarray, shape (M, N) or (M, N, C), or path
        The photograph: whole numbers as encoded for the screen (sRGB), floats as linear
        light. It may be brightened and is reduced for showing.
    reading : Reading
        Its `form` over its `edge`, with a piston that puts dark fringes at whole orders,
        or its `ring_fit`.
    title, credit : str or None
        Heading, and whom the photograph is to be credited to.
    surface, when : str or None
        Name of the surface and date, if known.
    diameter_mm : float or None
        Diameter of the aperture [mm], if known.
    camera_distance_mm : float or None
        From the work to the camera, where the reading was corrected for it, which takes
        the diameter too [mm]; None for a far camera, seen as the edge's shape tells.
    width_in : float
        Of the figure [inch]; in a `COLUMN_IN` the page around it says heading and numbers.
    enlarged : bool
        Show two places enlarged where fringes are many.

    Returns
    -------
    Figure

    Raises
    ------
    BadInput
        If the image is not a picture or does not hold the reading's edge.
    """
    samples = samples_of(image)
    edge = reading.edge
    lines = fitted_lines(reading, diameter_mm, camera_distance_mm)
    frame = within(samples, *_frame(edge, samples.shape[1], samples.shape[0]))
    sheet = Sheet(width_in)
    width, height = _picture_size(frame, sheet)
    window = cut(samples, *frame, longest_px=round(max(width, height) * DPI))
    edge_px = 2 * edge.a if edge else None
    facts = Facts(reading.wavelength_nm, diameter_mm, edge_px, surface, when, edge is None)
    top = sheet.heading(title or "Fitted dark fringes over the photograph", facts)
    axes = sheet.axes(sheet.margin_in, top, width, height)
    room_pt = _points_per_px(window, width) * (lines.finest_px if lines else 1.0)
    halved = lines is not None and lines.count >= _HALVED_FROM
    x_from = lines.split_x if lines and halved else window.left
    _show(axes, window.greyed(x_from) if lines else window)
    every = 1
    if lines is not None:
        every = every_for(room_pt, _ROOM_PT)
        lines.draw(axes, every=every, x_from=x_from, weight_pt=_weight(every * room_pt))
    if edge is not None:
        _draw_edge(axes, edge)
    note = _note(lines, edge, halved=halved, every=every)
    bottom = sheet.paragraph(
        sheet.margin_in,
        top + height + 0.08,
        _room_in(sheet),
        note,
        SMALL_PT,
        colour=MUTED,
    )
    if not sheet.is_column:
        panel_left = sheet.width_in - sheet.margin_in - PANEL_IN
        bottom = max(bottom, verdict_panel(sheet, panel_left, top, PANEL_IN, reading.to_json()))
    if lines is not None and halved and enlarged:
        bottom = _close_ups(sheet, bottom + 0.14, axes, samples, lines, edge)
    if credit:
        bottom = sheet.paragraph(
            sheet.margin_in,
            bottom + 0.08,
            sheet.inner_in,
            f"Photograph: {credit}",
            SMALL_PT,
            colour=MUTED,
        )
    return sheet.finish(bottom + 0.18)


def has_close_ups(
    reading: Reading,
    *,
    diameter_mm: float | None = None,
    camera_distance_mm: float | None = None,
) -> bool:
    """Whether fringes are so many that two places are shown enlarged."""
    lines = fitted_lines(reading, diameter_mm, camera_distance_mm)
    return lines is not None and lines.count >= _HALVED_FROM


def fitted_lines(
    reading: Reading, diameter_mm: float | None, camera_distance_mm: float | None
) -> FitLines | None:
    """Where the fit has dark fringes; None where the reading does not say it."""
    form, edge = reading.form, reading.edge
    if form is not None and edge is not None and (0, 0) in form.terms:
        near: CosView | None = None
        if diameter_mm is not None and camera_distance_mm is not None:
            near = partial(
                cos_view,
                semi_diameter_mm=diameter_mm / 2,
                camera_distance_mm=camera_distance_mm,
                tilt_cos=edge.cos_view,
                direction_deg=edge.angle_deg + 90,
            )
        return FormLines(form, edge, near)
    if reading.ring_fit is not None and len(reading.ring_fit.orders):
        return RingLines(reading.ring_fit)
    return None


def _frame(edge: Edge | None, width: int, height: int) -> tuple[float, float, float, float]:
    if edge is None:
        return -0.5, -0.5, width - 0.5, height - 0.5
    x, y = rim(edge)
    margin = 0.06 * edge.a + 2
    return x.min() - margin, y.min() - margin, x.max() + margin, y.max() + margin


def _room_in(sheet: Sheet) -> float:
    """Width that the picture may have [inch]: a column holds no numbers beside it."""
    return sheet.inner_in if sheet.is_column else sheet.inner_in - PANEL_IN - GUTTER_IN


def _picture_size(frame: tuple[float, float, float, float], sheet: Sheet) -> tuple[float, float]:
    left, top, right, bottom = frame
    shape = (right - left) / (bottom - top)
    width = _room_in(sheet)
    if width / shape > TALLEST_IN:
        return TALLEST_IN * shape, TALLEST_IN
    return width, width / shape


def _points_per_px(window: Window, width_in: float) -> float:
    return 72.0 * width_in / (window.right - window.left)


def _weight(spacing_pt: float) -> float:
    return float(np.clip(0.13 * spacing_pt, 0.3, 0.9))


def _show(axes: Axes, window: Window) -> None:
    axes.imshow(window.pixels, extent=window.extent, aspect="auto", interpolation="antialiased")
    axes.set_xlim(window.left, window.right)
    axes.set_ylim(window.bottom, window.top)
    axes.set_axis_off()


def _draw_edge(axes: Axes, edge: Edge) -> None:
    casing = [Stroke(linewidth=2.0, foreground=INK, alpha=0.6), Normal()]
    (line,) = axes.plot(*rim(edge), color=PAPER, linewidth=0.9, label="edge")
    line.set_path_effects(casing)


def _note(lines: FitLines | None, edge: Edge | None, *, halved: bool, every: int) -> str:
    white = "White: the edge." if edge is not None else ""
    if lines is None:
        return f"No lines: the reading does not say where dark fringes lie. {white}".strip()
    if lines.count == 0:
        return f"No dark fringe lies in the aperture. {white}".strip()
    ordinal = "second" if every == 2 else f"{every}th"
    which = "centres of the dark fringes" if every == 1 else f"every {ordinal} dark fringe"
    if not halved:
        return f"Lines: {which}, as fitted. {white}".strip()
    return f"Left: the photograph alone. Right: {which}, as fitted. {white}".strip()


def _close_ups(
    sheet: Sheet, top: float, main: Axes, samples: NDArray[Any], lines: FitLines, edge: Edge | None
) -> float:
    gap, pair_gap = 0.06, 0.24
    pairs = 1 if sheet.is_column else 2  # beside each other
    side = (sheet.inner_in - pairs * gap - (pairs - 1) * pair_gap) / (2 * pairs)
    left = sheet.margin_in
    below = top
    for name, place in zip("AB", lines.places(samples.shape[1], samples.shape[0]), strict=True):
        _mark(main, name, place)
        x0, y0 = round(place.x - place.half) - 0.5, round(place.y - place.half) - 0.5
        size = max(2, round(2 * place.half))
        square = (x0, y0, x0 + size, y0 + size)
        window = cut(samples, *square, longest_px=round(side * DPI))
        below = sheet.text(left, top, f"{name}, enlarged: the photograph", SMALL_PT, colour=MUTED)
        sheet.text(left + side + gap, top, "and with the lines", SMALL_PT, colour=MUTED)
        bare = sheet.axes(left, below + 0.03, side, side)
        lined = sheet.axes(left + side + gap, below + 0.03, side, side)
        _show(bare, window)
        _show(lined, window.greyed(window.left, stretched=True))
        for one in (bare, lined):  # the photograph may end within the square
            one.set_xlim(square[0], square[2])
            one.set_ylim(square[3], square[1])
        # ten or so fringes fit into a close-up: each is drawn, unless they are finer than pixels
        every = every_for(72 * side / size * lines.finest_px, _LEAST_ROOM_PT)
        lines.draw(lined, every=every, x_from=window.left - 1, weight_pt=1.0)
        if edge is not None:
            _draw_edge(lined, edge)
        if sheet.is_column:
            top = below + 0.03 + side + 0.1
        else:
            left += 2 * side + gap + pair_gap
    return below + 0.03 + side


def _mark(axes: Axes, name: str, place: Place) -> None:
    casing = [Stroke(linewidth=2.4, foreground=INK), Normal()]
    box = Rectangle(
        (place.x - place.half, place.y - place.half),
        2 * place.half,
        2 * place.half,
        fill=False,
        edgecolor=PAPER,
        linewidth=1.0,
    )
    box.set_path_effects(casing)
    axes.add_patch(box)
    # beside the square, on the side with more of the picture, so never out of it
    side = 1 if place.x < sum(axes.get_xlim()) / 2 else -1
    text = axes.annotate(
        name,
        (place.x + side * place.half, place.y),
        xytext=(3 * side, 0),
        textcoords="offset points",
        color=PAPER,
        fontsize=9,
        fontweight="bold",
        ha="left" if side > 0 else "right",
        va="center",
        parse_math=False,
    )
    text.set_path_effects([Stroke(linewidth=2.2, foreground=INK), Normal()])
