"""Maps over the aperture: the gap as the piece lay, and what its best sphere leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Colormap
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.patheffects import Normal, Stroke
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.feature import FormFeature
from fringe.orders.reading import Reading
from fringe.show.figures.form_grid import FormGrid, form_grid
from fringe.show.figures.form_marks import key_lines, mark_map
from fringe.show.figures.scales import colour_scale, label_contours, nice_step, steps_between
from fringe.show.figures.style import (
    BODY_PT,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    WIDTH_IN,
    Facts,
    Sheet,
    gap_colormap,
    height_colormap,
    styled,
)
from fringe.show.words import form_text, fringes_text, headline_text

Array = NDArray[np.float64]
GUTTER_IN = 0.4
_COLUMN_SIDE_IN = 3.0
MAPS = ("gap", "rest")
_LEAST_HEIGHT = 0.05  # a scale finer than this would make noise look like form [fringe]


@dataclass(frozen=True)
class HeightMap:
    """One map: its heights, colours and the ends of its scale [fringe]."""

    title: str
    height: Array
    colours: Colormap
    low: float
    high: float
    step: float
    signed: bool

    @property
    def marks(self) -> list[float]:
        """Where the scale is marked [fringe]."""
        return steps_between(self.low, self.high, self.step)

    def levels(self, grid: FormGrid) -> list[float]:
        """Where contours cross the disc [fringe]."""
        inside = self.height[grid.inside]
        return [h for h in self.marks if inside.min() + 1e-6 < h < inside.max() - 1e-6]


@styled
def gap_map_figure(
    reading: Reading,
    *,
    title: str | None = None,
    surface: str | None = None,
    when: str | None = None,
    diameter_mm: float | None = None,
    plate_radius_mm: float | None = None,
    width_in: float = WIDTH_IN,
    shown: Sequence[str] = MAPS,
) -> Figure:
    """Draw the gap over the aperture, and beside it what the best sphere leaves.

    Parameters
    ----------
    reading : Reading
        With a form.
    title, surface, when : str or None
        Heading, name of the surface, and date, if known.
    diameter_mm : float or None
        Diameter of the aperture [mm], if known.
    plate_radius_mm : float or None
        Radius of the plate [mm]; with the diameter, the exact shape of a sphere is taken
        out instead of rho^2.
    width_in : float
        Of the figure [inch]; in a `COLUMN_IN` the maps stand below each other.
    shown : sequence of {'gap', 'rest'}
        Which of the two.

    Returns
    -------
    Figure

    Raises
    ------
    BadInput
        If the reading holds no form.
    """
    if reading.form is None:
        raise BadInput("gap map: the reading holds no form over an aperture; read it with an edge")
    grid = form_grid(reading.form, radius_mm=plate_radius_mm, diameter_mm=diameter_mm)
    facts = Facts.of_reading(reading, diameter_mm, surface, when)
    sheet = Sheet(width_in)
    top = sheet.heading(title or "The gap over the aperture", facts)
    side = _COLUMN_SIDE_IN if sheet.is_column else (sheet.inner_in - GUTTER_IN) / 2
    bottom, left = top, sheet.margin_in
    for name, one, captions, marked in zip(
        MAPS,
        _maps(grid),
        _captions(reading, grid),
        ((), reading.features),
        strict=True,
    ):
        if name not in shown:
            continue
        nm = reading.wavelength_nm / 2
        aside = (sheet.inner_in - side) / 2 if sheet.is_column else 0.0
        below = draw_map(sheet, left + aside, top, side, one, grid, nm, marked=marked)
        # the page around a column says the numbers
        for caption in key_lines(marked) if sheet.is_column else captions:
            width = sheet.inner_in if sheet.is_column else side
            below = sheet.paragraph(left, below, width, caption, BODY_PT)
        bottom = max(bottom, below)
        if sheet.is_column:
            top = below + 0.14
        else:
            left += side + GUTTER_IN
    note = _note(reading, shown)
    bottom = sheet.paragraph(
        sheet.margin_in, bottom + 0.1, sheet.inner_in, note, SMALL_PT, colour=MUTED
    )
    return sheet.finish(bottom + 0.18)


def _note(reading: Reading, shown: Sequence[str]) -> str:
    """What is to be known for reading the maps."""
    note = "As seen in the photograph. Contours as marked on the scale, in nm and in fringes"
    known = reading.sense in ("centre", "edge")
    if "rest" in shown:
        note += ", dashed below zero"
    note += "."
    if "gap" in shown:
        note += " Cross: where the gap is smallest."
    if "rest" in shown and known and reading.features:
        note += " Where the work is raised the gap is narrower than the best sphere's."
    if not known:
        note += " The sense is unknown, so all may be upside down."
    return note


def _maps(grid: FormGrid) -> tuple[HeightMap, HeightMap]:
    deepest = max(float(grid.gap[grid.inside].max()), _LEAST_HEIGHT)
    step = nice_step(deepest, 10)
    gap = HeightMap("Gap, as the piece lay", grid.gap, gap_colormap(), 0.0, deepest, step, False)
    return gap, signed_map("Left by the best sphere", grid.rest, highest(grid))


def highest(grid: FormGrid) -> float:
    """Where the scale of what the best sphere leaves ends [fringe]."""
    return max(float(np.abs(grid.rest[grid.inside]).max()), _LEAST_HEIGHT / 2)


def signed_map(title: str, height: Array, most: float) -> HeightMap:
    """A map of heights of both signs, on a scale that ends at `most` [fringe]."""
    step = nice_step(2 * most, 10)
    return HeightMap(title, height, height_colormap(), -most, most, step, True)


def _captions(reading: Reading, grid: FormGrid) -> tuple[list[str], list[str]]:
    """Paragraphs below either map."""
    tilt = float(np.hypot(grid.sphere.tilt_u, grid.sphere.tilt_v))
    known = "" if reading.sense in ("centre", "edge") else ", sign unknown"
    first = f"Power {headline_text(reading.to_json())}{known}, tilt {fringes_text(tilt)}"
    parts = [
        ("B", reading.irregularity_fringes, reading.irregularity_u95_fringes),
        ("C", reading.symmetric_irregularity_fringes, reading.symmetric_irregularity_u95_fringes),
        ("rms", reading.rms_irregularity_fringes, reading.rms_irregularity_u95_fringes),
    ]
    shown = [f"{name} {form_text(value, u95)}" for name, value, u95 in parts if value is not None]
    second = "Irregularity " + (", ".join(shown) if shown else "not measured")
    return [first], [second, *key_lines(reading.features)]


def draw_map(
    sheet: Sheet,
    left: float,
    top: float,
    side: float,
    one: HeightMap,
    grid: FormGrid,
    nm: float,
    *,
    marked: Sequence[FormFeature] = (),
) -> float:
    """Draw one map with its scale; return where it ends [inch from the top].

    `marked` are features whose places are drawn on it.
    """
    below = sheet.text(left, top, one.title, BODY_PT, bold=True) + 0.04
    axes = sheet.axes(left, below, side, side)
    _fill_axes(axes, one, grid, side)
    mark_map(axes, marked)
    below += side + 0.46
    scale = sheet.axes(left + 0.08, below, side - 0.16, 0.13)
    colour_scale(
        scale,
        one.colours,
        one.low,
        one.high,
        nm_per_fringe=nm,
        ticks=one.marks,
        step=one.step,
        signed=one.signed,
    )
    return below + 0.13 + 0.42


def _fill_axes(axes: Axes, one: HeightMap, grid: FormGrid, side: float) -> None:
    far = float(grid.u.max())
    circle = Circle((0, 0), 1.0, transform=axes.transData, fill=False, edgecolor=INK, linewidth=1.1)
    axes.add_patch(circle)
    picture = axes.imshow(
        one.height,
        extent=(-far, far, far, -far),
        cmap=one.colours,
        vmin=one.low,
        vmax=one.high,
        interpolation="bilinear",
    )
    picture.set_clip_path(circle)
    levels = one.levels(grid)
    if levels:
        lines = axes.contour(
            grid.u,
            grid.v,
            one.height,
            levels=levels,
            colors=[INK],
            linewidths=[1.2 if one.signed and abs(h) < 1e-9 else 0.6 for h in levels],
            linestyles=["dashed" if h < -1e-9 else "solid" for h in levels],
        )
        lines.set_clip_path(circle)
        label_contours(
            axes,
            _richest_line(one, grid),
            levels,
            one.step,
            one.colours,
            (one.low, one.high),
            inch=2.02 / side,
            signed=one.signed,
        )
    if not one.signed:
        _mark_contact(axes, grid)
    axes.set_xlim(-1.01, 1.01)
    axes.set_ylim(1.01, -1.01)
    axes.set_axis_off()


def _richest_line(one: HeightMap, grid: FormGrid) -> tuple[Array, Array, Array]:
    """Return the line from rim to rim, of twelve, along which the height changes most."""
    along = np.linspace(-0.9, 0.9, 361)
    far, size = float(grid.u.max()), grid.u.shape[0]
    best: tuple[float, Array, Array, Array] | None = None
    for angle in np.deg2rad(np.arange(0, 180, 15)):
        u, v = along * np.cos(angle), along * np.sin(angle)
        column = np.rint((u / far + 1) / 2 * (size - 1)).astype(int)
        row = np.rint((v / far + 1) / 2 * (size - 1)).astype(int)
        height = one.height[row, column]
        change = float(np.ptp(height))
        if best is None or change > best[0] * 1.02:
            best = (change, u, v, height)
    assert best is not None
    return best[1:]


def _mark_contact(axes: Axes, grid: FormGrid) -> None:
    row, column = np.unravel_index(
        np.argmin(np.where(grid.inside, grid.gap, np.inf)), grid.gap.shape
    )
    (cross,) = axes.plot(
        grid.u[row, column],
        grid.v[row, column],
        "+",
        color=INK,
        markersize=9,
        markeredgewidth=1.3,
        clip_on=False,
    )
    cross.set_path_effects([Stroke(linewidth=3.0, foreground=PAPER), Normal()])
