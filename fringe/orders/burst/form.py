"""From the phase map of several frames to the form over the aperture, and to its edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from fringe.errors import Refused
from fringe.optics.zernike import Term, zernike_rows, zernike_terms
from fringe.orders.fit.field import Array
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.robust import cauchy_squared, robust_fit, robust_sigma
from fringe.photo.ellipse import Edge

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

LADDER: tuple[tuple[Term, ...], ...] = (
    zernike_terms(4),
    zernike_terms(6),
    # a turned edge is narrow and symmetric: it needs many terms, but only symmetric ones
    (*zernike_terms(6), *((n, 0) for n in range(8, 17, 2))),
    (*zernike_terms(8), *((n, 0) for n in range(10, 25, 2))),
)
_RIDGE = 1e-9  # share of the normal matrix's diagonal
_BLOCKS = 20  # across the disc; residuals count as independent from block to block
_ALIASED_PX = 0.6  # uncertainty of the edge where fringes alias with the colour filter
_CLUMP_PX = 9.0  # pixels with correlated residuals, by the colour filter and JPEG


@dataclass(frozen=True)
class PhaseMap:
    """Orders of a picture, modulo one.

    Attributes
    ----------
    order : ndarray of float32, shape (M, N)
        Order modulo one [fringe]; dark fringes at whole orders.
    weight : ndarray of float32, shape (M, N)
        Inverse variance to a common factor; zero where there is no order, off the aperture
        for instance.
    u, v : ndarray of float32, shape (M, N)
        Place on the unit disc.
    """

    order: Array
    weight: Array
    u: Array
    v: Array


@dataclass(frozen=True)
class FittedForm:
    """Form fitted to a phase map.

    Attributes
    ----------
    model : OrderModel
    covariance : ndarray, shape (T, T)
        Of its values [fringe^2], from sums of residuals over blocks.
    residual : float
        Robust standard deviation of the residual [fringe].
    used : float
        Share of the map's pixels that follow the fit.
    shift : float
        Change of the power when more terms are allowed [fringe].
    """

    model: OrderModel
    covariance: Matrix
    residual: float
    used: float
    shift: float


@dataclass(frozen=True)
class _Points:
    order: Array
    weight: Array
    rows: Array  # (T, P) of the longest rung
    block: NDArray[np.int64]


def fit_form(map_: PhaseMap, name: str) -> FittedForm:
    """Unwrap a map and fit Zernike terms, as many as it supports.

    Parameters
    ----------
    map_ : PhaseMap
    name : str
        For messages.

    Raises
    ------
    Refused
        If no smooth form fits the map.
    """
    all_terms = LADDER[-1]
    valid = map_.weight > 0
    u, v = map_.u[valid], map_.v[valid]
    column, row = (np.clip((x + 1) / 2 * _BLOCKS, 0, _BLOCKS - 1).astype(int) for x in (u, v))
    block = row * _BLOCKS + column
    points = _Points(map_.order[valid], map_.weight[valid], zernike_rows(all_terms, u, v), block)
    values = _unwrapped_start(map_, points)
    fits = []
    for terms in LADDER:
        values, residual, robust = _fit_modulo_one(points, terms, values)
        cost = float(
            (points.weight * np.minimum(residual**2, 25 * robust_sigma(residual) ** 2)).mean()
        )
        count = len(residual) / _CLUMP_PX
        fits.append((count * np.log(cost) + len(terms) * np.log(count), terms, values))
    best = min(range(len(fits)), key=lambda k: fits[k][0])
    after = fits[min(best + 1, len(fits) - 1)][2]
    values, residual, robust = _fit_modulo_one(points, LADDER[best], fits[best][2])
    used = float((robust > 0.5).mean())
    sigma = robust_sigma(residual)
    if sigma > 0.12 or used < 0.6:
        raise Refused(
            f"{name}: the frames make no smooth gap between two spheres; check that they show"
            " one contact, and the edge"
        )
    power = all_terms.index((2, 0))
    return FittedForm(
        model=OrderModel(LADDER[best], _pick(values, LADDER[best])),
        covariance=_covariance(points, LADDER[best], residual, robust),
        residual=sigma,
        used=used,
        shift=2 * float(after[power] - values[power]),
    )


def _pick(values: Vector, terms: tuple[Term, ...]) -> Vector:
    return np.array([values[LADDER[-1].index(term)] for term in terms])


def _places(terms: tuple[Term, ...]) -> list[int]:
    return [LADDER[-1].index(term) for term in terms]


def _unwrapped_start(map_: PhaseMap, points: _Points) -> Vector:
    """Low terms of the unwrapped map; its largest connected piece sets the start."""
    from skimage.restoration import unwrap_phase

    valid = map_.weight > 0
    pieces, count = ndimage.label(valid)
    if count > 1:
        sizes = np.bincount(pieces.ravel())
        sizes[0] = 0
        valid = pieces == sizes.argmax()
    wrapped = np.ma.array(2 * np.pi * map_.order.astype(float), mask=~valid)  # type: ignore[no-untyped-call]
    unwrapped = unwrap_phase(wrapped, rng=1)  # type: ignore[no-untyped-call]
    whole = np.asarray(unwrapped.filled(np.nan)) / (2 * np.pi)
    order = whole[map_.weight > 0]
    known = np.isfinite(order)
    terms = LADDER[0]
    start = robust_fit(
        points.rows[_places(terms)][:, known].astype(float).T,
        order[known],
        cauchy_squared,
        lambda residual: 2.5 * robust_sigma(residual) + 1e-3,
        weight=points.weight[known].astype(float),
        ridge=_RIDGE,
        rounds=5,
    )
    values = np.zeros(len(LADDER[-1]))
    values[_places(terms)] = start.values
    return values


def _fit_modulo_one(
    points: _Points, terms: tuple[Term, ...], start: Vector, rounds: int = 5
) -> tuple[Vector, Array, Array]:
    """Fit terms to orders known modulo one, from a start within half a fringe.

    Returns the values on the longest rung, the residuals and the robust weights.
    """
    places = _places(terms)
    rows = points.rows[places]
    values = np.zeros_like(start)
    values[places] = start[places]
    residual, robust = _residual_and_weights(points, values)
    for _ in range(rounds):
        step = _least_squares(rows, residual, points.weight * robust)
        values[places] += step
        residual, robust = _residual_and_weights(points, values)
        if np.abs(step).max() < 1e-6:
            break
    return values, residual, robust


def _residual_and_weights(points: _Points, values: Vector) -> tuple[Array, Array]:
    residual = points.order - values.astype(np.float32) @ points.rows
    residual -= np.round(residual)
    ratio = residual / (5.5 * max(robust_sigma(residual), 2e-3))
    return residual, np.where(np.abs(ratio) < 1, (1 - ratio**2) ** 2, 0).astype(np.float32)


def _least_squares(rows: Array | Matrix, target: Array | Vector, weight: Array | Vector) -> Vector:
    weighted = rows * weight
    normal = (weighted @ rows.T).astype(float)
    normal += _RIDGE * np.trace(normal) / len(normal) * np.eye(len(normal))
    return np.asarray(np.linalg.solve(normal, (weighted @ target).astype(float)))


def _covariance(points: _Points, terms: tuple[Term, ...], residual: Array, robust: Array) -> Matrix:
    """Sandwich with the residuals' scores summed over blocks, as for a single photograph."""
    rows = points.rows[_places(terms)]
    weight = points.weight * robust
    normal = ((rows * weight) @ rows.T).astype(float)
    scores = np.zeros((_BLOCKS * _BLOCKS, len(terms)))
    for k, row in enumerate(rows):
        scores[:, k] = np.bincount(points.block, row * weight * residual, _BLOCKS * _BLOCKS)
    inverse = np.linalg.inv(normal + _RIDGE * np.trace(normal) / len(normal) * np.eye(len(normal)))
    filled_blocks = int((np.abs(scores).sum(axis=1) > 0).sum())
    return np.asarray(
        inverse @ (scores.T @ scores) @ inverse * filled_blocks / max(filled_blocks - 1, 1)
    )


def edge_of_amplitude(
    amplitude: Array, weight: Array, unit_edge: Edge, first: tuple[float, float], scale: int
) -> Edge | None:
    """Find the work's edge where the fringes end.

    The amplitude of several frames shows no rings, and falls to nothing at the rim.

    Parameters
    ----------
    amplitude, weight : ndarray of float32, shape (M, N)
        Half the fringes' range of light, and whether it is known.
    unit_edge : Edge
        The edge as it is thought to be [photograph px].
    first : (float, float)
        Photograph coordinates of the middle of the field's first pixel [px].
    scale : int
        Photograph pixels a field pixel, along a side.

    Returns
    -------
    Edge or None
        With its uncertainty; None where no clear end is seen round most of the rim.
    """
    from fringe.orders.edge.ellipse_fit import fit_ellipse

    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    step = 0.5 * scale / unit_edge.a
    share = np.arange(0.7, 1.2, step)
    x, y = unit_edge.pixels(np.cos(angle)[:, None] * share, np.sin(angle)[:, None] * share)
    place = [(y - first[1]) / scale, (x - first[0]) / scale]
    # a colour filter array can show fine fringes in every other pixel only
    smooth = amplitude
    for axis in (0, 1):
        smooth = ndimage.convolve1d(smooth, [0.25, 0.5, 0.25], axis=axis)
    ring = (share > 0.9) & (share < 0.98)
    sharp, smoothed = (
        ndimage.map_coordinates(x, [coordinate[:, ring] for coordinate in place], order=0)
        for x in (amplitude, smooth)
    )
    aliased = float(np.median(np.abs(sharp - smoothed))) > 0.2 * float(np.median(smoothed))
    amplitude = smooth
    profile = ndimage.map_coordinates(amplitude, place, order=1, mode="constant", cval=np.nan)
    known = ndimage.map_coordinates(weight, place, order=1, mode="constant") > 0.99
    profile = ndimage.gaussian_filter(np.nan_to_num(profile), (1.0, 1.0))
    radius = _ends_of(profile, known, share)
    has_end = ~np.isnan(radius)
    if has_end.mean() < 0.5:
        return None
    radius = radius[has_end]
    px, py = unit_edge.pixels(np.cos(angle[has_end]) * radius, np.sin(angle[has_end]) * radius)
    fit = fit_ellipse(px, py, 2.0 * scale)
    if fit is None or fit[1].mean() < 0.5:
        return None
    edge, inlier, rms = fit
    # neighbouring rays are correlated; the second term covers the blur's shape and colour filter
    blurred = _ALIASED_PX if aliased else 0.03
    u = float(np.hypot(rms / np.sqrt(max(inlier.sum() / 6, 1)), blurred * scale))
    return replace(edge, u_px=u)


def _ends_of(profile: Array, known: NDArray[np.bool_], share: Vector) -> Vector:
    """Shares of the radius where the amplitude falls through half its height near the rim.

    Of every ray (R, S); NaN where it does not.
    """
    rays, last_share = np.arange(len(profile)), profile.shape[1] - 1
    inside = known & (share < 0.9)
    level = _medians(profile, inside)
    above = (profile > 0.5 * level[:, None]) & known
    last = last_share - np.argmax(above[:, ::-1], axis=1)
    good = (inside.sum(axis=1) >= 5) & above.any(axis=1) & (last >= 14) & (last + 6 < len(share))
    last = np.clip(last, 14, last_share - 6)

    def about(first: int, end: int) -> Array:
        places = last[:, None] + np.arange(first, end)
        return np.asarray(profile[rays[:, None], np.minimum(places, last_share)])

    # the height just inside: the contrast of fine fringes falls toward the rim
    height = np.median(about(-14, -5), axis=1)
    beyond = np.median(about(5, 12), axis=1)
    good &= (height >= 0.4 * level) & (beyond <= 0.35 * height)
    half = 0.5 * (height + beyond)
    below = about(-6, 7) < half[:, None]
    first = np.argmax(below, axis=1)
    good &= below.any(axis=1) & (first > 0)
    k = np.maximum(last - 6 + first, 1)
    slope = profile[rays, k - 1] - profile[rays, k]
    part = (half - profile[rays, k]) / np.where(good, slope, 1)
    return np.where(good, share[k] - part * (share[k] - share[k - 1]), np.nan)


def _medians(values: Array, which: NDArray[np.bool_]) -> Vector:
    """Median of some of the values in each row; infinite where there are none."""
    ordered = np.sort(np.where(which, values, np.float32(np.inf)), axis=1)
    count = which.sum(axis=1)
    rows = np.arange(len(values))
    low, high = (ordered[rows, np.maximum(k, 0)] for k in ((count - 1) // 2, count // 2))
    return np.asarray(0.5 * (low + high), float)
