"""Local fringe frequency on small tiles of the picture, known up to its sign."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft as sfft

from fringe.orders.fit.field import Array, Field, local_mean

TILE = 32
_LOW_CYCLES = 2.0  # fewer in a tile cannot be distinguished from uneven light
_HIGH_CYCLES = 0.42 * TILE  # near the sampling limit fringes alias
_MIN_RADIUS_PX = 72.0


@dataclass(frozen=True)
class Tiles:
    """Local frequencies.

    Attributes
    ----------
    u, v : ndarray, shape (K,)
        Middle of each tile on the unit disc.
    f : ndarray, shape (K, 2)
        Frequency along u and v [cycles / unit], up to a common sign.
    sigma : ndarray, shape (K,)
        Rough standard uncertainty of a frequency's component [cycles / unit].
    purity : ndarray, shape (K,)
        Share of the tile's variation in its one peak, 0 to 1.
    amplitude : ndarray, shape (K,)
        Fringe amplitude as a share of the local mean light.
    """

    u: NDArray[np.float64]
    v: NDArray[np.float64]
    f: NDArray[np.float64]
    sigma: NDArray[np.float64]
    purity: NDArray[np.float64]
    amplitude: NDArray[np.float64]

    def __len__(self) -> int:
        """Number of tiles."""
        return int(self.u.size)

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> Tiles:
        """Return the tiles at `index`."""
        return Tiles(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


def flatten(field: Field, sigma_px: float) -> Array:
    """Light divided by its local mean, less one; zero where there is no weight."""
    mean = local_mean(field.light, field.weight, sigma_px)
    floor = 0.02 * float(np.max(mean, initial=1e-6))
    return np.where(
        (field.weight > 0) & (mean > floor), field.light / np.maximum(mean, floor) - 1, 0
    ).astype(np.float32)


def pyramid_tiles(field: Field, most: int = 3000) -> Tiles:
    """Measure local frequencies at the field's scale and at each halving of it.

    Parameters
    ----------
    field : Field
    most : int
        Most tiles to keep at one scale, the purest of each neighbourhood.

    Returns
    -------
    Tiles
        Of all scales together; empty where nothing repeats.
    """
    levels = []
    level = field
    while True:
        levels.append(_tiles_of(level, most))
        if level.radius_px < 2 * _MIN_RADIUS_PX:
            break
        level = level.half
    return Tiles(
        *(
            np.concatenate([getattr(tiles, name) for tiles in levels])
            for name in Tiles.__dataclass_fields__
        )
    )


def _tiles_of(field: Field, most: int) -> Tiles:
    step = TILE // 2
    blocks = _windows(field.light, step)
    weights = _windows(field.weight, step)
    if blocks.size == 0:
        return _no_tiles()
    row, column = np.nonzero(weights.mean(axis=(2, 3)) > 0.75)
    if len(row) == 0:
        return _no_tiles()
    if len(row) > most:
        # thin out evenly over the picture, whatever its size
        pick = np.linspace(0, len(row) - 1, most).astype(int)
        row, column = row[pick], column[pick]
    blocks, weights = blocks[row, column], weights[row, column]
    total = weights.sum(axis=(1, 2), keepdims=True)
    level = (blocks * weights).sum(axis=(1, 2), keepdims=True) / total
    floor = 0.02 * float(level.max(initial=1e-6))
    blocks = np.where((weights > 0) & (level > floor), blocks / np.maximum(level, floor) - 1, 0)
    cycles, purity, amplitude = peaks(blocks)
    good = (np.hypot(cycles[:, 0], cycles[:, 1]) >= _LOW_CYCLES) & (purity > 0.15)
    good &= np.hypot(cycles[:, 0], cycles[:, 1]) <= _HIGH_CYCLES
    middle_x, middle_y = column * step + (TILE - 1) / 2, row * step + (TILE - 1) / 2
    matrix = field.unit_from_px
    u = field.u[0, 0] + matrix[0, 0] * middle_x + matrix[0, 1] * middle_y
    v = field.v[0, 0] + matrix[1, 0] * middle_x + matrix[1, 1] * middle_y
    # a phase is the same in both coordinates, so frequency takes the inverse transpose
    f = (cycles / TILE) @ np.linalg.inv(matrix)
    sigma = np.full(len(u), 0.25 / TILE * field.radius_px)
    return Tiles(u, v, f, sigma, purity, amplitude).take(good)


def _no_tiles() -> Tiles:
    empty = np.empty(0)
    return Tiles(empty, empty, np.empty((0, 2)), empty, empty, empty)


def _windows(values: Array, step: int) -> Array:
    if min(values.shape) < TILE:
        return np.empty((0, 0, TILE, TILE), np.float32)
    return np.lib.stride_tricks.sliding_window_view(values, (TILE, TILE))[::step, ::step]


def peaks(blocks: Array) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Strongest frequency of each block: cycles a tile (x, y), purity, amplitude."""
    window = np.hanning(TILE + 2)[1:-1].astype(np.float32)
    window2 = window[:, None] * window[None, :]
    mean = (blocks * window2).sum(axis=(1, 2)) / window2.sum()
    spectrum = sfft.rfft2((blocks - mean[:, None, None]) * window2, axes=(1, 2))
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32)
    fy = sfft.fftfreq(TILE, 1 / TILE)[:, None]
    fx = np.arange(TILE // 2 + 1)[None, :]
    radius = np.hypot(fx, fy)
    power[:, radius < 1.3] = 0
    total = power.sum(axis=(1, 2)) + 1e-12
    index = power.reshape(len(power), -1).argmax(axis=1)
    py, px = np.divmod(index, TILE // 2 + 1)
    near = np.zeros(len(power))
    log = np.log(power + 1e-12)
    k = np.arange(len(power))
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            qx, qy = px + dx, (py + dy) % TILE
            inside = (qx >= 0) & (qx <= TILE // 2)
            near += np.where(inside, power[k, qy, np.clip(qx, 0, TILE // 2)], 0)
    cx = px + _parabola(
        log[k, py, np.abs(px - 1)], log[k, py, px], log[k, py, np.minimum(px + 1, TILE // 2)]
    ) * ((px > 0) & (px < TILE // 2))
    cy = fy[py, 0] + _parabola(
        log[k, (py - 1) % TILE, px], log[k, py, px], log[k, (py + 1) % TILE, px]
    )
    amplitude = 2 * np.sqrt(power[k, py, px]) / window2.sum()
    return np.stack([cx, cy], axis=1), near / total, amplitude


def _parabola(left: Array, middle: Array, right: Array) -> NDArray[np.float64]:
    bend = left - 2 * middle + right
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0)
    return np.asarray(np.clip(shift, -0.5, 0.5), np.float64)
