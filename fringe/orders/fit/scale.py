"""The coarsest block average of a photograph that still resolves its fringes.

A photograph of many megapixels most often shows a few broad fringes, to which block means
can be fitted as well as pixels. The finest fringes in small tiles decide how far it may be
reduced. They are sought from full resolution downward, since fringes that were averaged away
or aliased could not be noticed afterwards.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fringe.orders.fit.field import Array, Field, block_mean, block_sum
from fringe.orders.fit.tiles import TILE, peaks
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_MOST_TILES = 1024
_FINE_CYCLES = 2.5  # fringes a tile; at half the scale each still spans six pixels
_PURE = 0.3  # share of a tile's variation in one frequency; noise has 0.1
_VISIBLE = 0.006  # amplitude of what counts, as a share of the brightest tile's light
_FREQUENCY_PX = 0.2  # cycles a pixel at the rim of the grid that is fitted
LEAST_RADIUS_PX = 80.0  # of that grid
_TOLERATED_SHARE = 0.01  # share of the tiles that may err


def coarsest_scale(photo: Photo, least_px: float, edge: Edge | None = None) -> int:
    """Greatest factor by which a photograph may be reduced without losing its fringes.

    Parameters
    ----------
    photo : Photo
    least_px : float
        Size to keep at least: the shorter side of the frame, or the edge's smaller radius.
    edge : Edge, optional
        Look for fringes within it only; else anywhere.

    Returns
    -------
    int
        Side of the blocks to average over [px], a power of two.
    """
    left, top, right, bottom = (
        (0, 0, photo.width, photo.height) if edge is None else edge.box(photo.width, photo.height)
    )
    light = photo.light[top:bottom, left:right]
    size = min(light.shape) if edge is None else edge.b
    scale = 1
    while size >= 2 * least_px and not _fine_fringes(light):
        light = thumbnail(light, 2)
        size, scale = size / 2, 2 * scale
    return scale


def _fine_fringes(light: Array) -> bool:
    """Tell whether fringes are too fine for half the resolution."""
    step = max(TILE // 2, int(np.sqrt(light.size / _MOST_TILES)))
    rows, columns = (np.arange(0, side - TILE + 1, step) for side in light.shape)
    if not (rows.size and columns.size):
        return True  # so small a picture stays as it is
    windows = np.lib.stride_tricks.sliding_window_view(light, (TILE, TILE))
    blocks = windows[rows[:, None], columns].reshape(-1, TILE, TILE)
    level = blocks.mean(axis=(1, 2))
    bright_enough = level > 0.02 * float(level.max(initial=0))
    if not bright_enough.any():
        return True  # nothing to gain from reducing a black picture
    cycles, purity, amplitude = peaks(blocks[bright_enough] / level[bright_enough, None, None] - 1)
    fine = np.hypot(cycles[:, 0], cycles[:, 1]) > _FINE_CYCLES
    visible = amplitude * level[bright_enough] > _VISIBLE * float(level.max())
    return float((fine & visible & (purity > _PURE)).mean()) > _TOLERATED_SHARE


def thumbnail(light: Array, scale: int) -> Array:
    """Mean over blocks of pixels, clipped or not; those that fill no block are left out."""
    rows, columns = (side // scale * scale for side in light.shape)
    return block_sum(light[:rows, :columns], scale) / np.float32(scale**2)


def reduced(photo: Photo, scale: int) -> Photo:
    """Average a photograph over blocks; rows and columns that fill no block are left out."""
    if scale == 1:
        return photo
    rows, columns = photo.height // scale * scale, photo.width // scale * scale
    light, weight = block_mean(photo.light[:rows, :columns], photo.clipped[:rows, :columns], scale)
    return replace(photo, light=light, clipped=weight == 0)


def enlarged(edge: Edge, scale: int) -> Edge:
    """Edge in the photograph of one in a copy that was reduced by `scale`."""
    return Edge(
        (edge.cx + 0.5) * scale - 0.5,
        (edge.cy + 0.5) * scale - 0.5,
        edge.a * scale,
        edge.b * scale,
        edge.angle_deg,
        edge.u_px * scale,
    )


def shrunk(edge: Edge, scale: int) -> Edge:
    """Edge in a copy of its photograph that was reduced by `scale`; undoes `enlarged`."""
    return Edge(
        (edge.cx + 0.5) / scale - 0.5,
        (edge.cy + 0.5) / scale - 0.5,
        edge.a / scale,
        edge.b / scale,
        edge.angle_deg,
        edge.u_px / scale,
    )


def level_for(field: Field, cycles: float, least_px: float = LEAST_RADIUS_PX) -> Field:
    """Halve a field as long as fringes of up to `cycles` a unit stay well sampled."""
    while field.radius_px >= 2 * needed_px(cycles, least_px):
        field = field.half
    return field


def needed_px(cycles: float, least_px: float) -> float:
    """Radius at which fringes of up to `cycles` a unit are well sampled [px]."""
    return max(least_px, cycles / _FREQUENCY_PX)
