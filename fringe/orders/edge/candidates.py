"""Rough circles that may bound the fringes: from agreeing frequencies, and from long edges."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.ellipse_fit import fit_ellipse
from fringe.orders.edge.outlines import are_apart, long_circles
from fringe.orders.fit.field import Array, cut_field
from fringe.orders.fit.scale import enlarged, thumbnail
from fringe.orders.fit.start import Quadratic, agreeing, quadratic_start
from fringe.orders.fit.tiles import TILE, Tiles, pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.filters import (
    connected,
    dilated,
    eroded,
    gaussian,
    hull_area,
    median,
    median_of_nine,
    median_square,
    quantile,
)
from fringe.photo.load import Photo

_CELLS = 48
_OTSU_BINS = 128
_LEAST_SIDE = 32  # of a reduced picture in which an outline is sought [px]
# Share of a circle's rim in the frame, below which its edge is out of view; agreement of the whole
# frame's tiles, from which fringes then fill the frame; share of the frame in a textured region
# that has no outline in it: the largest disc has 0.79 of a square frame
_LEAST_FRAMED, _FILLING, _MOST_TEXTURED = 0.3, 0.5, 0.9
# cells across the frame's sides, and the least share of them, on each side, in which fringes of one
# order are seen where they fill the frame; on all sides together half
_AT_SIDE, _REACHING = 2, 0.25
_CONTRADICTED = 0.15  # share of the cells that may contradict that order as much as agree


def rough_circles(photo: Photo, most: int = 8) -> Iterator[Edge]:
    """Circles that may be the work's edge, likeliest first, each within some 15 %.

    Parameters
    ----------
    photo : Photo
    most : int
        Number of circles at most; each is sought only when it is requested.
    """
    circles: list[Edge] = []
    for circle in islice(_any_circles(photo), 4 * most):
        if all(are_apart(circle, other) for other in circles):
            circles.append(circle)
            yield circle
        if len(circles) == most:
            break


def bright_discs(photo: Photo) -> Iterator[Edge]:
    """Outlines of what is brighter than its surroundings, an inner one first."""
    scale = min(
        round(max(photo.width, photo.height) / 400), min(photo.width, photo.height) // _LEAST_SIDE
    )
    scale = max(1, scale)
    light = median_of_nine(thumbnail(photo.light, scale))
    bright = _bright_ellipse(light, scale)
    if bright is not None:
        # a plate larger than the work is found first: search again within it
        brighter = _bright_ellipse(light, scale, bright)
        if brighter is not None and brighter.a < 0.96 * bright.a:
            yield brighter
        yield bright


def _any_circles(photo: Photo) -> Iterator[Edge]:
    yield from bright_discs(photo)
    frame = whole_frame(photo)
    scale = max(1, int(max(photo.width, photo.height) / 2000))
    tiles = pyramid_tiles(cut_field(photo, frame, scale))
    start = quadratic_start(tiles, 3)
    if start is not None and start.count >= 12:
        votes = _votes(photo, frame, tiles, start)
        if _fills_frame(*votes):
            return
        region = _circle_around(photo, *votes)
        if region is not None and _framed(photo, region) > _LEAST_FRAMED:
            yield region
        elif region is not None and start.support > _FILLING:
            return  # circles within what fills the frame are its own rings
    yield from textured_ellipses(photo)
    yield from long_circles(photo)


def whole_frame(photo: Photo) -> Edge:
    """Circle through the corners of the photograph."""
    cx, cy = (photo.width - 1) / 2, (photo.height - 1) / 2
    return Edge(cx, cy, float(np.hypot(cx, cy)) + 1, float(np.hypot(cx, cy)) + 1)


def _fills_frame(yes: NDArray[np.float64], no: NDArray[np.float64]) -> bool:
    """Tell whether fringes of one order reach all four sides of the frame: none shows an edge.

    Nothing else may be there: smooth light, and cloth, agree with any order in parts.
    """
    if ((no >= yes) & (yes > 0)).mean() > _CONTRADICTED:
        return False
    sides = yes[:_AT_SIDE], yes[-_AT_SIDE:], yes[:, :_AT_SIDE], yes[:, -_AT_SIDE:]
    shares = [float((side > 0).mean()) for side in sides]
    return min(shares) > _REACHING and sum(shares) / len(shares) > _FILLING


def _framed(photo: Photo, circle: Edge) -> float:
    """Share of a circle's rim that lies in the frame."""
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    x, y = circle.pixels(np.cos(angle), np.sin(angle))
    return float(((x > 0) & (y > 0) & (x < photo.width - 1) & (y < photo.height - 1)).mean())


def fringed_circle(photo: Photo, frame: Edge, tiles: Tiles, start: Quadratic) -> Edge | None:
    """Circle around the tiles that agree with one model, and few others."""
    return _circle_around(photo, *_votes(photo, frame, tiles, start))


def _circle_around(photo: Photo, yes: NDArray[np.float64], no: NDArray[np.float64]) -> Edge | None:
    """Circle around the cells of the frame that tiles agree in, see :func:`_votes`."""
    fringed = np.where(yes > 0, np.where(yes > no, 1.0, -0.3), -1.0)
    return _best_disc(fringed, max(photo.width, photo.height) / _CELLS)


def _votes(
    photo: Photo, frame: Edge, tiles: Tiles, start: Quadratic
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tiles that agree with a model, and that do not, in each cell of the frame."""
    agree = agreeing(start, tiles)
    x, y = frame.pixels(tiles.u, tiles.v)
    size = max(photo.width, photo.height) / _CELLS
    shape = (int(photo.height / size) + 1, int(photo.width / size) + 1)
    yes = np.zeros(shape)
    # a tile of a coarser level stands for a larger place
    half = [float(4 * frame.a / sigma / TILE) for sigma in tiles.sigma]
    for k in np.flatnonzero(agree):
        r = max(half[k], size / 2)
        rows = slice(max(0, int((y[k] - r / 2) / size)), int((y[k] + r / 2) / size) + 1)
        columns = slice(max(0, int((x[k] - r / 2) / size)), int((x[k] + r / 2) / size) + 1)
        yes[rows, columns] += 1
    no = np.zeros(shape)
    for k in np.flatnonzero(~agree):
        no[int(y[k] / size), int(x[k] / size)] += 1
    return yes, no


def _best_disc(score: NDArray[np.float64], size: float) -> Edge | None:
    place = np.indices(score.shape).astype(np.float64) + 0.5
    cy, cx = place[0], place[1]
    positive = score > 0
    if positive.sum() < 6:
        return None
    best: tuple[float, float, float] | None = None
    best_total = 0.0
    middle_x, middle_y = float(median(cx[positive])), float(median(cy[positive]))
    reach = float(np.sqrt(positive.sum() / np.pi))
    step = max(reach / 3, 1.0)
    point = (middle_x, middle_y, reach)
    while step > 0.15:
        improved = False
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                for dr in (-1, 0, 1):
                    x, y, r = point[0] + dx * step, point[1] + dy * step, point[2] + dr * step
                    # without bounds the disc could grow to a half-plane without end
                    framed = 0 <= x <= score.shape[1] and 0 <= y <= score.shape[0]
                    if not (framed and 1.5 <= r <= max(score.shape)):
                        continue
                    away = np.hypot(cx - x, cy - y)
                    total = float((score * np.clip(r - away + 0.5, 0, 1)).sum())
                    if total > best_total + 1e-9:
                        best_total, best, improved = total, (x, y, r), True
        if best is not None:
            point = best
        if not improved:
            step /= 2
    if best is None:
        return None
    x, y, r = (value * size for value in best)
    return Edge(x, y, r, r)


def _bright_ellipse(light: Array, scale: int, within: Edge | None = None) -> Edge | None:
    """Ellipse around the light on a dark background, or None without clear contrast.

    From the middle of the bright pixels, the farthest bright one on each ray; where a dark
    fringe runs along the edge the ray ends short, and the robust fit passes it over.
    """
    inside = np.ones(light.shape, bool)
    if within is not None:
        y, x = np.indices(light.shape)
        u, v = within.unit((x + 0.5) * scale - 0.5, (y + 0.5) * scale - 0.5)
        inside = u * u + v * v < 0.97**2
        if not inside.any():  # in a strip that is a sample high
            return None
    # threshold on amplitudes, since the dark class is the narrow one
    top = quantile(light[inside], 0.995) or 1.0
    level = parting_level(np.clip(light[inside] / top, 0, 1) ** 0.5) ** 2 * top
    bright = dilated(eroded((light > level) & inside))
    if not 0.03 < bright.mean() < 0.85 * inside.mean():
        return None
    rows, columns = np.nonzero(bright)
    cy, cx = (rows.min() + rows.max()) / 2, (columns.min() + columns.max()) / 2
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    reach = np.arange(0, np.hypot(*light.shape))
    x = cx + np.cos(angle)[:, None] * reach
    y = cy + np.sin(angle)[:, None] * reach
    row, column = (np.rint(w).astype(np.intp) for w in (y, x))
    within_frame = (row >= 0) & (row < light.shape[0]) & (column >= 0) & (column < light.shape[1])
    on = np.zeros(row.shape, bool)
    on[within_frame] = bright[row[within_frame], column[within_frame]]
    any_on = on.any(axis=1)
    last = on.shape[1] - 1 - on[:, ::-1].argmax(axis=1)
    x, y = cx + np.cos(angle) * last, cy + np.sin(angle) * last
    framed = (x > 1) & (y > 1) & (x < light.shape[1] - 2) & (y < light.shape[0] - 2) & any_on
    if framed.sum() < 100:
        return None
    found = fit_ellipse(x[framed], y[framed], tolerance=0.01 * light.shape[0])
    if found is None or found[2] > 0.02 * found[0].a or found[1].mean() < 0.5:
        return None
    return enlarged(found[0], scale)


def parting_level(values: Array) -> float:
    """Threshold with least variance within both classes (Otsu, IEEE Trans. SMC 9 (1979) 62)."""
    lowest, greatest = float(values.min()), float(values.max())
    if lowest == greatest:
        return lowest
    counts, ends = np.histogram(values, _OTSU_BINS, (lowest, greatest))
    middle = 0.5 * (ends[1:] + ends[:-1])
    below, above = np.cumsum(counts), np.cumsum(counts[::-1])[::-1]  # never zero
    mean_below = np.cumsum(counts * middle) / below
    mean_above = np.cumsum((counts * middle)[::-1])[::-1] / above
    apart = (mean_below[:-1] - mean_above[1:]) ** 2
    return float(middle[np.argmax(below[:-1].astype(float) * above[1:] * apart)])


def textured_ellipses(photo: Photo) -> list[Edge]:
    """Ellipses around the textured regions of the picture, largest first.

    Fringes are textured, a plate larger than the work hardly is.
    """
    scale = max(1, round(max(photo.width, photo.height) / 300))
    light = gaussian(photo.light, 1.0, mode="symmetric")
    change = np.hypot(np.diff(light, axis=0)[:, :-1], np.diff(light, axis=1)[:-1])
    level = thumbnail(light[:-1, :-1], scale)
    share = thumbnail(change, scale) / (level + 0.1 * float(level.mean()) + 1e-9)
    share = np.log(median_square(share, 5) + 1e-6)
    textured = dilated(eroded(share > parting_level(share)))
    parts, count = connected(eroded(dilated(textured, 2), 2))
    found = []
    for number in range(1, count + 1):
        rows, columns = np.nonzero(parts == number)
        if rows.size < 0.005 * share.size:  # a hull is seldom four times as large as its part
            continue
        hull = hull_area(rows, columns)
        small, large = np.linalg.eigvalsh(np.cov(rows, columns))
        if hull < 0.02 * share.size or small < 0.7**2 * large:
            continue
        if hull > _MOST_TEXTURED * share.size:
            continue
        # ignore holes, where fringes are broad: the outline counts
        found.append(
            Edge(
                float(columns.min() + columns.max()) / 2,
                float(rows.min() + rows.max()) / 2,
                float(np.sqrt(hull / np.pi)),
                float(np.sqrt(hull / np.pi)),
            )
        )
    found.sort(key=lambda edge: -edge.a)
    return [enlarged(edge, scale) for edge in found[:3]]
