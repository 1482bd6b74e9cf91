"""The frames' light at each pixel, solved for its mean and its fringes when the steps are given.

Each frame shows g_k (A + C cos d_k + S sin d_k): linear in A, C and S, so that three by three
equations are solved at every pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.field import Array

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]
TWO_PI = np.float32(2 * np.pi)
_CHUNK = 1 << 15


@dataclass(frozen=True)
class Stack:
    """The same pixels in all frames.

    Attributes
    ----------
    light : ndarray of float32, shape (K, P)
        Linear light of K frames.
    good : ndarray of float32, shape (K, P)
        1 where a frame's pixel is usable, 0 where it is clipped.
    columns : ndarray of float32, shape (Z, P)
        How a step may vary over the aperture: even, along u, along v, as rho^2.
    """

    light: Array
    good: Array
    columns: Array

    @property
    def frames(self) -> int:
        """Count of frames."""
        return int(self.light.shape[0])

    def __len__(self) -> int:
        """Count of pixels."""
        return int(self.light.shape[1])

    def part(self, which: slice | NDArray[np.bool_] | NDArray[np.int64]) -> Stack:
        """Some of the pixels."""
        return Stack(self.light[:, which], self.good[:, which], self.columns[:, which])


@dataclass(frozen=True)
class Steps:
    """Gains and phase steps of the frames.

    Attributes
    ----------
    log_gain : ndarray, shape (K,)
        Logarithm of each frame's exposure, zero on average.
    values : ndarray, shape (K, Z)
        Coefficients of the stack's columns [fringe].
    overtone : float
        Second harmonic of the fringes' profile, as a share of the first.
    """

    log_gain: Vector
    values: Matrix
    overtone: float = 0.0

    def phase(self, columns: Array) -> Array:
        """Phase of each frame at each pixel [rad], shape (K, P)."""
        z = self.values.shape[1]
        return np.asarray(TWO_PI * (self.values.astype(np.float32) @ columns[:z]))

    def widened(self, count: int) -> Steps:
        """The same steps on `count` columns; new ones start at zero."""
        values = np.zeros((len(self.values), count))
        known = min(count, self.values.shape[1])
        values[:, :known] = self.values[:, :known]
        return replace(self, values=values)

    def levelled(self) -> Steps:
        """Gains and steps with zero mean: the pixels absorb the means."""
        return replace(
            self,
            log_gain=self.log_gain - self.log_gain.mean(),
            values=self.values - self.values.mean(axis=0),
        )


@dataclass(frozen=True)
class PixelFit:
    """Least-squares fit of the frames at each pixel, for given steps.

    Attributes
    ----------
    mean, cos, sin : ndarray of float32, shape (P,)
        A, C and S.
    residual : ndarray of float32, shape (K, P)
        Light that is not explained; zero where a frame is not usable.
    scatter : ndarray of float32, shape (P,)
        Standard deviation of one frame's light about the model.
    conditioning : ndarray of float32, shape (P,)
        Least eigenvalue of the covariance of the steps on the unit circle: small where the
        steps of a pixel's usable frames lie too close together.
    """

    mean: Array
    cos: Array
    sin: Array
    residual: Array
    scatter: Array
    conditioning: Array

    @property
    def amplitude(self) -> Array:
        """Half of the fringes' range of light, shape (P,)."""
        return np.hypot(self.cos, self.sin)

    @property
    def order(self) -> Array:
        """Order at the mean step, modulo one; dark fringes at whole orders [fringe]."""
        return np.asarray(np.arctan2(self.sin, -self.cos) / TWO_PI)


def _design(stack: Stack, steps: Steps) -> Array:
    """Columns (3, K, P) that multiply A, C and S."""
    phase = steps.phase(stack.columns)
    gain = np.exp(steps.log_gain).astype(np.float32)[:, None] * stack.good
    design = np.empty((3, *phase.shape), np.float32)
    design[0] = gain
    np.multiply(gain, np.cos(phase), out=design[1])
    np.multiply(gain, np.sin(phase), out=design[2])
    return design


def _factor(design: Array) -> tuple[Array, Array]:
    """Cholesky factors (3, 3, P) of the pixels' normal matrices, and their conditioning (P,).

    Element by element: a library that factors one small matrix after the other takes longer.
    """
    one, cos, sin = design
    pairs = ((one, one), (one, cos), (one, sin), (cos, cos), (cos, sin), (sin, sin))
    sums = [np.einsum("kp,kp->p", a, b).astype(np.float64) for a, b in pairs]
    n00, n01, n02, n11, n12, n22 = sums
    count = np.maximum(n00, 1e-6)
    # spread of the steps on the circle, its mean taken out: 1/2 for even steps
    m1, m2 = n01 / count, n02 / count
    s11, s12, s22 = n11 / count - m1 * m1, n12 / count - m1 * m2, n22 / count - m2 * m2
    least = 0.5 * (s11 + s22) - np.hypot(0.5 * (s11 - s22), s12)
    ridge = 1e-6 * count + 1e-9
    low = np.zeros((3, 3, len(count)), np.float32)
    l00 = np.sqrt(n00 + ridge)
    l10, l20 = n01 / l00, n02 / l00
    l11 = np.sqrt(np.maximum(n11 + ridge - l10 * l10, 0.1 * ridge))
    l21 = (n12 - l20 * l10) / l11
    low[0, 0], low[1, 0], low[2, 0], low[1, 1], low[2, 1] = l00, l10, l20, l11, l21
    low[2, 2] = np.sqrt(np.maximum(n22 + ridge - l20 * l20 - l21 * l21, 0.1 * ridge))
    return low, least.astype(np.float32)


def _lower_solve(factor: Array, right: Array) -> Array:
    """Solve L y = right for 3 x 3 factors (3, 3, P) and right sides (3, ..., P)."""
    out = np.empty_like(right)
    np.divide(right[0], factor[0, 0], out=out[0])
    np.divide(right[1] - factor[1, 0] * out[0], factor[1, 1], out=out[1])
    rest = right[2] - factor[2, 0] * out[0]
    rest -= factor[2, 1] * out[1]
    np.divide(rest, factor[2, 2], out=out[2])
    return out


def _upper_solve(factor: Array, right: Array) -> Array:
    """Solve L^T x = right, as `_lower_solve`."""
    third = right[2] / factor[2, 2]
    second = (right[1] - factor[2, 1] * third) / factor[1, 1]
    first = (right[0] - factor[1, 0] * second - factor[2, 0] * third) / factor[0, 0]
    return np.stack([first, second, third])


def solve_chunk(stack: Stack, steps: Steps) -> tuple[PixelFit, Array, Array]:
    """Pixels by linear least squares; their columns (3, K, P), as they are and orthonormal."""
    design = _design(stack, steps)
    factor, conditioning = _factor(design)
    columns = _lower_solve(factor, design)
    light = stack.light * stack.good
    values = _upper_solve(factor, _projected(columns, light))
    if steps.overtone:
        for _ in range(2):
            tone = _second(values, design, steps)
            values = _upper_solve(factor, _projected(columns, light - tone))
        light = light - _second(values, design, steps)
    residual = light - _combined(design, values)
    free = np.maximum(stack.good.sum(axis=0) - 3, 0.5)
    scatter = np.sqrt(np.einsum("kp,kp->p", residual, residual) / free)
    fit = PixelFit(values[0], values[1], values[2], residual, scatter, conditioning)
    return fit, design, columns


def _projected(columns: Array, light: Array) -> Array:
    """Products of columns (3, K, P) and light (K, P), summed over the frames: (3, P)."""
    return np.stack([np.einsum("kp,kp->p", column, light) for column in columns])


def _combined(columns: Array, values: Array) -> Array:
    """Sum of columns (3, K, P) times values (3, P), shape (K, P)."""
    total = columns[0] * values[0]
    total += columns[1] * values[1]
    total += columns[2] * values[2]
    return np.asarray(total)


def _second(values: Array, design: Array, steps: Steps) -> Array:
    """Light of the second harmonic, shape (K, P): h M cos 2 (order + step)."""
    fringes = design[1] * values[1]
    fringes += design[2] * values[2]  # the gain times -M cos (order + step)
    amplitude = np.hypot(values[1], values[2]) + np.float32(1e-12)
    gain = np.exp(steps.log_gain).astype(np.float32)[:, None]
    # M cos 2x = 2 (M cos x)^2 / M - M
    tone = 2 * fringes * fringes / (gain * amplitude) - design[0] * amplitude
    return np.asarray(np.float32(steps.overtone) * tone)


def solve_pixels(stack: Stack, steps: Steps) -> PixelFit:
    """Solve for A, C and S of every pixel, the steps given."""
    parts = [
        solve_chunk(stack.part(slice(k, k + _CHUNK)), steps)[0]
        for k in range(0, len(stack), _CHUNK)
    ]
    return PixelFit(
        *(
            np.concatenate([getattr(part, name) for part in parts], axis=-1)
            for name in ("mean", "cos", "sin", "residual", "scatter", "conditioning")
        )
    )


def overtone(stack: Stack, steps: Steps) -> float:
    """Second harmonic of the fringes' profile, as a share of the first.

    Clipped highlights, tone curves and reflections beyond two beams cause it. The part of it
    that A, C and S absorb is projected out.
    """
    fit, design, columns = solve_chunk(stack, steps)
    values = np.stack([fit.mean, fit.cos, fit.sin])
    tone = _second(values, design, replace(steps, overtone=1.0))
    tone = tone - _combined(columns, _projected(columns, tone))
    robust = 1 / (1 + (fit.scatter / (3 * np.median(fit.scatter) + 1e-9)) ** 4)
    correction = float(
        (robust * tone * fit.residual).sum() / max(float((robust * tone**2).sum()), 1e-12)
    )
    return steps.overtone + correction
