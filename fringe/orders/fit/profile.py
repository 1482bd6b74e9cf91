"""Profile of the fringes across an order: a cosine of two beams, or Airy's sharper one.

Between two faces of like reflectance R all reflections add up. The light is then
1 - V sum_k R^(k - 1) cos k phase over its mean, from Airy's sum (Born & Wolf, Principles of
Optics, section 7.6, from memory): harmonics fall as powers of one number, the sharpness, which
is R where light is one line and the camera sharp. It is negative of narrow bright fringes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
Vector = NDArray[np.float64]
_LEAST = 0.05  # of the denominator of the inverse: beyond the profile's own range


def wave(phase: Array, sharpness: float) -> tuple[Array, Array]:
    """Sum of r^(k - 1) cos k phase over k from 1, and less its derivative, each like `phase`.

    Cosine and sine where the sharpness r is zero.
    """
    cos, sin = np.cos(phase), np.sin(phase)
    if sharpness == 0:
        return cos, sin
    r = phase.dtype.type(sharpness)
    below = 1 - 2 * r * cos + r * r
    return np.asarray((cos - r) / below), np.asarray((1 - r * r) * sin / (below * below))


def cosine_of(height: NDArray[np.floating], sharpness: float) -> NDArray[np.floating]:
    """Cosine of the phase at which a profile has a height: inverse of :func:`wave`."""
    if sharpness == 0:
        return height
    r = height.dtype.type(sharpness)
    return np.asarray((height * (1 + r * r) + r) / np.maximum(1 + 2 * r * height, _LEAST))


def harmonic_sums(residual: Array, amplitude: Array, phase: Array, weight: Array) -> Vector:
    """Projections of a residual on the second and third harmonic, and the fringes' own size."""
    carried = weight * amplitude * residual
    sums = [float((carried * f(k * phase)).sum()) for k in (2, 3) for f in (np.cos, np.sin)]
    return np.array([*sums, float((weight * amplitude**2).sum())])


def overtone(sums: Vector) -> float:
    """Greater of the second and third harmonic, as a share of the first, from their sums."""
    power = max(sums[4], 1e-30) / 2
    return float(max(np.hypot(sums[0], sums[1]), np.hypot(sums[2], sums[3])) / power)


def sharpness_of(light: Array, phase: Array) -> float:
    """Sharpness from light over its local mean, and its phase, by harmonics up to the third.

    Parameters
    ----------
    light, phase : ndarray, shape (K,)
        All pixels count, for narrow fringes look like dirt to a cosine.
    """
    rows = np.stack([np.ones_like(phase), *(np.cos(k * phase) for k in (1, 2, 3))])
    rows = np.concatenate([rows, np.sin(phase)[None]]).astype(float)
    values = np.linalg.solve(rows @ rows.T, rows @ light)
    if values[1] >= 0:
        return 0.0
    return float(np.clip(values[2] / values[1], -1, 1))
