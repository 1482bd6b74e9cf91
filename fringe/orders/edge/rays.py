"""Light along rays from the middle of an edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.field import Array
from fringe.photo.ellipse import Edge
from fringe.photo.filters import bilinear
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
RAYS = 360


@dataclass(frozen=True)
class Rays:
    """Light along rays from a centre: rows are angles, columns radii.

    Attributes
    ----------
    angle : ndarray, shape (A,)
        On the unit disc [rad].
    radius : ndarray, shape (R,)
        As shares of the edge's.
    light : ndarray, shape (A, R)
    usable : ndarray of bool, shape (A, R)
    """

    angle: Vector
    radius: Vector
    light: Array
    usable: NDArray[np.bool_]

    def unit(self) -> tuple[Vector, Vector]:
        """Places of the points on the unit disc, each shape (A, R)."""
        return _unit(self.angle, self.radius)


def cast(photo: Photo, edge: Edge, reach: Vector, count: int = RAYS) -> Rays:
    """Light along rays at shares of an edge's radius, usable in the frame and unclipped."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    x, y = edge.pixels(*_unit(angle, reach))
    inside = (x >= 0) & (y >= 0) & (x <= photo.width - 1) & (y <= photo.height - 1)
    column = np.clip(np.rint(x).astype(int), 0, photo.width - 1)
    row = np.clip(np.rint(y).astype(int), 0, photo.height - 1)
    return Rays(angle, reach, _light(photo, x, y), inside & ~photo.clipped[row, column])


def cast_fine(photo: Photo, edge: Edge, reach: Vector) -> Rays:
    """Light along twice as many rays, usable a pixel within the frame, for steps of light."""
    angle = np.linspace(0, 2 * np.pi, 2 * RAYS, endpoint=False)
    x, y = edge.pixels(*_unit(angle, reach))
    usable = (x >= 1) & (y >= 1) & (x <= photo.width - 2) & (y <= photo.height - 2)
    return Rays(angle, reach, _light(photo, x, y), usable)


def _unit(angle: Vector, reach: Vector) -> tuple[Vector, Vector]:
    return np.cos(angle)[:, None] * reach, np.sin(angle)[:, None] * reach


def _light(photo: Photo, x: Vector, y: Vector) -> Array:
    return np.asarray(bilinear(photo.light, y, x), np.float32)
