"""Shapes of a work's zones, turned edges and centre, as a fit with some Zernike terms shows them.

A zone is a Gaussian about a share of the radius, a turned edge a power of the distance from where
it begins or an exponential of the distance from the rim, a hole or a raised centre a Gaussian
about the middle (ours, no source: what polishing leaves is none of them exactly).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fringe.optics.gauss import gauss_legendre
from fringe.optics.zernike import Term, zernike_matrix

Array = NDArray[np.float64]
Kind = Literal["zone", "edge", "centre"]
STEP = 0.02  # between the places of shapes that are tried, a share of the radius
_NODES = 400  # of the quadrature over the disc: narrow features among them
_HALF_HEIGHT = 2 * math.sqrt(2 * math.log(2))  # full width of a Gaussian at half height, in sigmas


@dataclass(frozen=True)
class Shapes:
    """Shapes of all features that are tried, as they would be fitted.

    Attributes
    ----------
    kinds : tuple of str, length A
    places : ndarray, shape (A,)
        Crest of a zone, beginning of a turned edge, half width of a hole; share of the radius.
    widths : ndarray, shape (A,)
        Full width at half height of a zone or hole, width of a turned edge; share of the radius.
    projected : ndarray, shape (T, A)
        Zernike coefficients of each, of the terms that no sphere has.
    """

    kinds: tuple[Kind, ...]
    places: Array
    widths: Array
    projected: Array

    @cached_property
    def meeting(self) -> NDArray[np.bool_]:
        """Pairs that cannot stand side by side, shape (A, A): one of a kind, zones on each other.

        There may be several zones, but only one edge and one centre.
        """
        kinds = np.array(self.kinds)
        apart = np.abs(self.places[:, None] - self.places)
        # nearer than this there is no valley between them that would be seen
        near = apart < self.widths[:, None] + self.widths
        same = kinds[:, None] == kinds
        return np.asarray(same & (near | (kinds != "zone")))


@lru_cache(8)
def shapes(terms: tuple[Term, ...]) -> Shapes:
    """All shapes that are tried, for a fit with these terms."""
    rho, _ = nodes()
    made: list[tuple[Kind, float, float, Array]] = []
    for sigma in np.geomspace(0.025, 0.25, 11):
        for crest in np.arange(0.16, 0.93, STEP):
            # a ring whose outer slope lies beyond the rim is a turned edge, by all that is seen
            if crest + 1.2 * sigma <= 1.0 and crest - 1.2 * sigma >= 0.0:
                ring = np.exp(-(((rho - crest) / sigma) ** 2) / 2)
                made.append(("zone", crest, _HALF_HEIGHT * sigma, ring))
    for sigma in np.geomspace(0.03, 0.3, 12):
        hole = np.exp(-((rho / sigma) ** 2) / 2)
        made.append(("centre", _HALF_HEIGHT / 2 * sigma, _HALF_HEIGHT * sigma, hole))
    for start in np.arange(0.5, 0.985, STEP):
        for power in (1.5, 2.0, 2.5, 3.0):
            turned = (np.maximum(rho - start, 0.0) / (1 - start)) ** power
            made.append(("edge", start, 1 - start, turned))
    for decay in np.geomspace(0.012, 0.12, 8):
        made.append(("edge", 1 - 3 * decay, 3 * decay, np.exp((rho - 1) / decay)))
    # the least that is no sphere: broad, highest at 0.71 of the radius, lower in middle and rim
    made.append(("zone", math.sqrt(0.5), 0.5, 4 * rho**2 * (1 - rho**2)))
    kept = [k for k, (n, _) in enumerate((n, m) for n, m in terms if m == 0) if n > 2]
    kinds, places, widths, rows = zip(*made, strict=True)
    projected = (projection(terms) @ np.stack(rows, axis=1))[kept]
    return Shapes(tuple(kinds), np.array(places), np.array(widths), projected)


@lru_cache(1)
def nodes() -> tuple[Array, Array]:
    """Radii over the disc, and weights of area that sum to one."""
    places, gauss = gauss_legendre(_NODES)
    return np.sqrt((places + 1) / 2), gauss / 2


@lru_cache(8)
def projection(terms: tuple[Term, ...]) -> Array:
    """From heights at the nodes to coefficients of the symmetric terms, by least squares.

    R_n^0 are orthogonal over the disc, with mean square 1 / (n + 1) (Born & Wolf, Principles of
    Optics, section 9.2.1; from memory).
    """
    rho, weight = nodes()
    rounds = [term for term in terms if term[1] == 0]
    rows = zernike_matrix(rounds, rho, 0.0 * rho)
    degree = np.array([n + 1.0 for n, _ in rounds])
    return np.asarray((rows * weight[:, None]).T * degree[:, None])
