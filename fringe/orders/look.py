"""A quick look at a frame of a live view: what a person should know before the shutter.

A reading takes a second or more. A look takes a tenth of that: it measures what a photograph
would suffer from, and no power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from fringe.orders.edge.candidates import bright_discs, fringed_circle, whole_frame
from fringe.orders.edge.ellipse_fit import fit_ellipse
from fringe.orders.edge.outlines import long_circles
from fringe.orders.edge.rays import cast
from fringe.orders.edge.sharpness import edge_softness
from fringe.orders.few import smooth_residual
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.scale import enlarged, reduced
from fringe.orders.fit.start import agreeing, quadratic_start
from fringe.orders.fit.tiles import pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median
from fringe.photo.load import Photo

Pattern = NDArray[np.float32]
_TILES, _TRIES, _CIRCLES = 700, 150, 2  # of a look; a reading takes more of each
_FEW_RADIUS_PX = 70.0  # to which the work is reduced where broad fringes are sought
_AROUND = np.linspace(0, 2 * np.pi, 360, endpoint=False)
_GRID = 48  # samples of a pattern across the work
_WITHIN = 0.9  # of the radius, in which a pattern is compared
_INNER = 0.97  # of the radius, in which clipping counts
# Share of the tiles, by weight, that follow one quadratic order, and their number: texture of a
# table has 0.15 to 0.4 of them, more than ten fringes a radius 0.6 to 1
_SUPPORT, _COUNT = 0.5, 40
_LEFT = 0.035  # of the light that no cubic follows, from which broad fringes show
_AMPLITUDE = 0.012  # of the light; noise and the blocks of a JPEG have less
# Steps of light about a rough outline: how far it may lie off and how well they agree, as shares of
# the radius; the share of the rays that must, and without anything bright
_AWAY, _NEAR = 0.09, 0.012
_RAYS, _MOST_RAYS, _CLEAR_RAYS = 180, 0.5, 0.7
_FINEST = 0.9  # quantile of the frequencies, beyond which lie errors


@dataclass(frozen=True)
class Look:
    """What a frame shows.

    Attributes
    ----------
    edge : Edge or None
        Rough outline of the work, or of the plate that it lies on; within some 3 % [px].
    beyond : float
        Share of that outline outside the frame; 0 without one.
    fringes : bool
        Whether fringes are visible.
    finest_px : float or None
        Spacing of the finest fringes, where there are many [px].
    clipped : float
        Share of the work where the strongest channel is at or next to its highest value.
    softness : float or None
        Width of the light's step across the edge, a standard deviation as a share of the radius;
        None where no step is clear.
    pattern : ndarray of float32, shape (P, P)
        Light on the work, less what a plane follows, its root mean square 1; zero without an edge.
    """

    edge: Edge | None
    beyond: float
    fringes: bool
    finest_px: float | None
    clipped: float
    softness: float | None
    pattern: Pattern


@dataclass(frozen=True)
class Movement:
    """What happened between two looks.

    Attributes
    ----------
    camera : float
        How far the edge moved, as a share of its radius.
    fringes : float
        How little the patterns have in common: 0 for the same, 1 for none, 2 for the opposite.
    """

    camera: float
    fringes: float


def look(photo: Photo) -> Look:
    """Look at a frame.

    Parameters
    ----------
    photo : Photo
        Some 1280 x 720 pixels; the time grows with their number.

    Returns
    -------
    Look
    """
    half = reduced(photo, 2)
    # an inner disc is a plate's work, or ends at a dark fringe: the outer tells what is in view
    discs = [enlarged(edge, 2) for edge in bright_discs(half)]
    outline = (_on_step(photo, discs[-1]) or discs[-1]) if discs else None
    finest_px = None if outline is None else _finest_px(photo, outline)
    if outline is not None and (finest_px is not None or _broad(photo, outline)):
        return _look(photo, outline, True, finest_px)
    region = _region(photo)
    finest_px = None if region is None else _finest_px(photo, region)
    if region is not None and finest_px is not None:
        return _look(photo, _on_step(photo, region), True, finest_px)
    for circle in [] if discs else long_circles(half, _CIRCLES):
        outline = outline or _on_step(photo, enlarged(circle, 2), _CLEAR_RAYS)
    return _look(photo, outline, outline is not None and _broad(photo, outline), None)


def movement(before: Look, now: Look) -> Movement | None:
    """Compare two looks; None where either shows no edge."""
    if before.edge is None or now.edge is None:
        return None
    one, other = before.edge, now.edge
    away = float(np.hypot(one.cx - other.cx, one.cy - other.cy) / other.a)
    return Movement(away, 1 - float((before.pattern * now.pattern).mean()))


def _on_step(photo: Photo, rough: Edge, most: float = _MOST_RAYS) -> Edge | None:
    """The ellipse through the steepest place of most rays about a rough outline, or None."""
    reach = np.linspace(1 - _AWAY, 1 + _AWAY, int(2 * _AWAY * rough.a) + 3)
    rays = cast(photo, rough, reach, _RAYS)
    slopes = np.abs(ndimage.uniform_filter1d(np.diff(rays.light, axis=1), 3, axis=1))
    usable = rays.usable.all(axis=1)
    if usable.sum() < _RAYS // 3:
        return None
    steepest = (reach[:-1] + reach[1:])[slopes.argmax(axis=1)] / 2
    x, y = rough.pixels(np.cos(rays.angle) * steepest, np.sin(rays.angle) * steepest)
    found = fit_ellipse(x[usable], y[usable], tolerance=_NEAR * rough.a)
    return found[0] if found is not None and found[1].mean() > most else None


def _region(photo: Photo) -> Edge | None:
    """A rough circle around tiles whose fringes follow one order."""
    frame = whole_frame(photo)
    tiles = pyramid_tiles(cut_field(photo, frame, 2), _TILES)
    start = quadratic_start(tiles, 3, _TRIES)
    return None if start is None else fringed_circle(photo, frame, tiles, start)


def _finest_px(photo: Photo, edge: Edge) -> float | None:
    """Spacing of the finest fringes inside an edge [px]; None where not many are visible."""
    tiles = pyramid_tiles(cut_field(photo, edge, 1), _TILES)
    start = quadratic_start(tiles, 3, _TRIES)
    if start is None or start.support < _SUPPORT or start.count < _COUNT:
        return None
    same = agreeing(start, tiles)
    if median(tiles.amplitude[same]) < _AMPLITUDE:
        return None
    return edge.a / float(np.quantile(np.hypot(*tiles.f[same].T), _FINEST))


def _broad(photo: Photo, edge: Edge) -> bool:
    """Tell whether light inside an edge varies as a few fringes make it."""
    scale = max(1, int(edge.a / _FEW_RADIUS_PX))
    small = Edge(
        (edge.cx + 0.5) / scale - 0.5,
        (edge.cy + 0.5) / scale - 0.5,
        edge.a / scale,
        edge.b / scale,
        edge.angle_deg,
    )
    left, _ = smooth_residual(reduced(photo, scale), small)
    return bool(np.isfinite(left) and left > _LEFT)


def _look(photo: Photo, edge: Edge | None, fringes: bool, finest_px: float | None) -> Look:
    softness = None if edge is None else edge_softness(photo, edge)
    return Look(
        edge,
        0.0 if edge is None else _beyond(photo, edge),
        fringes,
        finest_px,
        _clipped(photo, edge),
        None if edge is None or softness is None else softness / edge.a,
        np.zeros((_GRID, _GRID), np.float32) if edge is None else _pattern(photo, edge),
    )


def _beyond(photo: Photo, edge: Edge) -> float:
    x, y = edge.pixels(np.cos(_AROUND), np.sin(_AROUND))
    out = (x < 0) | (y < 0) | (x > photo.width - 1) | (y > photo.height - 1)
    return float(out.mean())


def _clipped(photo: Photo, edge: Edge | None) -> float:
    """Share of clipped pixels inside an edge, in any channel of a picture with colour."""
    thin = photo.thin_light()
    step, clipped = (1, photo.clipped) if thin is None else (photo.thin_step, thin[1])
    if edge is None:
        return float(clipped.mean())
    rows, columns = np.indices(clipped.shape)
    middle = (step - 1) / 2
    inside = np.hypot(*edge.unit(columns * step + middle, rows * step + middle)) < _INNER
    return float(clipped[inside].mean()) if inside.any() else 0.0


def _pattern(photo: Photo, edge: Edge) -> Pattern:
    places = np.linspace(-_WITHIN, _WITHIN, _GRID)
    u, v = np.meshgrid(places, places)
    inside = u * u + v * v < _WITHIN**2
    x, y = edge.pixels(u, v)
    step = max(1, int(edge.a / _GRID))
    light = ndimage.uniform_filter(photo.light, step)
    values = ndimage.map_coordinates(light, [y, x], order=1, mode="nearest")[inside]
    rows = np.stack([np.ones(values.size), u[inside], v[inside]])
    values = values - np.linalg.lstsq(rows.T, values, rcond=None)[0] @ rows
    out = np.zeros(u.shape, np.float32)
    out[inside] = values / max(float(values.std()), 1e-6)
    return out * np.float32(np.sqrt(out.size / inside.sum()))
