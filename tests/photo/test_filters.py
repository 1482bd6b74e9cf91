"""The filters that a reading needs, against those of scipy.ndimage and scikit-image."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage, special
from skimage.measure import regionprops

from fringe.orders.edge.step import normal_share
from fringe.orders.fit.tiles import TILE, peaks
from fringe.photo import filters

Picture = NDArray[np.float64]
ONES = np.ones((3, 3))
PAIRS: dict[str, tuple[Callable[[Picture], Any], Callable[[Picture], Any]]] = {
    "mean that ends at the border": (
        lambda x: filters.gaussian(x, 1.7, 3),
        lambda x: ndimage.gaussian_filter(x, 1.7, mode="constant", truncate=3),
    ),
    "mirrored mean": (
        lambda x: filters.gaussian(x, 2.0, mode="symmetric"),
        lambda x: ndimage.gaussian_filter(x, 2.0),
    ),
    "slope along rows": (
        lambda x: filters.gaussian_slopes(x, 1.3)[0],
        lambda x: ndimage.gaussian_filter(x, 1.3, order=(0, 1)),
    ),
    "slope along columns": (
        lambda x: filters.gaussian_slopes(x, 1.3)[1],
        lambda x: ndimage.gaussian_filter(x, 1.3, order=(1, 0)),
    ),
    "running mean, even": (
        lambda x: filters.running_mean(x, 4),
        lambda x: ndimage.uniform_filter1d(x, 4, axis=1),
    ),
    "running mean, odd, of a closed row": (
        lambda x: filters.running_mean(x, 3, 0, "wrap"),
        lambda x: ndimage.uniform_filter1d(x, 3, axis=0, mode="wrap"),
    ),
    "finer grid": (
        lambda x: filters.enlarged_mean(x, 3),
        lambda x: ndimage.zoom(x, 3, order=1, mode="nearest", grid_mode=True),
    ),
    "median of nine": (filters.median_of_nine, lambda x: ndimage.median_filter(x, 3)),
    "median of five": (
        filters.median_of_five,
        lambda x: ndimage.median_filter(x, (1, 5), mode="nearest"),
    ),
    "median of a square": (
        lambda x: filters.median_square(x, 5),
        lambda x: ndimage.median_filter(x, 5),
    ),
    "median of a closed row": (
        lambda x: filters.median_round(x[0], 9),
        lambda x: ndimage.median_filter(x[0], 9, mode="wrap"),
    ),
    "sums of nine": (
        filters.sums_of_nine,
        lambda x: ndimage.convolve(x, ONES, mode="constant"),
    ),
    "opened": (
        lambda x: filters.dilated(filters.eroded(x > -0.3)),
        lambda x: ndimage.binary_opening(x > -0.3),
    ),
    "closed": (
        lambda x: filters.eroded(filters.dilated(x > 1, 2), 2),
        lambda x: ndimage.binary_closing(x > 1, iterations=2),
    ),
    "opened by a square": (
        lambda x: filters.opened(ndimage.binary_dilation(x > 1)),
        lambda x: ndimage.binary_opening(ndimage.binary_dilation(x > 1), ONES),
    ),
}


@pytest.mark.parametrize("name", PAIRS)
def test_filters_do_what_scipy_does(name: str, rng: np.random.Generator) -> None:
    """Each filter gives what its like in scipy.ndimage gives, borders included."""
    ours, theirs = PAIRS[name]
    picture = rng.normal(size=(31, 43))
    assert np.abs(np.asarray(ours(picture), float) - theirs(picture)).max() < 1e-12


@pytest.mark.parametrize("shape", [(31, 43), (1, 9), (7, 1)])
def test_bilinear_is_scipys(shape: tuple[int, int], rng: np.random.Generator) -> None:
    """Values between samples, and beyond the border, are those of map_coordinates."""
    picture = rng.normal(size=shape)
    places = rng.uniform(-3, 46, (2, 7, 50))
    theirs = ndimage.map_coordinates(picture, places, order=1, mode="nearest")
    assert np.abs(filters.bilinear(picture, *places) - theirs).max() < 1e-12
    theirs = ndimage.map_coordinates(picture, places, order=1, mode="constant", cval=7.0)
    assert np.abs(filters.bilinear(picture, *places, beyond=7.0) - theirs).max() < 1e-12


@pytest.mark.parametrize("level", [-0.5, 0.3, 1.0, 9.0])
def test_connected_parts_are_scipys(level: float, rng: np.random.Generator) -> None:
    """The same places belong together, whatever the order of the parts."""
    mask = rng.normal(size=(40, 60)) > level
    mask[::4] |= level < 1  # long parts as well
    (ours, count), (theirs, other) = filters.connected(mask), ndimage.label(mask)
    assert count == other
    assert ours.max() == count
    assert len({*zip(ours.ravel().tolist(), theirs.ravel().tolist(), strict=True)}) == count + 1


def test_hull_is_that_of_the_pixels() -> None:
    """A region's hull is as large as scikit-image says, its bay and hole included, to 2 %."""
    y, x = np.mgrid[:80, :80]
    region = (x - 40) ** 2 + 1.3 * (y - 35) ** 2 < 900
    region[30:40, 30:] = False
    theirs = regionprops(region.astype(int))[0].area_convex
    assert filters.hull_area(*np.nonzero(region)) == pytest.approx(theirs, rel=0.02)


def test_normal_share_is_scipys() -> None:
    """The table of the normal distribution is right to fifteen digits, far out too."""
    at = np.linspace(-12, 12, 20_001)
    assert np.abs(normal_share(at) - special.ndtr(at)).max() < 1e-15


def test_tiles_have_the_frequency_that_they_were_made_with(rng: np.random.Generator) -> None:
    """Tiles of one frequency each are told to a twentieth of a cycle, up to sign (analytic)."""
    y, x = np.mgrid[:TILE, :TILE]
    size, angle, phase = rng.uniform(4, 12, 30), rng.uniform(-1.2, 1.2, 30), rng.uniform(0, 6, 30)
    f = np.stack([size * np.cos(angle), size * np.sin(angle)], axis=1)
    turns = (f[:, 0, None, None] * x + f[:, 1, None, None] * y) / TILE
    cycles, purity, amplitude = peaks(
        (0.3 * np.cos(2 * np.pi * turns + phase[:, None, None])).astype(np.float32)
    )
    off = np.minimum(*(np.abs(cycles - sign * f).max(axis=1) for sign in (1, -1)))
    assert off.max() < 0.05
    assert purity.min() > 0.8
    assert np.abs(amplitude - 0.3).max() < 0.1


@pytest.mark.parametrize("count", [1, 2, 9, 10])
def test_medians_and_quantiles_are_numpys(count: int, rng: np.random.Generator) -> None:
    """Of odd and even numbers, of all and along rows; of none it is no number."""
    values = rng.normal(size=(3, count))
    assert filters.median(values) == np.median(values)
    assert (filters.median(values, along=True) == np.median(values, axis=1)).all()
    assert filters.quantile(values, 0.15) == pytest.approx(np.quantile(values, 0.15), abs=1e-12)
    assert np.isnan(filters.median(values[:0]))
