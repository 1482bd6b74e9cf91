"""Filters of pictures and of rows of samples that a reading needs, in numpy alone.

They do what `scipy.ndimage` does under like names, and tests hold them against it; loading that
takes as long as fitting the fringes of a photograph.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Float = TypeVar("Float", bound=np.floating[Any])
Places = NDArray[np.floating]
Mask = NDArray[np.bool_]
_HULL_SAMPLES = 360  # directions in which a region's extent is taken


def bilinear(
    values: NDArray[Float], rows: Places, columns: Places, *, beyond: float | None = None
) -> NDArray[Float]:
    """Values between the samples of a grid; beyond its border those of the border.

    Parameters
    ----------
    values : ndarray of float, shape (M, N)
    rows, columns : ndarray, shape (...)
        Places, from the middle of the first sample.
    beyond : float, optional
        Value beyond the border, where it is not that of the border.

    Returns
    -------
    ndarray, shape (...)
        In the precision of `values`.
    """
    flat = values.ravel()
    at, parts = [], []
    for place, count in zip((rows, columns), values.shape, strict=True):
        inside = np.clip(place, 0, count - 1)
        low = np.minimum(inside.astype(np.intp), max(count - 2, 0))
        at.append(low)
        parts.append((inside - low).astype(values.dtype))
    down, right = (values.shape[1] if values.shape[0] > 1 else 0), int(values.shape[1] > 1)
    index = at[0] * values.shape[1] + at[1]
    lines = []
    for _ in range(2):
        first = flat.take(index)
        first += parts[1] * (flat.take(index + right) - first)
        lines.append(first)
        index += down
    found = np.asarray(lines[0] + parts[0] * (lines[1] - lines[0]))
    if beyond is not None:
        inside = (rows >= 0) & (rows <= values.shape[0] - 1)
        found[~(inside & (columns >= 0) & (columns <= values.shape[1] - 1))] = beyond
    return found


def gaussian(
    values: NDArray[Float], sigma: float, truncate: float = 4.0, mode: str = "constant"
) -> NDArray[Float]:
    """Gaussian mean along both axes, shape (M, N).

    Parameters
    ----------
    values : ndarray of float, shape (M, N)
    sigma : float
        Standard deviation [samples].
    truncate : float
        Reach of the filter [sigma].
    mode : str
        What lies beyond the border, as `numpy.pad` has it: "constant" for zero.
    """
    weights = gaussian_weights(sigma, truncate)
    for _ in range(2):
        reach = len(weights) - 1
        wide = np.pad(values, ((reach, reach), (0, 0)), mode=mode)  # type: ignore[call-overload]
        values = _symmetric(wide, weights).T
    return values


def gaussian_slopes(values: NDArray[Float], sigma: float) -> tuple[NDArray[Float], NDArray[Float]]:
    """Slopes along rows (x) and columns (y) of a picture's Gaussian mean; mirrored at the border.

    Parameters
    ----------
    values : ndarray of float, shape (M, N)
    sigma : float
        Standard deviation [samples].
    """
    weights = gaussian_weights(sigma)
    reach = len(weights) - 1
    falling = weights * np.arange(reach + 1) / sigma**2

    def along(part: NDArray[Float], slope: bool) -> NDArray[Float]:
        wide = np.pad(part, ((reach, reach), (0, 0)), mode="symmetric")
        if not slope:
            return _symmetric(wide, weights)
        count = len(part)
        total = np.zeros(part.shape, part.dtype)
        for k in range(1, reach + 1):
            total += part.dtype.type(falling[k]) * (
                wide[reach + k : reach + k + count] - wide[reach - k : reach - k + count]
            )
        return total

    return tuple(along(along(values, not x).T, x).T for x in (True, False))  # type: ignore[return-value]


def gaussian_weights(sigma: float, truncate: float = 4.0) -> NDArray[np.float64]:
    """Weights of a Gaussian mean from its middle outward; those of both sides add up to one."""
    weights = np.exp(-0.5 * (np.arange(int(truncate * sigma + 0.5) + 1) / sigma) ** 2)
    return np.asarray(weights / (2 * weights.sum() - weights[0]))


def _symmetric(wide: NDArray[Float], weights: NDArray[np.float64]) -> NDArray[Float]:
    """Weighted sum along the first axis, at the places that have all of their neighbours."""
    reach = len(weights) - 1
    count = len(wide) - 2 * reach
    total = wide.dtype.type(weights[0]) * wide[reach : reach + count]
    for k in range(1, reach + 1):
        both = wide[reach - k : reach - k + count] + wide[reach + k : reach + k + count]
        both *= wide.dtype.type(weights[k])
        total += both
    return np.asarray(total)


def running_mean(
    values: NDArray[Any], width: int, axis: int = -1, mode: str = "symmetric"
) -> NDArray[np.float64]:
    """Mean over `width` samples about each, shape of `values`; modes are those of `numpy.pad`."""
    rows = np.moveaxis(np.asarray(values, float), axis, -1)
    beyond = [(0, 0)] * (rows.ndim - 1) + [(width // 2 + 1, width - 1 - width // 2)]
    sums = np.cumsum(np.pad(rows, beyond, mode=mode), axis=-1)  # type: ignore[call-overload]
    return np.moveaxis((sums[..., width:] - sums[..., :-width]) / width, -1, axis)


def enlarged_mean(values: NDArray[Float], step: int) -> NDArray[Float]:
    """Values on a grid `step` times as fine, linear between the middles of the coarse samples."""
    for _ in range(2):
        place = (np.arange(len(values) * step) + 0.5) / step - 0.5
        place = np.clip(place, 0, len(values) - 1)
        low = np.minimum(place.astype(np.intp), max(len(values) - 2, 0))
        part = (place - low).astype(values.dtype)[:, None]
        first = values[low]
        values = (first + part * (values[np.minimum(low + 1, len(values) - 1)] - first)).T
    return values


def median(values: NDArray[Any], *, along: bool = False) -> Any:
    """Median of all values, or along the last axis; NaN of none.

    What `numpy.median` gives of numbers, without the modules that it loads to look for others.
    """
    rows = np.asarray(values) if along else np.ravel(values)
    half, odd = divmod(rows.shape[-1], 2)
    if not half and not odd:
        return np.full(rows.shape[:-1], np.nan)[()]
    parted = np.partition(rows, half, axis=-1)
    if odd:
        return parted[..., half]
    return (parted[..., :half].max(axis=-1) + parted[..., half]) / 2


def quantile(values: NDArray[Any], share: float) -> float:
    """Value below which a share of all lies, linear between them, as `numpy.quantile` has it."""
    flat = np.ravel(values)
    place = share * (flat.size - 1)
    low = int(place)
    high = min(low + 1, flat.size - 1)
    parted = np.partition(flat, (low, high))
    return float(parted[low] + (place - low) * (float(parted[high]) - float(parted[low])))


def median_of_nine(values: NDArray[Float]) -> NDArray[Float]:
    """Median of each sample and its eight neighbours, shape (M, N); the border is repeated."""
    wide = np.pad(values, 1, mode="edge")
    # of sorted columns the greatest least, middle and least greatest have the median in the middle
    low, middle, high = _sorted(wide[:-2], wide[1:-1], wide[2:])
    least = np.maximum(np.maximum(low[:, :-2], low[:, 1:-1]), low[:, 2:])
    greatest = np.minimum(np.minimum(high[:, :-2], high[:, 1:-1]), high[:, 2:])
    return _middle(least, _middle(middle[:, :-2], middle[:, 1:-1], middle[:, 2:]), greatest)


def median_of_five(values: NDArray[Float]) -> NDArray[Float]:
    """Median of five samples along the rows, shape (M, N); the border is repeated."""
    wide = np.pad(values, ((0, 0), (2, 2)), mode="edge")
    a, b, c, d, e = (wide[:, k : wide.shape[1] - 4 + k] for k in range(5))
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return _middle(low, high, e)


def median_square(values: NDArray[Float], side: int) -> NDArray[Float]:
    """Median over a square of odd side about each sample, shape (M, N); mirrored at the border."""
    wide = np.pad(values, side // 2, mode="symmetric")
    windows = sliding_window_view(wide, (side, side)).reshape(*values.shape, -1)
    return np.asarray(median(windows, along=True))


def median_round(values: NDArray[Float], width: int) -> NDArray[Float]:
    """Median of `width` samples, an odd number, about each of a closed row, shape (K,)."""
    wide = np.pad(values, width // 2, mode="wrap")
    return np.asarray(median(sliding_window_view(wide, width), along=True))


def _sorted(
    a: NDArray[Float], b: NDArray[Float], c: NDArray[Float]
) -> tuple[NDArray[Float], NDArray[Float], NDArray[Float]]:
    low, high = np.minimum(a, b), np.maximum(a, b)
    return np.minimum(low, c), np.maximum(low, np.minimum(high, c)), np.maximum(high, c)


def _middle(a: NDArray[Float], b: NDArray[Float], c: NDArray[Float]) -> NDArray[Float]:
    return np.asarray(np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c)))


def eroded(mask: Mask, times: int = 1) -> Mask:
    """Where a place and its four neighbours are all set, so many times over; beyond none are."""
    for _ in range(times):
        wide = np.pad(mask, 1)
        mask = mask & wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:]
    return mask


def dilated(mask: Mask, times: int = 1) -> Mask:
    """Where a place or one of its four neighbours is set, so many times over, shape (M, N)."""
    for _ in range(times):
        wide = np.pad(mask, 1)
        mask = mask | wide[:-2, 1:-1] | wide[2:, 1:-1] | wide[1:-1, :-2] | wide[1:-1, 2:]
    return mask


def opened(mask: Mask) -> Mask:
    """Where any square of nine places that are all set lies, shape (M, N)."""
    return np.asarray(sums_of_nine(sums_of_nine(mask) == 9) > 0)


def sums_of_nine(values: NDArray[Any]) -> NDArray[np.float64]:
    """Sum of each place and its eight neighbours, shape (M, N); zero beyond."""
    wide = np.pad(np.asarray(values, float), 1)
    wide = wide[:-2] + wide[1:-1] + wide[2:]
    return np.asarray(wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:])


def connected(mask: Mask) -> tuple[NDArray[np.intp], int]:
    """Connected parts of a mask, numbered from one, and how many there are.

    Parameters
    ----------
    mask : ndarray of bool, shape (M, N)

    Returns
    -------
    labels : ndarray of int, shape (M, N)
        Zero where nothing is set; places side by side belong together, corners do not.
    count : int
    """
    if not mask.any():
        return np.zeros(mask.shape, np.intp), 0
    label = np.pad(np.arange(1, mask.size + 1).reshape(mask.shape) * mask, 1)
    inner = label[1:-1, 1:-1]
    while True:
        before = inner.copy()
        for beside in (label[:-2, 1:-1], label[2:, 1:-1], label[1:-1, :-2], label[1:-1, 2:]):
            np.maximum(inner, beside * mask, out=inner)
        # each place's number is that of another one of its part, and takes over that one's
        numbers = np.append(0, inner.ravel())
        inner[...] = numbers[numbers[inner]]
        if np.array_equal(inner, before):
            break
    known = np.flatnonzero(np.bincount(inner[mask]))
    return np.where(mask, np.searchsorted(known, inner) + 1, 0), len(known)


def hull_area(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> float:
    """Area of the convex hull of some samples, each a square of side 1, to a thousandth.

    From the samples that lie farthest out in each of many directions. The samples come row by row,
    as `numpy.nonzero` lists them.
    """
    ends = np.flatnonzero(
        np.diff(rows, append=-1)
    )  # nothing between the ends of a row lies far out
    ends = np.concatenate([ends, [0], ends[:-1] + 1])
    rows, columns = rows[ends], columns[ends]
    corners = np.concatenate(
        [np.stack([columns + x, rows + y], axis=1) for x in (-0.5, 0.5) for y in (-0.5, 0.5)]
    )
    angle = np.linspace(0, 2 * np.pi, _HULL_SAMPLES, endpoint=False)
    farthest = (corners @ np.stack([np.cos(angle), np.sin(angle)])).argmax(axis=0)
    x, y = corners[farthest].T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)
