"""Whether the lines inside the edge go on beyond it, as those of cloth and water do.

Fringes of contact end where one of the two pieces ends. Beyond may lie a larger plate, as bright
as the work, but it shows no fringes of the contact. Small squares along the outside of the edge
are held against squares along its inside: how bright they are, how much their light varies, and
how much of that is a wave of the frequency that the fringes have at the rim.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.orders.fit.field import Array, block_sum
from fringe.orders.fit.model import OrderModel
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
_TURNS = 48  # places along the edge
_RIM = 0.9  # share of the radius, at which the fringes' frequency is taken
_SIDE = 12  # samples along a side of a square
_PERIODS, _LARGEST = 1.5, 0.4  # side of a square, in periods, and at most in radii
_CLEAR = 0.04  # between the edge and a square, in radii
_FARTHEST = 2.5  # middle of a square, in radii
_STRETCHED = (0.85, 1.0, 1.15)  # the frequency beyond the rim, as shares of that at the rim
# Light beyond is like that inside, as a share; varies as much, as a share; and is a wave. Of real
# contacts on dark, bright and textured ground and under larger plates no square beyond is all
# three; of cloth and water 56 to 100 % are (`tests/benchmarks/nofringes.py`).
_DARKER, _BRIGHTER, _VARIES, _WAVE = 0.4, 2.5, 0.6, 0.6
_LEAST_SQUARES, _MANY = 8, 0.4  # squares that the frame leaves room for, and share that go on


@dataclass(frozen=True)
class _Squares:
    """Squares along the edge; rows of light are NaN where the frame leaves no room.

    Attributes
    ----------
    mean, spread, wave : ndarray, shape (K,)
        Mean light, standard deviation about a plane as a share of it, and the share of that
        variance in a wave.
    """

    mean: Vector
    spread: Vector
    wave: Vector

    def go_on(self, inside: _Squares) -> NDArray[np.bool_]:
        """Which of them show light that varies as inside, whatever its shape."""
        bright = self.mean / inside.mean
        varies = self.spread > _VARIES * inside.spread
        return np.asarray((bright > _DARKER) & (bright < _BRIGHTER) & varies)

    @property
    def framed(self) -> NDArray[np.bool_]:
        """Which of them lie in the frame."""
        return np.isfinite(self.mean)


def refuse_what_goes_on(photo: Photo, edge: Edge, model: OrderModel) -> None:
    """Refuse lines that go on beyond the edge, and do not end as far as the picture shows.

    A test region that is smaller than the work is read: there the fringes end farther out.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    model : OrderModel
        Of the fringes on the edge's unit disc.

    Raises
    ------
    Refused
        When they go on in most directions in which the frame shows what lies beyond.
    """
    if goes_on_beyond(photo, edge, model):
        raise Refused(
            f"{photo.name}: the lines go on beyond the edge as far as the picture shows, as those"
            " of cloth and water do; take the work's whole edge into view, or read rings without"
            " one with --edge none"
        )


def goes_on_beyond(photo: Photo, edge: Edge, model: OrderModel) -> bool:
    """Tell whether what looks like fringes goes on beyond the edge."""
    angle = np.linspace(0, 2 * math.pi, _TURNS, endpoint=False)
    ray = np.stack([np.cos(angle), np.sin(angle)])
    slope = model.frequency(*(_RIM * ray))
    cycles = float(median(np.hypot(*slope.T)))
    share = min(max(_PERIODS / max(cycles, 1e-6), _SIDE / edge.b), _LARGEST)
    half = share / 2 * np.abs(ray).sum(axis=0)
    near = 1 + _CLEAR + half
    beyond = _squares(photo, edge, near * ray, share, slope)
    if not _enough(beyond.wave > _WAVE, beyond.framed):  # as of most real contacts
        return False
    inside = _squares(photo, edge, (1 - _CLEAR - half) * ray, share)
    if not _enough(beyond.go_on(inside) & (beyond.wave > _WAVE), beyond.framed & inside.framed):
        return False
    far = _squares(photo, edge, np.maximum(near, _reach(photo, edge, ray, share)) * ray, share)
    return _enough(far.go_on(inside), far.framed & inside.framed)


def _enough(yes: NDArray[np.bool_], seen: NDArray[np.bool_]) -> bool:
    """Whether enough squares are seen, and many of them say yes."""
    return bool(seen.sum() >= _LEAST_SQUARES and yes[seen].mean() >= _MANY)


def _reach(photo: Photo, edge: Edge, ray: Vector, share: float) -> Vector:
    """How far from the middle of the edge a square still lies in the frame, in radii."""
    x, y = edge.pixels(*ray)
    room = share / 2 * edge.b + 2
    limits = []
    for step, middle, size in (
        (x - edge.cx, edge.cx, photo.width),
        (y - edge.cy, edge.cy, photo.height),
    ):
        ahead = np.where(step > 0, size - 1 - room - middle, middle - room)
        limits.append(ahead / np.maximum(np.abs(step), 1e-9))
    return np.asarray(np.minimum(np.minimum(*limits), _FARTHEST))


def _squares(
    photo: Photo, edge: Edge, middle: Vector, share: float, slope: Vector | None = None
) -> _Squares:
    """Measure squares about places on the unit disc; `share` is their side in radii."""
    scale = max(1, int(share * edge.b / _SIDE))
    reach = scale * _SIDE
    left, top = (np.rint(w - (reach - 1) / 2).astype(int) for w in edge.pixels(*middle))
    framed = (left >= 0) & (top >= 0) & (left + reach <= photo.width)
    framed &= top + reach <= photo.height
    mean, spread, wave = (np.full(framed.size, np.nan) for _ in range(3))
    if framed.any():
        blocks = np.stack(
            [
                _block(photo.light[y : y + reach, x : x + reach], scale)
                for x, y in zip(left[framed], top[framed], strict=True)
            ]
        )
        mean[framed] = np.maximum(blocks.mean(axis=1), 1e-6)
        plane = _plane()
        left_over = blocks - blocks @ plane @ plane.T
        spread[framed] = left_over.std(axis=1) / mean[framed]
        if slope is not None:
            wave[framed] = _in_wave(left_over, slope[framed] * reach / (2 * edge.b))
    return _Squares(mean, spread, wave)


def _block(light: Array, scale: int) -> Vector:
    """Mean light of each sample of a square, shape (S,)."""
    return np.asarray(block_sum(light, scale), float).ravel() / scale**2


def _grid() -> tuple[Vector, Vector]:
    """Places of a square's samples, in halves of its side."""
    x, y = np.meshgrid(*[np.linspace(-1, 1, _SIDE)] * 2)
    return x.ravel(), y.ravel()


@lru_cache(1)
def _plane() -> Vector:
    """Orthogonal columns of a plane over a square, shape (S, 3)."""
    x, y = _grid()
    return np.asarray(np.linalg.qr(np.stack([np.ones_like(x), x, y], axis=1))[0])


def _in_wave(light: Vector, cycles: Vector) -> Vector:
    """Share of the variance of squares (K, S) in a wave of some cycles a half side, (K, 2)."""
    x, y = _grid()
    plane = _plane()
    best: Vector = np.zeros(len(light))
    for stretch in _STRETCHED:
        phase = 2 * math.pi * stretch * (cycles @ np.stack([x, y]))
        wave = np.stack([np.cos(phase), np.sin(phase)], axis=2)
        wave -= plane @ (plane.T @ wave)
        normal = wave.transpose(0, 2, 1) @ wave + 1e-6 * np.eye(2)
        target = np.einsum("ksi,ks->ki", wave, light)
        explained = np.einsum(
            "ki,ki->k", target, np.linalg.solve(normal, target[..., None])[..., 0]
        )
        best = np.maximum(best, explained / np.maximum((light**2).sum(axis=1), 1e-12))
    return best
