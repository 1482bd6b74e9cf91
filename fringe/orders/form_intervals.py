"""Figures of a fitted form with their uncertainty: irregularity, its symmetric part, rms.

Peak to valley and root mean square are not linear in the form, and noise only adds to them: those
of a perfect sphere that is fitted with noise are never zero. What noise alone would show is told
by forms drawn from the covariance of the fit; true form and noise add in quadrature, exactly for
the root mean square and for astigmatism (the distribution of Rice), nearly for peaks to valleys:
seen^2 = true^2 + noise^2. The value is freed of what the fit's own noise adds. What else may err
(light, view, edge) is one error in all of a picture: it does not add on the average, but it may
be all that is seen, so the lower end of the interval is freed of it too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import FormQuantities, disc_grid
from fringe.optics.local_terms import is_local
from fringe.optics.patches import is_patch
from fringe.optics.zernike import Term, zernike_matrix
from fringe.orders.draws import Draws
from fringe.quantity import half_width

Array = NDArray[np.float64]
_DRAWS, _AT_ONCE = 300, 50
_RADII, _ANGLES = 24, 64
_FINER = 2  # times as many of each, where zones are narrow or bumps local
# figures of a form, by the names that readings have for them
FIGURES = ("irregularity", "symmetric_irregularity", "rms_irregularity", "astigmatism")


@dataclass(frozen=True)
class FormIntervals:
    """Figures of a form, freed of the bias of noise, with half-widths of 95 % intervals [fringe].

    Attributes
    ----------
    irregularity, symmetric, rms, astigmatism : float
        Peak to valley of the irregularity (B), of its symmetric part (C), its root mean square,
        and astigmatism peak to valley.
    irregularity_u95, symmetric_u95, rms_u95, astigmatism_u95 : float
        Half-widths of their 95 % intervals. Near zero the interval reaches down to zero: value
        and half-width together are an upper limit.
    """

    irregularity: float
    symmetric: float
    rms: float
    astigmatism: float
    irregularity_u95: float
    symmetric_u95: float
    rms_u95: float
    astigmatism_u95: float


def form_intervals(
    terms: Sequence[Term],
    values: Array,
    covariance: Array,
    form: FormQuantities,
    noise_covariance: Array | None = None,
) -> FormIntervals:
    """Free the figures of a fitted form of the bias of noise, and give their uncertainty.

    Parameters
    ----------
    terms : sequence of (n, m), length T
        Zernike indices.
    values : ndarray, shape (T,)
        Fitted coefficients [fringe].
    covariance : ndarray, shape (T, T)
        Of the coefficients, with every doubt in it [fringe^2].
    form : FormQuantities
        Of the fitted coefficients.
    noise_covariance : ndarray, shape (T, T), optional
        The part of the covariance that is the fit's own noise; all of it otherwise.

    Returns
    -------
    FormIntervals
    """
    terms = tuple(terms)
    errors = _draws(covariance)
    spread = _figures(terms, values[:, None] + errors).std(axis=1)
    doubt = np.sqrt((_figures(terms, errors) ** 2).mean(axis=1))
    noise = doubt
    if noise_covariance is not None:
        noise = np.sqrt((_figures(terms, _draws(noise_covariance)) ** 2).mean(axis=1))
    seen = np.array(
        [
            form.irregularity_pv,
            form.symmetric_irregularity_pv,
            form.rms_irregularity,
            form.astigmatism_pv,
        ]
    )
    u95 = np.array([half_width(float(one)) for one in spread])
    # who sees less than noise alone would show knows no more than one who sees just that
    low = _freed(np.maximum(seen, doubt) - u95, doubt)
    high = _freed(np.maximum(seen, noise) + u95, noise)
    value = _freed(seen, noise)
    widths = np.maximum(value - low, high - value)
    return FormIntervals(*(float(one) for one in (*value, *widths)))


def with_local_doubt(intervals: FormIntervals, height: float, share: float) -> FormIntervals:
    """Intervals that allow for a local form of which the fit knows nothing.

    Parameters
    ----------
    intervals : FormIntervals
    height : float
        Half-width of its height's 95 % interval [fringe].
    share : float
        Of the aperture that it takes.
    """
    return replace(
        intervals,
        irregularity_u95=math.hypot(intervals.irregularity_u95, height),
        rms_u95=math.hypot(intervals.rms_u95, height * math.sqrt(share)),
    )


def shares_of(
    terms: Sequence[Term], values: Array, covariance: Array, part: Array
) -> dict[str, float]:
    """Share of the variances of a form's figures that a part of the covariance makes.

    Parameters
    ----------
    terms, values, covariance
        As for :func:`form_intervals`.
    part : ndarray, shape (T, T)
        The part of the covariance [fringe^2].

    Returns
    -------
    dict of str to float
        By the names of `FIGURES`, 0 to 1.
    """
    terms = tuple(terms)
    of_all, of_part = (
        _figures(terms, values[:, None] + _draws(one)).var(axis=1) for one in (covariance, part)
    )
    shares = np.clip(of_part / np.maximum(of_all, np.finfo(float).tiny), 0.0, 1.0)
    return {name: float(one) for name, one in zip(FIGURES, shares, strict=True)}


def _freed(seen: Array, noise: Array) -> Array:
    """True figures, from those that are seen with noise added in quadrature."""
    return np.asarray(np.sqrt(np.maximum(np.maximum(seen, 0.0) ** 2 - noise**2, 0.0)))


def _draws(covariance: Array) -> Array:
    """Errors drawn from a covariance, shape (T, draws); the same for the same covariance."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    half = Draws(1).normal(len(covariance), _DRAWS // 2)
    # each draw with its opposite: the mean of the draws is the fitted form
    return np.asarray(root @ np.concatenate([half, -half], axis=1))


def _figures(terms: tuple[Term, ...], values: Array) -> Array:
    """B, C, rms and astigmatism of some forms, shape (4, N) for values of shape (T, N)."""
    parts = range(0, values.shape[1], _AT_ONCE)
    found = [_figures_of(terms, values[:, one : one + _AT_ONCE]) for one in parts]
    return np.concatenate(found, axis=1)


def _figures_of(terms: tuple[Term, ...], values: Array) -> Array:
    """The same of so few forms that their heights stay in the processor's own memory."""
    rows, symmetric, mean, square = _grid(terms)
    height, rounds = rows @ values, symmetric @ values
    rms = np.sqrt(np.maximum((square @ values * values).sum(axis=0) - (mean @ values) ** 2, 0.0))
    twisted = [place for place, (n, m) in enumerate(terms) if n == 2 and m != 0]
    # peak to valley over the rim of a cos 2t + b sin 2t
    astigmatism = 2 * np.sqrt((values[twisted] ** 2).sum(axis=0))
    return np.stack([np.ptp(height, axis=0), np.ptp(rounds, axis=0), rms, astigmatism])


@lru_cache(8)
def _grid(terms: tuple[Term, ...]) -> tuple[Array, Array, Array, Array]:
    """What makes figures of coefficients.

    Rows of the irregularity's terms over the disc and of its symmetric ones along a radius, and
    their means and mean products over the disc.
    """
    finer = _FINER if any(map(is_local, terms)) else 1
    u, v, weight = disc_grid(finer * _RADII, finer * _ANGLES)
    rows = zernike_matrix(terms, u, v).reshape(-1, len(terms))
    irregular = np.array([n < 0 or n > 2 or (n == 2 and m != 0) for n, m in terms])
    spokes = rows.reshape(*u.shape, len(terms))
    rounds = spokes[:, 0] * np.array([n > 2 and m == 0 for n, m in terms])
    patches = [k for k, term in enumerate(terms) if is_patch(term)]
    rounds[:, patches] = spokes[:, :, patches].mean(axis=1)
    rows *= irregular
    weighted = rows * (weight / weight.sum()).ravel()[:, None]
    return rows, rounds, weighted.sum(axis=0), rows.T @ weighted
