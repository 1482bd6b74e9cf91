"""The picture held against the model's picture, patch by patch over the face.

In each patch the picture is fitted with the model's fringes and with the same fringes moved by a
quarter: how strong they are there, and by how much they are out of step. Nothing is left out, for
what the fit has taken for dirt may be form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.field import Array, Field
from fringe.orders.fit.pixels import pixels_of
from fringe.orders.fit.refine import Fit, between_fringes
from fringe.photo.filters import bilinear, connected, gaussian, median

Vector = NDArray[np.float64]
SIDE = 36  # patches across the disc
_WIDTH = 1.0  # standard deviation of a patch's weights, in steps from patch to patch
_MOST_PIXELS = 20_000
_REACH = 0.97  # share of the radius, beyond which patches have too little of the face
_LEAST_FILLED = 0.3  # pixels of a patch, as a share of the usual number
_ALIKE = 0.5  # correlation, as a share of the usual one, below which fringes are others
_LEAST_VARIED = 0.15  # variance of the model's fringes in a patch, as a share of a whole fringe's


@dataclass(frozen=True)
class Patches:
    """What patches of a picture show of the model's fringes; rows along v, columns along u.

    Attributes
    ----------
    correlation : ndarray, shape (SIDE, SIDE)
        Of the picture's fringes with the model's: 1 where they are the same.
    phasor : ndarray of complex, shape (SIDE, SIDE)
        The picture's fringes over the model's: 1 where they are the same, turned by 2 pi times
        the part of a fringe by which the picture is ahead.
    known : ndarray of bool, shape (SIDE, SIDE)
        Where enough pixels, and enough of a fringe, lie in the patch.
    fringed : float
        Share of the patches with enough pixels that have enough of a fringe.
    """

    correlation: Vector
    phasor: NDArray[np.complex128]
    known: NDArray[np.bool_]
    fringed: float = 1.0

    @property
    def usual(self) -> float:
        """Correlation of the patches that are known, their median; one where none is."""
        return float(median(self.correlation[self.known])) if self.known.any() else 1.0

    @property
    def unexplained(self) -> float:
        """Largest connected part of the face whose fringes are not the model's, as a share of it.

        Dust and fingers count as well as zones that the terms do not follow, lines that a wrong
        order jumps over, dislocations and the cuts of spirals.
        """
        parts, count = connected(self.known & (self.correlation < _ALIKE * self.usual))
        if not count:
            return 0.0
        return float(np.bincount(parts.ravel())[1:].max()) / (np.pi / 4 * SIDE**2)

    def at(self, u: Vector, v: Vector) -> tuple[NDArray[np.complex128], NDArray[np.bool_]]:
        """Phasor between the patches' middles, and whether the nearest patch is known."""
        places = [(w + 1) / 2 * SIDE - 0.5 for w in (v, u)]
        real, imag = (bilinear(part, *places) for part in (self.phasor.real, self.phasor.imag))
        row, column = (np.clip(np.rint(w).astype(int), 0, SIDE - 1) for w in places)
        return real + 1j * imag, self.known[row, column]


def patches_of(field: Field, fit: Fit) -> Patches:
    """Hold the picture of a field against that of a fit."""
    pixels = pixels_of(field, _MOST_PIXELS)
    light, contrast = between_fringes(fit, pixels.u, pixels.v)
    order = fit.model.order(pixels.u, pixels.v)
    return patches(pixels.light / light - 1, contrast, order, pixels.u, pixels.v)


def patches(signal: Array, contrast: Array, order: Array, u: Array, v: Array) -> Patches:
    """Hold light against fringes.

    Parameters
    ----------
    signal : ndarray, shape (K,)
        Light of the picture's pixels, over the mean light about them, less one.
    contrast, order : ndarray, shape (K,)
        Of the model's fringes at these pixels; light is least at whole orders.
    u, v : ndarray, shape (K,)
        Places on the unit disc.
    """
    phase = np.float32(2 * np.pi) * (order - np.round(order))
    fringes, quarter = -contrast * np.cos(phase), contrast * np.sin(phase)
    count, (s, f, q) = _means(u, v, (signal, fringes, quarter))
    _, (ss, ff, qq) = _means(u, v, (signal**2, fringes**2, quarter**2))
    _, (sf, sq, fq) = _means(u, v, (signal * fringes, signal * quarter, fringes * quarter))
    # variances and covariances in each patch, so that light that its mean misses does not count
    ff, qq, fq, sf, sq = ff - f * f, qq - q * q, fq - f * q, sf - s * f, sq - s * q
    whole = float(median(contrast)) ** 2 / 2
    determinant = np.maximum(ff * qq - fq**2, 1e-3 * whole**2)
    phasor = ((sf * qq - sq * fq) + 1j * (sq * ff - sf * fq)) / determinant
    row, column = (np.indices((SIDE, SIDE)) + 0.5) / SIDE * 2 - 1
    inside = np.hypot(row, column) < _REACH
    filled = inside & (count > _LEAST_FILLED * median(count[inside]))
    known = filled & (ff > _LEAST_VARIED * whole)
    correlation = sf / np.sqrt(np.maximum((ss - s * s) * ff, 1e-12))
    fringed = float(known.sum()) / max(int(filled.sum()), 1)
    return Patches(correlation, np.asarray(phasor, complex), known, fringed)


def _means(u: Array, v: Array, values: Sequence[Array]) -> tuple[Vector, list[Vector]]:
    """Number of pixels in each patch, and their mean values."""
    column, row = (np.clip(((w + 1) / 2 * SIDE).astype(int), 0, SIDE - 1) for w in (u, v))
    cell = row * SIDE + column

    def sums(weights: Array | None) -> Vector:
        one = np.bincount(cell, weights, SIDE * SIDE).reshape(SIDE, SIDE).astype(float)
        return np.asarray(gaussian(one, _WIDTH, truncate=2))

    count = sums(None)
    return count, [sums(one) / np.maximum(count, 1e-6) for one in values]
