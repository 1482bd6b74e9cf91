"""The work's own form as a relief, seen at a slant and lit from the left, its features named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import Normal, Stroke
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.format import figures
from fringe.optics.feature import FormFeature
from fringe.orders.reading import Reading
from fringe.show.figures.form_grid import form_grid
from fringe.show.figures.form_marks import key_lines, lettered
from fringe.show.figures.gap_map import highest
from fringe.show.figures.scales import colour_scale, nice_step, steps_between
from fringe.show.figures.style import (
    BODY_PT,
    INK,
    MUTED,
    PAPER,
    SMALL_PT,
    WIDTH_IN,
    Facts,
    Sheet,
    height_colormap,
    styled,
    text_width_in,
)

Array = NDArray[np.float64]
_SLANT_DEG = 40.0  # of the line of sight above the disc
_TALL = 0.2  # height of the highest place as drawn [semi-diameter]
_THICK = 0.1  # of the slab that carries the relief [semi-diameter]
_LIGHT = np.array([-0.55, -0.45, 0.7])  # toward the lamp: left, behind, above
_LINES = 8  # level lines over the whole height, about
_SIZE = 600  # places along a diameter
_ABOVE, _BELOW = 0.46, 0.28  # room over and under the disc [semi-diameter]


@dataclass(frozen=True)
class _Relief:
    """Heights of the work as drawn, and where each place comes to lie on the picture.

    Attributes
    ----------
    side : ndarray, shape (M,)
        u and v of the grid [semi-diameter].
    drawn : ndarray, shape (M, M)
        Height as drawn [semi-diameter].
    """

    side: Array
    drawn: Array

    def place(self, u: float, v: float) -> tuple[float, float]:
        """Where a place on the disc is seen: right and down [semi-diameter]."""
        step = self.side[1] - self.side[0]
        column = int(np.clip(round((u - self.side[0]) / step), 0, self.side.size - 1))
        row = int(np.clip(round((v - self.side[0]) / step), 0, self.side.size - 1))
        return u, float(_down(v, float(self.drawn[row, column])))


def _down(v: Array | float, z: Array | float) -> Array | float:
    slant = math.radians(_SLANT_DEG)
    return v * math.sin(slant) - z * math.cos(slant)


@styled
def relief_figure(
    reading: Reading,
    *,
    title: str | None = None,
    surface: str | None = None,
    when: str | None = None,
    diameter_mm: float | None = None,
    plate_radius_mm: float | None = None,
    width_in: float = WIDTH_IN,
) -> Figure:
    """Draw the height of the work over its best sphere as a relief, far too high on purpose.

    Parameters
    ----------
    reading : Reading
        With a form. Where its sense is unknown the contact is taken to be at the centre, and
        the figure says so.
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
        raise BadInput("relief: the reading holds no form over an aperture; read it with an edge")
    grid = form_grid(reading.form, radius_mm=plate_radius_mm, diameter_mm=diameter_mm, size=_SIZE)
    most = highest(grid)
    sheet = Sheet(width_in)
    facts = Facts.of_reading(reading, diameter_mm, surface, when)
    top = sheet.heading(title or "The work over its best sphere", facts)
    width = min(sheet.inner_in, 5.0)
    height = width * (2 * math.sin(math.radians(_SLANT_DEG)) + _ABOVE + _BELOW) / 2.04
    axes = sheet.axes(sheet.margin_in + (sheet.inner_in - width) / 2, top, width, height)
    relief = _Relief(grid.u[0], -_TALL * grid.rest / most)
    step = nice_step(2 * most, _LINES)
    _show(axes, relief, _painted(relief, grid.rest, grid.inside, most, step))
    _name(axes, relief, reading.features, width)
    top += height + 0.42
    nm = reading.wavelength_nm / 2
    scale = sheet.axes(sheet.margin_in + 0.1, top, sheet.inner_in - 0.2, 0.13)
    colours = height_colormap().reversed()
    marks = steps_between(-most, most, step)
    colour_scale(scale, colours, -most, most, nm_per_fringe=nm, ticks=marks, step=step, signed=True)
    top += 0.13 + 0.42
    # beside the map of the same form, in columns of a page, the names say enough
    for line in () if sheet.is_column else key_lines(reading.features):
        top = sheet.paragraph(sheet.margin_in, top, sheet.inner_in, line, BODY_PT)
    note = _note(reading, most, nm, diameter_mm, step)
    top = sheet.paragraph(sheet.margin_in, top, sheet.inner_in, note, SMALL_PT, colour=MUTED)
    return sheet.finish(top + 0.18)


def _note(reading: Reading, most: float, nm: float, diameter_mm: float | None, step: float) -> str:
    text = "Height of the work over its best sphere, light where it is high; turned as in the "
    text += f"photograph. Level lines every {figures(step * nm, 2)} nm."
    if diameter_mm is not None:
        times = _TALL * diameter_mm / 2 * 1e6 / (most * nm)
        text += f" Heights are drawn {float(f'{times:.1g}'):,.0f} times too large."
    if reading.sense not in ("centre", "edge"):
        text += " The sense is unknown: it may be the other way up."
    return text


def _painted(
    relief: _Relief, rest: Array, inside: NDArray[np.bool_], most: float, step: float
) -> NDArray[np.uint8]:
    """Paint the relief from its far side to its near one, so that what is near covers it."""
    side = relief.side
    per = 1.0 / (side[1] - side[0])  # picture points a semi-diameter
    lit = _lit(relief, rest, inside, most, step)
    slant = math.sin(math.radians(_SLANT_DEG))
    rows = round(per * (2 * slant + _ABOVE + _BELOW))
    picture = np.full((rows, side.size, 3), 255, np.uint8)
    down = np.rint(per * (np.asarray(_down(side[:, None], relief.drawn)) + slant + _ABOVE))
    down = np.clip(down.astype(int), 0, rows - 1)
    wall = np.rint(per * _THICK).astype(int)
    columns = np.arange(side.size)
    for row in range(side.size):
        kept = inside[row]
        x, y = columns[kept], down[row, kept]
        picture[y, x] = lit[row, kept]
        nearest = kept & ~inside[min(row + 1, side.size - 1)]
        for below in range(1, 4):  # closes what a steep fall toward the viewer leaves open
            picture[np.minimum(y + below, rows - 1), x] = lit[row, kept]
        if nearest.any():
            x, y = columns[nearest], down[row, nearest]
            base = np.rint(per * (side[row] * slant + slant + _ABOVE)).astype(int) + wall
            for one, start in zip(x, y, strict=True):
                picture[start + 1 : max(start + 2, base), one] = (lit[row, one] * 0.55).astype(
                    np.uint8
                )
    return picture


def _lit(
    relief: _Relief, rest: Array, inside: NDArray[np.bool_], most: float, step: float
) -> NDArray[np.uint8]:
    """Colours of the heights, shaded by the lamp and crossed by level lines."""
    spacing = float(relief.side[1] - relief.side[0])
    slope_v, slope_u = np.gradient(np.where(inside, relief.drawn, 0.0), spacing)
    normal = np.stack([-slope_u, -slope_v, np.ones_like(slope_u)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    lamp = _LIGHT / np.linalg.norm(_LIGHT)
    shade = np.clip(1.0 + 1.1 * (normal @ lamp - lamp[2]), 0.45, 1.25)
    colours = height_colormap()((rest / most + 1) / 2)[..., :3]
    band = np.floor(rest / step)
    crossed = np.zeros(rest.shape, bool)
    crossed[1:] |= band[1:] != band[:-1]
    crossed[:, 1:] |= band[:, 1:] != band[:, :-1]
    crossed[:-1] |= crossed[1:]  # two rows may fall on one of the picture
    shade = np.where(crossed, 0.6 * shade, shade)
    # the step at the rim is no slope of the work
    rim = inside.copy()
    rim[2:-2, 2:-2] &= ~(
        inside[4:, 2:-2] & inside[:-4, 2:-2] & inside[2:-2, 4:] & inside[2:-2, :-4]
    )
    shade = np.where(rim, 0.8, shade)
    return np.asarray(np.clip(255 * colours * shade[..., None], 0, 255), np.uint8)


def _show(axes: Axes, relief: _Relief, picture: NDArray[np.uint8]) -> None:
    slant = math.sin(math.radians(_SLANT_DEG))
    far = float(relief.side[-1])
    extent = (-far, far, slant + _BELOW, -slant - _ABOVE)
    axes.imshow(picture, extent=extent, aspect="auto", interpolation="antialiased")
    axes.set_axis_off()


def _name(axes: Axes, relief: _Relief, features: Sequence[FormFeature], width_in: float) -> None:
    """Write each feature's letter and name above the disc, with a line to where it lies."""
    slant = math.sin(math.radians(_SLANT_DEG))
    casing = [Stroke(linewidth=2.6, foreground=PAPER), Normal()]
    far = float(relief.side[-1])
    per_inch = 2 * far / width_in
    for row, (letter, one) in enumerate(lettered(features)):
        side = -1 if row % 2 == 0 else 1
        x, y = relief.place(*_spot(one, side))
        name = f"{letter}: {one.name}"
        left, top = side * 0.98, -slant - _ABOVE + 0.1 + 0.16 * (row // 2)
        axes.text(
            left,
            top,
            name,
            fontsize=SMALL_PT,
            color=INK,
            ha="left" if side < 0 else "right",
            va="center",
            parse_math=False,
        )
        # from the name's inner end, so that it crosses no name below
        inner = left - side * (text_width_in(name, SMALL_PT) + 0.04) * per_inch
        (line,) = axes.plot([inner, x], [top, y], color=INK, linewidth=0.9, clip_on=False)
        (dot,) = axes.plot([x], [y], "o", color=INK, markersize=3.0)
        for artist in (line, dot):
            artist.set_path_effects(casing)


def _spot(one: FormFeature, side: int) -> tuple[float, float]:
    """A place where a feature is to be seen, on the left (-1) or right (1) of the far half."""
    if one.axis_deg is not None:
        angle = math.radians(one.axis_deg)
        u, v = 0.93 * math.cos(angle), 0.93 * math.sin(angle)
        return (u, v) if v <= 0 else (-u, -v)
    radius = {"centre": 0.0, "edge": 0.98}.get(one.kind, one.place or 0.0)
    return side * radius * math.sin(math.radians(40)), -radius * math.cos(math.radians(40))
