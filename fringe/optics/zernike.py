"""Zernike terms over the unit disc: values, sums and gradients.

Terms here are unnormalised: R_n^|m|(rho) cos(m theta) for m >= 0 and sin(|m| theta) for m < 0,
with R = 1 at the rim. theta runs from +u toward +v. Among them may stand patches, local terms of
a negative first number, see `fringe.optics.patches`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput
from fringe.optics.patches import Term, is_patch, patch_slopes, patch_values, patches_sum

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Term",
    "radial_coefficients",
    "turn_matrix",
    "zernike",
    "zernike_gradients",
    "zernike_matrix",
    "zernike_rows",
    "zernike_sum",
    "zernike_sum_on_grid",
    "zernike_terms",
]
_LOW_DEGREE = 10  # of terms that keep their digits in the corners of a square round the disc
_CHUNK = 1 << 14  # places that are summed at once


@cache
def radial_coefficients(n: int, m: int) -> tuple[float, ...]:
    """Coefficients of R_n^|m| / rho^|m| in powers of rho^2, lowest first.

    Born & Wolf, Principles of Optics, section 9.2.1 (formula from memory).
    """
    m = abs(m)
    if n < m or (n - m) % 2:
        raise BadInput(f"there is no Zernike term n={n}, m={m}: n - |m| is even and not negative")
    half, low = (n + m) // 2, (n - m) // 2
    fact = math.factorial
    falling = [
        (-1) ** k * fact(n - k) / (fact(k) * fact(half - k) * fact(low - k)) for k in range(low + 1)
    ]
    return tuple(reversed(falling))


@cache
def _radial_slopes(n: int, m: int) -> tuple[float, ...]:
    """Coefficients of the derivative of `radial_coefficients`' sum by rho^2."""
    falling = tuple(k * c for k, c in enumerate(radial_coefficients(n, m)))
    return falling[1:] or (0.0,)


def zernike(n: int, m: int, u: ArrayLike, v: ArrayLike) -> NDArray[np.float64]:
    """One Zernike term, unnormalised.

    Parameters
    ----------
    n, m : int
        Radial degree and azimuthal frequency; m < 0 for sines.
    u, v : array_like, one shape
        Points on the aperture, 1 at its rim.

    Returns
    -------
    ndarray, shape of `u`
        Round terms, which are Legendre's P_(n/2) of 2 rho^2 - 1, keep their digits at any
        degree; the sums of powers of the others do to about degree 30.
    """
    radial_coefficients(n, m)  # says which term there is not
    return zernike_matrix(((n, m),), u, v)[..., 0]


def zernike_matrix(terms: Sequence[Term], u: ArrayLike, v: ArrayLike) -> NDArray[np.float64]:
    """Zernike terms side by side, shape (..., T) for `u` of shape (...), in double precision."""
    import numpy as np

    places = np.broadcast_arrays(*(np.asarray(part, np.float64) for part in (u, v)))
    matrix = np.empty((*places[0].shape, len(terms)))
    for column, values in enumerate(_each_term(terms, *places)):
        matrix[..., column] = values
    return matrix


def turn_matrix(terms: Sequence[Term], angle: float) -> NDArray[np.float64]:
    """Coefficients of a form turned by an angle, from those before, shape (T, T).

    cos m(t - a) = cos mt cos ma + sin mt sin ma, and likewise for the sine.

    Parameters
    ----------
    terms : sequence of (n, m), length T
        With the sine of each cosine, and the other way round.
    angle : float
        From +u toward +v [rad].
    """
    import numpy as np

    place = {term: i for i, term in enumerate(terms)}
    matrix = np.zeros((len(terms), len(terms)))
    for (n, m), i in place.items():
        if m == 0:
            matrix[i, i] = 1.0
            continue
        cos, sin = math.cos(abs(m) * angle), math.sin(abs(m) * angle)
        matrix[i, i] = cos
        other = place.get((n, -m))
        if other is not None:
            # the cosine term feeds the sine with + sin, the sine term the cosine with - sin
            matrix[other, i] = sin if m > 0 else -sin
    return matrix


def zernike_rows(
    terms: Sequence[Term], u: NDArray[np.float32], v: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Zernike terms one below the other, for many pixels, in single precision.

    Parameters
    ----------
    terms : sequence of (n, m), length T
    u, v : ndarray of float32, shape (K,)

    Returns
    -------
    ndarray of float32, shape (T, K)
        One row a term: rows are contiguous in memory, as products with weights want them.
    """
    import numpy as np

    rows = np.empty((len(terms), *u.shape), np.float32)
    for row, values in enumerate(_each_term(terms, u, v)):
        rows[row] = values
    return rows


def zernike_sum(
    terms: Sequence[Term], values: ArrayLike, u: ArrayLike, v: ArrayLike
) -> NDArray[np.float64]:
    """Sum of coefficients times terms at any places, shape of `u`; see `zernike_sum_on_grid`."""
    import numpy as np

    return np.asarray(zernike_matrix(terms, u, v) @ np.asarray(values, dtype=float), dtype=float)


def zernike_sum_on_grid(
    terms: Sequence[Term], values: ArrayLike, u: NDArray[Any], v: NDArray[Any]
) -> NDArray[np.float64]:
    """Sum of coefficients times terms over a grid.

    Parameters
    ----------
    terms : sequence of (n, m), length T
    values : array_like, shape (T,)
        Coefficients.
    u, v : ndarray, shape (M, N)
        Places that are linear in row and column, turned or sheared as they may be: pixels of a
        photograph seen as places on the disc.

    Returns
    -------
    ndarray, shape (M, N)
        Low terms make a polynomial in row and column, which two matrix products interpolate from
        its values at a few of each. Higher ones, which outgrow double precision in a grid's
        corners, are summed at each place.
    """
    import numpy as np

    coefficients = np.asarray(values, float)
    low = [k for k, (n, _) in enumerate(terms) if 0 <= n <= _LOW_DEGREE]
    high = [k for k, (n, _) in enumerate(terms) if n > _LOW_DEGREE]
    degree = max((terms[k][0] for k in low), default=0)
    (down, to_rows), (across, to_columns) = (_interpolation(count, degree) for count in u.shape)
    nodes = (part[np.ix_(down, across)] for part in (u, v))
    at_nodes = zernike_sum([terms[k] for k in low], coefficients[low], *nodes)
    total = np.asarray(to_rows @ at_nodes @ to_columns.T)
    local = [k for k, term in enumerate(terms) if is_patch(term)]
    if local:
        total += patches_sum([terms[k] for k in local], coefficients[local], u, v)
    if high:
        terms_high = [terms[k] for k in high]
        rows = max(1, _CHUNK // u.shape[1])  # what is added up stays in the processor's cache
        for start in range(0, u.shape[0], rows):
            part = slice(start, start + rows)
            for k, one in zip(high, _each_term(terms_high, u[part], v[part]), strict=True):
                total[part] += coefficients[k] * one
    return total


def zernike_sum_on_rays(
    terms: Sequence[Term], values: ArrayLike, rho: ArrayLike, angle: ArrayLike
) -> NDArray[np.float64]:
    """Sum of coefficients times terms along rays from the middle.

    Parameters
    ----------
    terms : sequence of (n, m), length T
    values : array_like, shape (T,)
        Coefficients.
    rho : array_like, shape (R,)
    angle : array_like, shape (A,)
        From +u toward +v [rad].

    Returns
    -------
    ndarray, shape (A, R)
        One product of radial parts and turns, so that it costs little.
    """
    import numpy as np

    coefficients, radii, turn = (np.asarray(w, float) for w in (values, rho, angle))
    round_ = [k for k, term in enumerate(terms) if not is_patch(term)]
    radial_terms = [(terms[k][0], abs(terms[k][1])) for k in round_]
    total = np.zeros((turn.size, radii.size))
    if round_:
        radial = np.stack(list(_each_term(radial_terms, radii, np.zeros_like(radii))))
        turns = [
            np.cos(m * turn) if m >= 0 else np.sin(-m * turn) for _, m in (terms[k] for k in round_)
        ]
        total += (coefficients[round_, None] * np.stack(turns)).T @ radial
    local = [k for k, term in enumerate(terms) if is_patch(term)]
    if local:
        u, v = (radii * f(turn)[:, None] for f in (np.cos, np.sin))
        total += patches_sum([terms[k] for k in local], coefficients[local], u, v)
    return total


@lru_cache(8)
def _interpolation(count: int, degree: int) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Nodes among `count` samples, and the matrix from values at the nodes to all samples."""
    import numpy as np

    nodes = (1 - np.cos(np.linspace(0, np.pi, 2 * degree + 3))) / 2
    # `numpy.unique` would load what looks for masked arrays
    picked = np.flatnonzero(np.bincount(np.round(nodes * (count - 1)).astype(np.intp)))
    rows = np.stack(_legendre(degree, np.linspace(-1, 1, count))[: degree + 1], axis=-1)
    return picked, rows @ np.linalg.pinv(rows[picked])


def zernike_gradients(terms: Sequence[Term], u: ArrayLike, v: ArrayLike) -> NDArray[np.float64]:
    """Derivatives of Zernike terms along u and v, shape (2, ..., T) for `u` of shape (...)."""
    import numpy as np

    u, v = (np.asarray(part, dtype=float) for part in (u, v))
    rho2 = u * u + v * v
    # each polynomial's slope on every other one below it (NIST DLMF 18.9.19, from memory)
    most = _most_round(terms)
    below, of = np.arange(max(most, 1))[:, None], np.arange(most + 1)
    lower = np.where((below < of) & ((of - below) % 2 == 1), 2 * below + 1.0, 0.0)
    rounds = 4 * np.stack(_legendre(most, 2 * rho2 - 1)[: len(lower)], axis=-1) @ lower
    turns = _turns(terms, u, v)
    found = np.empty((2, *u.shape, len(terms)))
    for place, (n, m) in enumerate(terms):
        if n < 0:
            found[0, ..., place], found[1, ..., place] = patch_slopes((n, m), u, v)
            continue
        k = abs(m)
        if m == 0:
            found[0, ..., place] = rounds[..., n // 2] * u
            found[1, ..., place] = rounds[..., n // 2] * v
            continue
        radial = _power_sum(radial_coefficients(n, m), rho2)
        slope = 2 * _power_sum(_radial_slopes(n, m), rho2)
        # along v the derivative of (u + iv)^k is i times that along u
        (cos, sin), (cos_below, sin_below) = turns[k], turns[k - 1]
        turning = cos if m > 0 else sin
        along_u = k * (cos_below if m > 0 else sin_below)
        along_v = k * (-sin_below if m > 0 else cos_below)
        found[0, ..., place] = slope * u * turning + radial * along_u
        found[1, ..., place] = slope * v * turning + radial * along_v
    return found


def _each_term(terms: Sequence[Term], u: NDArray[Any], v: NDArray[Any]) -> Iterator[NDArray[Any]]:
    """Each term's values in turn, in the precision of the places.

    A sine and its cosine share their radial part.
    """
    rho2 = u * u + v * v
    rounds = _legendre(_most_round(terms), 2 * rho2 - 1)
    # rho^|m| exp(i |m| theta): no angle needed, smooth at the centre
    turns = _turns(terms, u, v)
    radials: dict[Term, NDArray[Any]] = {}
    twice = {(n, abs(m)) for n, m in terms if m > 0} & {(n, -m) for n, m in terms if m < 0}
    for n, m in terms:
        if n < 0:
            yield patch_values((n, m), u, v)
            continue
        coefficients = radial_coefficients(n, m)
        if m == 0:
            yield rounds[n // 2]
            continue
        key = (n, abs(m))
        # kept from the first of a pair to the second
        radial = radials.pop(key, None)
        if radial is None:
            radial = _power_sum(coefficients, rho2)
            if key in twice:
                radials[key] = radial
        yield radial * turns[abs(m)][0 if m > 0 else 1]


def _power_sum(coefficients: Sequence[float], x: NDArray[Any]) -> NDArray[Any]:
    """Sum of powers of `x`, lowest first, by Horner's rule in the precision of `x`."""
    import numpy as np

    total = np.full_like(x, coefficients[-1])
    for c in reversed(coefficients[:-1]):
        total *= x
        total += x.dtype.type(c)
    return total


def _legendre(most: int, x: NDArray[Any]) -> list[NDArray[Any]]:
    """Legendre polynomials P_0 .. P_most; R_2k^0(rho) is P_k(2 rho^2 - 1).

    By Bonnet's recurrence: sums of powers lose single precision at high degree.
    """
    import numpy as np

    found = [np.ones_like(x), x]
    for k in range(1, most):
        following = (2 * k + 1) * x
        following *= found[-1]
        following -= k * found[-2]
        following /= x.dtype.type(k + 1)
        found.append(following)
    return found


def _most_round(terms: Sequence[Term]) -> int:
    """Highest degree of Legendre's polynomials that round terms are."""
    return max((n // 2 for n, m in terms if m == 0), default=0)


def _turns(
    terms: Sequence[Term], u: NDArray[Any], v: NDArray[Any]
) -> list[tuple[NDArray[Any], NDArray[Any]]]:
    """Real and imaginary parts of (u + iv)^k from k = 0 to the greatest |m| of some terms."""
    import numpy as np

    turns = [(np.ones_like(u), np.zeros_like(u))]
    for _ in range(max((abs(m) for n, m in terms if n >= 0), default=0)):
        real, imag = turns[-1]
        turns.append((real * u - imag * v, real * v + imag * u))
    return turns


def zernike_terms(max_n: int) -> tuple[Term, ...]:
    """All terms (n, m) up to degree `max_n`, by n and then m."""
    return tuple((n, m) for n in range(max_n + 1) for m in range(-n, n + 1, 2))
