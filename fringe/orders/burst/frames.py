"""The frames of a burst inside and round the aperture, and their steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.view import cos_view
from fringe.orders.burst.checks import check_steps, is_even, too_alike, too_few_fringes
from fringe.orders.burst.pixels import Stack, Steps, overtone, solve_pixels
from fringe.orders.burst.steps import first_steps, frame_noise, improve
from fringe.orders.fit.field import Array, Field, cut_field
from fringe.orders.options import ReadOptions
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_MOST_RADIUS_PX = 800.0
_FIRST, _THINNED = 2500, 12_000  # pixels for the start and for the steps
_MOST_OVERTONE = 0.2  # of two beams and a few more; printed lines have far more


@dataclass(frozen=True)
class Burst:
    """All frames inside and round the aperture.

    `light` and `good` have shape (K, M, N), `u` and `v` (M, N); `first` is the first frame.
    """

    light: Array
    good: NDArray[np.bool_]
    u: Array
    v: Array
    first: Field
    edge: Edge
    piston: Array

    def stack(self, where: NDArray[np.bool_] | NDArray[np.int64]) -> Stack:
        """Pixels of the burst, by a mask (M, N) or by flat indices."""
        index = np.flatnonzero(where) if where.dtype == bool else where
        frames = len(self.light)
        u, v = self.u.ravel()[index], self.v.ravel()[index]
        columns = np.stack([self.piston.ravel()[index], u, v, u * u + v * v, u * u - v * v, u * v])
        return Stack(
            self.light.reshape(frames, -1)[:, index],
            self.good.reshape(frames, -1)[:, index].astype(np.float32),
            columns.astype(np.float32),
        )

    def inside(self, share: float) -> NDArray[np.bool_]:
        """Mask of the pixels within a share of the edge's radius, usable in most frames."""
        enough = self.good.sum(axis=0) >= max(4, 0.6 * len(self.good))
        return np.asarray((self.u**2 + self.v**2 < share**2) & enough)


@dataclass(frozen=True)
class Maps:
    """Pixel values over the field, each of shape (M, N) but for the last two."""

    mean: Array
    cos: Array
    sin: Array
    scatter: Array
    conditioning: Array
    first_phase: Array  # of the first frame's step [fringe]
    left: Array  # light that is not explained, frame by frame (K, P) of the pixels `where`
    where: NDArray[np.int64]  # flat indices of the pixels that are known

    @property
    def amplitude(self) -> Array:
        """Half of the fringes' range of light, shape (M, N)."""
        return np.hypot(self.cos, self.sin)


def cut_burst(photos: Sequence[Photo], edge: Edge, options: ReadOptions, room: float) -> Burst:
    """Cut frames out to `room` times the edge, at a reduced scale where it is large.

    Raises
    ------
    Refused
        If too little of the aperture lies in the frame.
    """
    wide = replace(edge, a=edge.a * room, b=edge.b * room)
    scale = max(1, int(math.sqrt(edge.a * edge.b) / _MOST_RADIUS_PX))
    fields = [cut_field(photo, wide, scale) for photo in photos]
    u, v = fields[0].u * np.float32(room), fields[0].v * np.float32(room)
    if not _frame_holds(u, v):
        raise Refused(f"{photos[0].name}: too little of the aperture lies in the frame")
    return Burst(
        np.stack([field.light for field in fields]),
        np.stack([field.weight > 0 for field in fields]),
        u,
        v,
        fields[0],
        edge,
        _piston_column(u, v, edge, options),
    )


def _frame_holds(u: Array, v: Array) -> bool:
    return int((u * u + v * v < 1).sum()) >= 2000


def _piston_column(u: Array, v: Array, edge: Edge, options: ReadOptions) -> Array:
    """What a piston looks like: even from afar, less toward the rim from a near camera."""
    if options.camera_distance_mm is None or options.diameter_mm is None:
        return np.ones_like(u)
    held = np.maximum(np.hypot(u, v), 1.0)
    seen = cos_view(
        u / held,
        v / held,
        options.diameter_mm / 2,
        options.camera_distance_mm,
        edge.cos_view,
        edge.angle_deg + 90,
    )
    return np.asarray(seen / seen.max(), np.float32)


def solve_steps(
    burst: Burst, name: str, rng: np.random.Generator, known: Steps | None = None
) -> Steps:
    """Gains and steps, with what the form changed by between frames; from those nearly known."""
    inside = burst.inside(0.98)
    where = np.flatnonzero(inside)
    if len(where) < 2000:
        raise Refused(f"{name}: too few usable pixels inside the edge; expose less")
    few = burst.stack(rng.choice(where, min(_FIRST, len(where)), replace=False))
    noise = frame_noise(burst.light, inside & burst.good.all(axis=0), rng)
    if float(np.median(few.light.std(axis=0))) < 1.5 * noise:
        raise too_alike(name)
    if all(is_even(frame, inside, noise) for frame in burst.light):
        raise too_few_fringes(name)
    steps = first_steps(few, noise, rng) if known is None else known
    many = burst.stack(rng.choice(where, min(_THINNED, len(where)), replace=False))
    if known is None:
        steps, _ = improve(many, steps, 15)
    steps, _ = improve(many, steps.widened(len(many.columns)), 12)
    for _ in range(2):
        tone = float(np.clip(overtone(many, steps), -_MOST_OVERTONE, _MOST_OVERTONE))
        steps, _ = improve(many, replace(steps, overtone=tone), 4)
    fit = solve_pixels(many, steps)
    check_steps(many, steps, fit, noise, name)
    return steps


def maps_of(burst: Burst, steps: Steps) -> Maps:
    """Mean light, fringes and scatter of every pixel, for given steps."""
    where = np.flatnonzero(burst.good.sum(axis=0) >= 3)
    stack = burst.stack(where)
    fit = solve_pixels(stack, steps)
    first = steps.values[0].astype(np.float32) @ stack.columns

    def spread(values: Array) -> Array:
        out = np.zeros(burst.u.shape, np.float32)
        out.ravel()[where] = values
        return out

    parts = (fit.mean, fit.cos, fit.sin, fit.scatter, fit.conditioning, first)
    mean, cos, sin, scatter, conditioning, phase = (spread(x) for x in parts)
    return Maps(mean, cos, sin, scatter, conditioning, phase, fit.residual, where)
