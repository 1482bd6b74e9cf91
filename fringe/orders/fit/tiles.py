"""Local fringe frequency on small tiles of the picture, known up to its sign."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

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
    count, half = len(blocks), TILE // 2 + 1
    window, along, down = _transforms()
    whole = float(window.sum()) ** 2
    flat = blocks.reshape(count, TILE * TILE)
    mean = flat @ np.outer(window, window).ravel() / whole
    rows = ((flat - mean[:, None]).reshape(-1, TILE) @ along).reshape(count, TILE, 2 * half)
    spectrum = down @ (rows[..., :half] + 1j * rows[..., half:])
    power = spectrum.real**2
    power += spectrum.imag**2
    fy = (np.arange(TILE)[:, None] + TILE // 2) % TILE - TILE // 2
    fx = np.arange(half)[None, :]
    radius = np.hypot(fx, fy)
    power[:, radius < 1.3] = 0
    total = power.sum(axis=(1, 2)) + 1e-12
    index = power.reshape(len(power), -1).argmax(axis=1)
    py, px = np.divmod(index, TILE // 2 + 1)
    near = np.zeros(count)
    k = np.arange(count)

    def log(row: NDArray[np.intp], column: NDArray[np.intp]) -> Array:
        return np.asarray(np.log(power[k, row, column] + 1e-12))

    middle = log(py, px)
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            qx, qy = px + dx, (py + dy) % TILE
            inside = (qx >= 0) & (qx <= TILE // 2)
            near += np.where(inside, power[k, qy, np.clip(qx, 0, TILE // 2)], 0)
    left, right = log(py, np.abs(px - 1)), log(py, np.minimum(px + 1, TILE // 2))
    cx = px + _parabola(left, middle, right) * ((px > 0) & (px < TILE // 2))
    above, below = log((py - 1) % TILE, px), log((py + 1) % TILE, px)
    cy = fy[py, 0] + _parabola(above, middle, below)
    amplitude = 2 * np.sqrt(power[k, py, px]) / whole
    return np.stack([cx, cy], axis=1), near / total, amplitude


@cache
def _transforms() -> tuple[Array, Array, NDArray[np.complex64]]:
    """Window of a tile, and the matrices of Fourier's transform of a windowed row and column.

    Of so small tiles two products with a matrix take less time than a fast transform. The first
    has cosines and sines side by side, up to half the sampling frequency.
    """
    window = np.hanning(TILE + 2)[1:-1]
    waves = np.exp(-2j * np.pi / TILE * np.outer(np.arange(TILE), np.arange(TILE)))
    rows = (window[:, None] * waves)[:, : TILE // 2 + 1]
    along = np.concatenate([rows.real, rows.imag], axis=1)
    down = (waves * window).astype(np.complex64)
    return window.astype(np.float32), along.astype(np.float32), down


def _parabola(left: Array, middle: Array, right: Array) -> NDArray[np.float64]:
    bend = left - 2 * middle + right
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0)
    return np.asarray(np.clip(shift, -0.5, 0.5), np.float64)
