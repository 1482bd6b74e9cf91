"""The picture inside the aperture as arrays to fit: light, weight and place on the unit disc."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.photo.ellipse import Edge
from fringe.photo.filters import enlarged_mean, gaussian
from fringe.photo.load import Photo

Array = NDArray[np.float32]
_BLURRED_PX = 1.5  # width over which the lens blurs the work's rim
_GAUSSIAN_CUT = 2.5  # standard deviations at which a Gaussian is truncated
_MEAN_STEPS = 4  # samples of a local mean within its width
# coverage from which a pixel is used, and from which it counts as whole
_LEAST_COVERED, _MOST_COVERED = 0.3, 0.999


@dataclass(frozen=True)
class Field:
    """A part of the photograph, possibly at reduced scale.

    Attributes
    ----------
    light : ndarray of float32, shape (M, N)
        Linear light; meaningless where `weight` is zero.
    weight : ndarray of float32, shape (M, N)
        Share of good photograph pixels in each field pixel, 0 to 1.
    u, v : ndarray of float32, shape (M, N)
        Place on the unit disc.
    unit_from_px : ndarray, shape (2, 2)
        Matrix from a step of one field pixel (x, y) to a step on the unit disc.
    scale : int
        Photograph pixels a field pixel, along a side.
    x0, y0 : float
        Photograph coordinates of the middle of the field's top left pixel [px].
    """

    light: Array
    weight: Array
    u: Array
    v: Array
    unit_from_px: NDArray[np.float64]
    scale: int
    x0: float
    y0: float
    covers: dict[tuple[float, int], Array] = field(default_factory=dict, repr=False, compare=False)

    @property
    def radius_px(self) -> float:
        """Radius of the unit disc [field px], the geometric mean for an oval."""
        return float(1.0 / np.sqrt(abs(np.linalg.det(self.unit_from_px))))

    @cached_property
    def half(self) -> Field:
        """The field at half its scale, made once; see `halve`."""
        return halve(self)

    @property
    def thinned(self) -> Field:
        """Every second pixel of every second row, nothing averaged: finer fringes would alias."""
        parts = (part[::2, ::2] for part in (self.light, self.weight, self.u, self.v))
        light, weight, u, v = (np.ascontiguousarray(part) for part in parts)
        matrix = self.unit_from_px * 2
        return Field(light, weight, u, v, matrix, self.scale * 2, self.x0, self.y0)

    def cover(self, sigma_px: float, stride: int) -> Array:
        """Share of a Gaussian's width about every stride-th pixel that is usable; see `smooth`."""
        key = (sigma_px, stride)
        if key not in self.covers:
            self.covers.clear()
            self.covers[key] = smooth((self.weight > 0).astype(np.float32), sigma_px, stride)
        return self.covers[key]


def unit_matrix(edge: Edge) -> NDArray[np.float64]:
    """Matrix from photograph pixels to the unit disc, shape (2, 2) [1/px]."""
    angle = np.deg2rad(edge.angle_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.asarray(turn.T @ np.diag([1 / edge.a, 1 / edge.b]) @ turn)


def cut_field(photo: Photo, edge: Edge, scale: int, rim: float = 1.0) -> Field:
    """Cut the aperture out of a photograph and average it over blocks.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        The aperture's rim in the photograph.
    scale : int
        Side of the blocks [px].
    rim : float
        Share of the aperture's radius to use; pixels beyond it get no weight.

    Returns
    -------
    Field
    """
    left, top, right, bottom = edge.box(photo.width, photo.height)
    # an edge beside the frame contains none of its pixels
    columns, rows = max(0, right - left) // scale, max(0, bottom - top) // scale
    window = (slice(top, top + rows * scale), slice(left, left + columns * scale))
    light, weight = block_mean(photo.light[window], photo.clipped[window], scale)
    x0, y0 = left + (scale - 1) / 2, top + (scale - 1) / 2
    matrix = unit_matrix(edge)
    u, v = _coordinates(light.shape, matrix, x0 - edge.cx, y0 - edge.cy, scale)
    # the outermost pixels are mixed with the light from beyond the rim
    reach = rim - (_BLURRED_PX + scale / np.sqrt(2)) / np.sqrt(edge.a * edge.b)
    away = u * u
    away += v * v
    weight[away >= max(reach, 0.0) ** 2] = 0
    return Field(light, weight, u, v, matrix * scale, scale, x0, y0)


def block_mean(light: Array, clipped: NDArray[np.bool_], scale: int) -> tuple[Array, Array]:
    """Mean over blocks of the unclipped pixels, and their share, set to 0 when too small.

    Parameters
    ----------
    light, clipped : ndarray, shape (M * scale, N * scale)
    scale : int
        Side of a block [px].

    Returns
    -------
    mean, weight : ndarray of float32, shape (M, N)
        The mean is `light` itself at scale 1.
    """
    if scale == 1:
        return light, np.where(clipped, np.float32(0), np.float32(1))
    if not clipped.any():
        count = np.full((light.shape[0] // scale, light.shape[1] // scale), scale**2, np.float32)
        return np.divide(block_sum(light, scale), count, dtype=np.float32), np.ones_like(count)
    good = np.where(clipped, np.float32(0), np.float32(1))
    count = block_sum(good, scale)
    mean = np.divide(block_sum(light * good, scale), np.maximum(count, 1), dtype=np.float32)
    weight = count / np.float32(scale * scale)
    # the mean of a partly clipped block is biased
    return mean, np.where(weight > 0.85, weight, np.float32(0))


def block_sum(values: Array, scale: int) -> Array:
    """Sum over blocks; rows first, which are contiguous in memory."""
    total = values[0::scale].copy()
    for row in range(1, scale):
        total += values[row::scale]
    sums = total[:, 0::scale].copy()
    for column in range(1, scale):
        sums += total[:, column::scale]
    return sums


def _coordinates(
    shape: tuple[int, ...], matrix: NDArray[np.float64], dx: float, dy: float, scale: int
) -> tuple[Array, Array]:
    x = dx + scale * np.arange(shape[1])
    y = dy + scale * np.arange(shape[0])
    u, v = (
        (row[0] * x).astype(np.float32) + (row[1] * y).astype(np.float32)[:, None] for row in matrix
    )
    return u, v


def halve(field: Field) -> Field:
    """Halve a field's resolution behind a filter that keeps fine fringes from aliasing."""
    rows, columns = (side // 2 for side in field.light.shape)
    weight = _halved(field.weight)
    good = weight > _LEAST_COVERED
    share = np.maximum(weight, _LEAST_COVERED)
    light = np.where(good, _halved(field.light * field.weight) / share, np.float32(0))
    # the mean of a partly covered pixel belongs to the centroid of its covered part
    partly = good & (weight < _MOST_COVERED)
    u, v = (
        0.5 * (values[: 2 * rows : 2, : 2 * columns : 2] + values[1::2, 1::2][:rows, :columns])
        for values in (field.u, field.v)
    )
    for halves, values in ((u, field.u), (v, field.v)):
        halves[partly] = (_halved(values * field.weight) / share)[partly]
    return Field(
        light,
        np.where(good, weight, np.float32(0)),
        u,
        v,
        field.unit_from_px * 2,
        field.scale * 2,
        field.x0 + field.scale / 2,
        field.y0 + field.scale / 2,
    )


def _halved(values: Array) -> Array:
    """Weighted 1, 3, 3, 1 along both axes, at every other place: between pixels 2k and 2k + 1."""
    for _ in range(2):
        half = values.shape[0] // 2
        even, odd, after = values[: 2 * half : 2], values[1::2], values[2::2]
        mean = np.float32(0.375) * (even + odd)
        mean[1:] += np.float32(0.125) * odd[:-1]
        mean[: len(after)] += np.float32(0.125) * after
        # transpose and filter the other axis; the second transpose restores the orientation
        values = mean.T
    return values


def local_mean(values: Array, weight: Array, sigma_px: float) -> Array:
    """Weighted Gaussian mean, shape of `values`; zero where nothing has weight."""
    step = max(1, int(sigma_px / _MEAN_STEPS))
    rows, columns = values.shape
    beyond = ((0, -rows % step), (0, -columns % step))
    top, bottom = (
        gaussian(block_sum(np.pad(part, beyond), step) / step**2, sigma_px / step, truncate=3)
        for part in (values * weight, weight)
    )
    mean = np.where(bottom > 1e-4, top / np.maximum(bottom, 1e-4), 0)
    # a mean is smooth over its width, so linear interpolation between its samples is enough
    fine = enlarged_mean(mean, step)
    return np.asarray(fine[:rows, :columns], np.float32)


def smooth(values: Array, sigma_px: float, stride: int) -> Array:
    """Gaussian smoothing sampled at every stride-th place: one matrix product along each axis."""
    down, across = (_gaussian_weights(count, sigma_px, stride) for count in values.shape)
    return np.asarray(down @ values.astype(np.float32, copy=False) @ across.T)


@lru_cache(8)
def _gaussian_weights(count: int, sigma_px: float, stride: int) -> Array:
    """Gaussian weights about every stride-th of `count` samples, shape (P, count)."""
    reach = round(_GAUSSIAN_CUT * sigma_px)
    away = np.arange(count) - np.arange(stride // 2, count, stride)[:, None]
    weights = np.where(np.abs(away) <= reach, np.exp(-((away / sigma_px) ** 2) / 2), 0)
    # weights are normalised to a whole Gaussian: the field counts as zero beyond its ends
    whole = np.exp(-((np.arange(-reach, reach + 1) / sigma_px) ** 2) / 2).sum()
    return np.asarray(weights / whole, np.float32)
