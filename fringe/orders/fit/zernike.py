"""Zernike terms over many pixels at once, in single precision."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fringe.optics.form import Term, radial_coefficients
from fringe.orders.fit.field import Array


def basis(terms: Sequence[Term], u: Array, v: Array) -> Array:
    """Zernike terms, unnormalised, for flat arrays of points.

    Parameters
    ----------
    terms : sequence of (n, m)
    u, v : ndarray of float32, shape (K,)

    Returns
    -------
    ndarray of float32, shape (T, K)
        One row a term: rows are contiguous, as products with weights want them.
    """
    rho2 = u * u + v * v
    out = np.empty((len(terms), u.size), np.float32)
    turns = _turns(max((abs(m) for _, m in terms), default=0), u, v)
    round_terms = _legendre(max((n for n, m in terms if m == 0), default=0) // 2, 2 * rho2 - 1)
    for row, (n, m) in enumerate(terms):
        if m == 0:
            out[row] = round_terms[n // 2]
            continue
        coefficients = radial_coefficients(n, m)
        radial = np.full_like(rho2, coefficients[-1])
        for c in reversed(coefficients[:-1]):
            radial *= rho2
            radial += np.float32(c)
        radial *= turns[abs(m)][0 if m > 0 else 1]
        out[row] = radial
    return out


def _legendre(most: int, x: Array) -> list[Array]:
    """Legendre polynomials P_0 .. P_most; R_2k^0(rho) is P_k(2 rho^2 - 1).

    By Bonnet's recurrence: sums of powers lose single precision at high degree.
    """
    polynomials = [np.ones_like(x), x]
    for k in range(1, most):
        polynomials.append(
            ((2 * k + 1) * x * polynomials[-1] - k * polynomials[-2]) / np.float32(k + 1)
        )
    return polynomials


def _turns(most: int, u: Array, v: Array) -> list[tuple[Array, Array]]:
    """Real and imaginary parts of (u + iv)^m for m = 0 .. most."""
    turns = [(np.ones_like(u), np.zeros_like(u))]
    for _ in range(most):
        real, imag = turns[-1]
        turns.append((real * u - imag * v, real * v + imag * u))
    return turns
