"""Sharpness of a photograph, from the light's steps across the work's edge.

A step of light is imaged with the lens's blur or wider: a chamfer, a shadow or a misplaced edge
widen it. So the measured width is an upper bound of the blur.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.rays import cast_fine
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Vector = NDArray[np.float64]

_REACH_PX = 14.0  # to either side of the edge, and more where the work is large
_REACH = 0.05  # of its radius
_NEAR = 0.3  # of the reach, within which the edge's own step lies
_STEP_PX = 0.5
_SECTORS = 48
_QUANTILE = 0.75  # of the widths over the edge
_CLEAR = 8.0  # standard errors by which a step must stand out
_FWHM = 2 * math.sqrt(2 * math.log(2))  # of a Gaussian, in standard deviations


def edge_softness(photo: Photo, edge: Edge) -> float | None:
    """Standard deviation of the blur across the edge [px], None where no step is clear.

    Parameters
    ----------
    photo : Photo
    edge : Edge

    Returns
    -------
    float or None
        Upper quartile over the sectors of the edge in which a step is clear.
    """
    radius = math.sqrt(edge.a * edge.b)
    reach = max(_REACH_PX, _REACH * radius)
    rays = cast_fine(photo, edge, 1 + np.arange(-reach, reach + _STEP_PX, _STEP_PX) / radius)
    widths = [
        width
        for light, usable in zip(
            np.split(rays.light, _SECTORS), np.split(rays.usable, _SECTORS), strict=True
        )
        if usable.all() and (width := _step_width(light.astype(float))) is not None
    ]
    return float(np.quantile(widths, _QUANTILE)) if len(widths) >= _SECTORS // 8 else None


def _step_width(light: Vector) -> float | None:
    """Width of the steepest step near the middle of rays, shape (A, R), as a deviation [px]."""
    slopes = np.diff(light, axis=1)
    slope = np.abs(slopes.mean(axis=0))
    away = np.abs(np.linspace(-1, 1, len(slope)))
    top = int(np.argmax(np.where(away < _NEAR, slope, 0)))
    error = float(slopes[:, top].std()) / math.sqrt(len(slopes))
    if slope[top] < _CLEAR * error:
        return None
    half = slope[top] / 2
    below = np.flatnonzero(slope < half)
    left, right = below[below < top], below[below > top]
    if not (len(left) and len(right)):
        return None
    return (_crossing(slope, right[0], -1, half) - _crossing(slope, left[-1], 1, half)) * (
        _STEP_PX / _FWHM
    )


def _crossing(slope: Vector, outside: int, inward: int, half: float) -> float:
    """Place between two samples where the slope is half of its greatest."""
    low, high = slope[outside], slope[outside + inward]
    return outside + inward * float((half - low) / (high - low))
