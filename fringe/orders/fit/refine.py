"""Least squares of the picture itself: order, light and contrast together, with covariance.

The picture is modelled as B (1 - V cos 2 pi order), with log B and V smooth (Zernike sums),
and a prior on their coefficients (`prior.py`). Gauss-Newton steps over all pixels,
robust against dirt; the covariance is the sandwich (H + P)^-1 (S + P T P) (H + P)^-1 with the
scores S summed over blocks, so that it holds for residuals that are correlated within a
block and of uneven size, and with the prior's precision P and covariance T (White,
Econometrica 48 (1980) 817; blocks as in Conley, J. Econometrics 92 (1999) 1; formulas from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.zernike import Term, zernike_rows, zernike_terms
from fringe.orders.fit.blur import blur
from fringe.orders.fit.field import Array
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels
from fringe.orders.fit.prior import Prior
from fringe.orders.fit.profile import harmonic_sums, overtone, wave
from fringe.photo.filters import median

Vector = NDArray[np.float64]
_CHUNK = 1 << 12  # pixels whose Jacobian stays in the processor's own memory
_MOST_LOG = 20.0  # bound of the light's logarithm
_LEAST_CONTRAST = 0.3  # share of the median contrast, below which fringes are not looked at
_LEAST_LIGHT = 0.1  # share of the mean light, below which a start does not go
_PRIOR = Prior()
# greatest step of an order, or half that of the light's logarithm: of a converged fit, and of one
# so near that the sums before the step can serve as those after it
_CONVERGED, _NEARLY_CONVERGED = 1e-4, 1e-3
_PERHAPS_LAST = 0.02  # length of a step after which the next may be the last
_MOST_KEPT = 4_000_000  # Zernike values that are kept between steps at most


@dataclass(frozen=True)
class Fit:
    """A fitted picture.

    Attributes
    ----------
    model : OrderModel
        Dark fringes at whole orders.
    covariance : ndarray, shape (T, T)
        Of the model's coefficients [fringe^2].
    light, contrast : ndarray
        Coefficients of log B and of V on `light_terms`, `contrast_terms`.
    rms : float
        Residual as a share of the local fringe amplitude, robust.
    noise : float
        Robust standard deviation of the residual [light].
    cost : float
        Mean square of the residual, outliers limited [light^2].
    mean_contrast : float
        Median of V over the pixels.
    explained : float
        Share of the fringes' own variance that the model explains, 0 to 1.
    used : float
        Share of the pixels with more than half their weight left.
    overtone : float
        Greater of the second and third harmonic of the fringe profile, as a share of the
        fundamental, that the fit leaves; near zero for two beams.
    sharpness : float
        Of the fringes' profile, see `profile.py`; zero for two beams.
    prior : Prior
        Prior with the scales estimated from this fit.
    neg_2_log_evidence : float
        Minus twice the logarithm of the model's evidence, to compare fits to the same pixels:
        the smallest is the best (MacKay, Neural Computation 4 (1992) 415, from memory).
    """

    model: OrderModel
    covariance: NDArray[np.float64]
    light_terms: tuple[Term, ...]
    light: Vector
    contrast_terms: tuple[Term, ...]
    contrast: Vector
    rms: float
    noise: float
    cost: float
    mean_contrast: float
    explained: float
    used: float
    overtone: float = 0.0
    sharpness: float = 0.0
    prior: Prior = _PRIOR
    neg_2_log_evidence: float = 0.0


def smooth_terms(cycles: float) -> tuple[tuple[Term, ...], tuple[Term, ...]]:
    """Terms for light and for contrast that `cycles` of fringes over the disc can carry."""
    for most, light, contrast in ((1.5, 2, 0), (4, 3, 1), (10, 4, 2), (24, 6, 4)):
        if cycles < most:
            return zernike_terms(light), zernike_terms(contrast)
    return zernike_terms(8), zernike_terms(4)


@dataclass
class _Coefficients:
    """Coefficients of light, contrast and order at one step of the fit."""

    model: OrderModel
    light: Vector
    contrast: Vector

    def values(self) -> Vector:
        """All coefficients in one vector: light, contrast, order."""
        return np.concatenate([self.light, self.contrast, self.model.values])

    def moved(self, step: Vector, share: float) -> _Coefficients:
        """Go a share of a step in light, contrast and order, in this order."""
        n, m = len(self.light), len(self.light) + len(self.contrast)
        return _Coefficients(
            OrderModel(self.model.terms, self.model.values + share * step[m:]),
            self.light + share * step[:n],
            self.contrast + share * step[n:m],
        )


class _Problem:
    """A picture, the terms of its model and the sums that do not change from step to step."""

    def __init__(
        self,
        pixels: Pixels,
        start: OrderModel,
        light: tuple[Term, ...],
        contrast: tuple[Term, ...],
        prior: Prior,
        most_steps: int,
        sharpness: float,
    ) -> None:
        self.pixels, self.light, self.contrast = pixels, light, contrast
        self.sharpness = sharpness
        self.order = start.terms
        terms = (*light, *contrast, *start.terms)
        all_terms = tuple(dict.fromkeys(terms))
        self._blur = blur(pixels, start)
        # for many pixels, or for one step, rows are computed chunk by chunk when they are needed
        keep = most_steps > 1 and len(pixels) * len(all_terms) < _MOST_KEPT
        self._rows = pixels.rows(terms) if keep else None
        index = {term: k for k, term in enumerate(all_terms)}
        self._all_terms, self._places = all_terms, [index[term] for term in terms]
        self.prior = prior
        # weight of the squared coefficients in units of the residual's variance
        self.precision = prior.precision(light, contrast, start.terms)
        self.stiffness = prior.pixels_per_observation * self.precision
        self.centre = np.zeros(len(self.precision))
        self.centre[0] = np.log(max(float(np.mean(pixels.light)), 1e-6))

    def rows(self, part: slice) -> Array:
        """Zernike terms of light, contrast and order over one chunk, for the caller to write in."""
        if self._rows is None:
            return zernike_rows(self._all_terms, self.pixels.u[part], self.pixels.v[part])[
                self._places
            ]
        return np.stack([row[part] for row in self._rows])

    def parts(self) -> list[slice]:
        """Chunks of the pixels."""
        count = len(self.pixels)
        return [slice(k, min(k + _CHUNK, count)) for k in range(0, count, _CHUNK)]

    def linearise(self, part: slice, state: _Coefficients) -> _LinearisedChunk:
        """Model and Jacobian over one chunk."""
        rows = self.rows(part)
        n = len(self.light)
        of_light, of_contrast, of_order = np.split(rows, [n, n + len(self.contrast)])
        order = state.model.values.astype(np.float32) @ of_order
        phase = np.float32(2 * np.pi) * (order - np.round(order))
        cos, sin = (one * self._blur[part] for one in wave(phase, self.sharpness))
        b = _light(state.light, of_light)
        contrast = state.contrast.astype(np.float32) @ of_contrast
        dimmed = 1 - contrast * cos
        of_light *= b * dimmed
        of_contrast *= -b * cos
        of_order *= np.float32(2 * np.pi) * b * contrast * sin
        residual = self.pixels.light[part] - b * dimmed
        return _LinearisedChunk(
            rows, residual, np.abs(b * contrast) * self._blur[part], contrast, phase
        )


@dataclass(frozen=True)
class _LinearisedChunk:
    """Jacobian (P, K), residual, fringe amplitude, contrast and phase (K,) of one chunk."""

    jacobian: Array
    residual: Array
    amplitude: Array
    contrast: Array
    phase: Array

    def ratio(self, noise: float, tolerated: float) -> Array:
        """Residual over the sigma of the robust weights: noise, or the misfit tolerated for now."""
        if not np.isfinite(noise):
            return np.zeros_like(self.residual)
        return np.asarray(self.residual / np.maximum(noise, tolerated * self.amplitude))


def _light(values: Vector, rows: Array) -> Array:
    """Light from the coefficients of its logarithm, kept finite far outside the disc."""
    log = values.astype(np.float32) @ rows
    return np.asarray(np.exp(np.clip(log, -_MOST_LOG, _MOST_LOG)))


def _linear_start(
    pixels: Pixels, model: OrderModel, light_terms: tuple[Term, ...]
) -> _Coefficients:
    """Light, contrast and piston by linear least squares for a given shape of order."""
    terms = light_terms
    rows = np.stack(pixels.rows(terms))
    shape = model.values.copy()
    shape[model.terms.index((0, 0))] = 0.0
    order = shape.astype(np.float32) @ np.stack(pixels.rows(model.terms))
    phase = 2 * np.pi * (order - np.round(order))
    # fringes ride on the local light: with no estimate yet, a plane through the picture
    plane = rows[:3] if len(terms) >= 3 else rows[:1]
    level = _linear(plane, pixels).astype(np.float32) @ plane
    level = np.maximum(level, 0.05 * float(median(pixels.light)))
    design = np.concatenate([rows, (level * np.cos(phase))[None], (level * np.sin(phase))[None]])
    values = _linear(design, pixels)
    c, s = values[-2:]
    mean = float(np.mean(level))
    contrast = float(np.hypot(c, s)) * mean / max(float(np.mean(values[:-2] @ rows)), 1e-6)
    # c cos + s sin = -a cos(phase + 2 pi piston)
    piston = np.arctan2(s, -c) / (2 * np.pi)
    start = shape.copy()
    start[model.terms.index((0, 0))] = piston
    level = np.maximum(values[:-2] @ rows, _LEAST_LIGHT * mean).astype(np.float32)
    log = _linear(rows, replace(pixels, light=np.log(level)))
    return _Coefficients(OrderModel(model.terms, start), log, np.array([contrast]))


def _linear(rows: Array, pixels: Pixels) -> Vector:
    """Weighted least squares of the light on some rows."""
    weighted = rows * pixels.weight
    gradient = weighted @ (pixels.weight * pixels.light)
    # single precision: nearly parallel rows need a little damping
    return _solve((weighted @ weighted.T).astype(float), gradient.astype(float), 1e-6)


def fit_pixels(
    pixels: Pixels,
    start: OrderModel,
    smooth: tuple[tuple[Term, ...], tuple[Term, ...]],
    most_steps: int = 12,
    known: Fit | None = None,
    tolerated: float = 0.08,
    prior: Prior = _PRIOR,
    noise: float = np.inf,
    sharpness: float = 0.0,
) -> Fit:
    """Fit order, light and contrast to the pixels.

    Parameters
    ----------
    pixels : Pixels
    start : OrderModel
        Within about half a fringe of the truth everywhere; its piston is not used.
    smooth : pair of tuples of terms
        Terms of light and of contrast, each with (0, 0) first.
    most_steps : int
        Most Gauss-Newton steps.
    known : Fit, optional
        A fit to continue from, piston included, on the first of the smooth terms or all.
    tolerated : float
        Residual, as a share of the local fringe amplitude, that does not count as dirt: a form
        that the terms cannot follow yet must keep its weight.
    prior : Prior
        Of the coefficients.
    noise : float
        Robust deviation of the residual, where it is known and the start is close [light];
        without it the first step down-weights no pixel.
    sharpness : float
        Of the fringes' profile; that of a known fit goes before.

    Returns
    -------
    Fit
    """
    light_terms, contrast_terms = smooth
    if len(pixels) < 2 * (len(light_terms) + len(contrast_terms) + len(start.terms)):
        raise Refused("too few usable pixels for fringes; expose less, or give another edge")
    if known is None:
        state = _linear_start(pixels, start, light_terms)
        state.contrast = np.concatenate([state.contrast, np.zeros(len(contrast_terms) - 1)])
    else:
        state = _Coefficients(
            start,
            np.pad(known.light, (0, len(light_terms) - len(known.light))),
            np.pad(known.contrast, (0, len(contrast_terms) - len(known.contrast))),
        )
        sharpness = known.sharpness
    problem = _Problem(pixels, start, light_terms, contrast_terms, prior, most_steps, sharpness)
    damping = 1e-8 if np.isfinite(noise) else 1e-3
    largest = 0.0 if most_steps == 1 else np.inf
    for _ in range(most_steps):
        # a long step is not the last one, and needs no sums block by block
        sums = _summed(problem, state, noise, tolerated, by_blocks=largest < _PERHAPS_LAST)
        step = _step(problem, state, sums, damping)
        order_step = step[len(light_terms) + len(contrast_terms) :]
        largest = float(np.abs(order_step).max())
        largest = max(largest, float(np.abs(step[: len(light_terms)]).max()) / 2)
        state = state.moved(step, min(1.0, 0.35 / max(largest, 1e-12)))
        # the first step is not robust, so a small one does not prove convergence
        if largest < _CONVERGED and np.isfinite(noise):
            break
        noise, damping = sums.noise, max(damping / 5, 1e-9)
    if largest > _NEARLY_CONVERGED or sums.scores is None:
        sums = _summed(problem, state, noise, tolerated)
    return _finish(problem, state, sums)


@dataclass(frozen=True)
class _Sums:
    """Sums of one pass over all pixels: P coefficients, K pixels and B blocks.

    Attributes
    ----------
    normal : ndarray, shape (P, P)
    gradient : ndarray, shape (P,)
    scores : ndarray, shape (B, P), or None
        The gradient, block by block, where it was asked for.
    residual, amplitude, contrast : ndarray of float32, shape (K,)
    noise : float
        Robust deviation of the residual.
    used, overtone : float
        See `Fit`.
    """

    normal: NDArray[np.float64]
    gradient: Vector
    scores: NDArray[np.float64] | None
    residual: Array
    amplitude: Array
    contrast: Array
    noise: float
    used: float
    overtone: float


def _summed(
    problem: _Problem,
    state: _Coefficients,
    noise: float,
    tolerated: float,
    *,
    by_blocks: bool = True,
) -> _Sums:
    """Sums over all pixels, robustly weighted against dirt."""
    pixels = problem.pixels
    size = len(problem.centre)
    normal = np.zeros((size, size))
    gradient = np.zeros(size)
    scores = np.zeros((int(pixels.block.max()) + 1, size)) if by_blocks else None
    residual, amplitude, contrast = (np.empty(len(pixels), np.float32) for _ in range(3))
    used, harmonics = 0.0, np.zeros(5)
    for part in problem.parts():
        chunk = problem.linearise(part, state)
        residual[part], amplitude[part], contrast[part] = (
            chunk.residual,
            chunk.amplitude,
            chunk.contrast,
        )
        w = pixels.weight[part] * _tukey(chunk.ratio(noise, tolerated))
        used += float((w > 0.5).sum())
        harmonics += harmonic_sums(chunk.residual, chunk.amplitude, chunk.phase, w)
        # a matrix times its own transpose takes half the time of a general product
        root = np.sqrt(w)
        weighted = np.multiply(chunk.jacobian, root, out=chunk.jacobian)
        normal += weighted @ weighted.T
        if scores is None:
            gradient += weighted @ (root * chunk.residual)
            continue
        score = np.multiply(weighted, root * chunk.residual, out=weighted)
        block = pixels.block[part]
        starts = np.flatnonzero(np.diff(block, prepend=-1))
        scores[block[starts]] += np.add.reduceat(score, starts, axis=1).T
    if scores is not None:
        gradient = scores.sum(axis=0)
    now = 1.4826 * float(median(np.abs(residual))) + 1e-9
    share, over = used / len(pixels), overtone(harmonics)
    return _Sums(normal, gradient, scores, residual, amplitude, contrast, now, share, over)


def _step(problem: _Problem, state: _Coefficients, sums: _Sums, damping: float) -> Vector:
    """One Gauss-Newton step."""
    prior_normal = sums.noise**2 * problem.stiffness
    offset = state.values() - problem.centre
    return _solve(sums.normal + prior_normal, sums.gradient - prior_normal @ offset, damping)


def expected(fit: Fit, u: Array, v: Array) -> tuple[Array, Array]:
    """Light predicted by a fit at flat arrays of places, and the fringe amplitude there."""
    light, contrast = between_fringes(fit, u, v)
    order = fit.model.order(u, v)
    phase = np.float32(2 * np.pi) * (order - np.round(order))
    height = np.asarray(wave(phase, fit.sharpness)[0], np.float32)
    return light * (1 - contrast * height), np.abs(light * contrast)


def between_fringes(fit: Fit, u: Array, v: Array) -> tuple[Array, Array]:
    """Mean light of a fit, without its fringes, at flat arrays of places, and their contrast."""
    light = _light(fit.light, zernike_rows(fit.light_terms, u, v))
    return light, fit.contrast.astype(np.float32) @ zernike_rows(fit.contrast_terms, u, v)


def least_contrast(fit: Fit) -> float:
    """Contrast below which light tells nothing of the phase, though the terms may go to zero."""
    return _LEAST_CONTRAST * fit.mean_contrast


def _solve(normal: NDArray[np.float64], gradient: Vector, damping: float) -> Vector:
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
    scaled = normal / np.outer(scale, scale) + damping * np.eye(len(scale))
    return np.asarray(np.linalg.solve(scaled, gradient / scale) / scale)


def _tukey(ratio: Array) -> Array:
    """Tukey's biweight at 5.5 robust sigmas: nearly one for clean noise, zero for dirt."""
    return np.where(np.abs(ratio) < 5.5, (1 - (ratio / 5.5) ** 2) ** 2, 0).astype(np.float32)


def _finish(problem: _Problem, state: _Coefficients, sums: _Sums) -> Fit:
    """Covariance and figures of merit at the end of a fit."""
    assert sums.scores is not None
    n_before = len(problem.light) + len(problem.contrast)
    normal, scores, residual, amplitude = sums.normal, sums.scores, sums.residual, sums.amplitude
    noise = sums.noise
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
    prior_normal = noise**2 * problem.stiffness
    root = np.sqrt(scale**2 + np.diag(prior_normal))
    inverse = np.linalg.inv(
        (normal + prior_normal) / np.outer(root, root) + 1e-10 * np.eye(len(root))
    ) / np.outer(root, root)
    filled_blocks = int((np.abs(scores).sum(axis=1) > 0).sum())
    meat = scores.T @ scores * filled_blocks / max(filled_blocks - 1, 1)
    pixels_per_observation = max(1.0, float(median(np.diag(meat) / scale**2)) / noise**2)
    sandwich = inverse @ (meat + pixels_per_observation * noise**2 * prior_normal) @ inverse
    learned = replace(problem.prior, pixels_per_observation=pixels_per_observation).learned(
        state.values(), np.diag(sandwich), problem.light, problem.contrast, problem.order
    )
    cost = float(np.mean(np.minimum(residual**2, (0.5 * amplitude) ** 2 + 25 * noise**2)))
    # Laplace's approximation: the picture's information on the coefficients beside the prior's
    information = normal / (problem.prior.pixels_per_observation * noise**2)
    offset = state.values() - problem.centre
    neg_2_log_evidence = (
        residual.size / problem.prior.pixels_per_observation * np.log(cost)
        + float(offset @ problem.precision @ offset)
        + float(np.linalg.slogdet(problem.precision + information)[1])
        - float(np.linalg.slogdet(problem.precision)[1])
    )
    fringes = float(np.mean(amplitude**2) / 2)
    missed = float(np.mean(np.minimum(residual**2, 25 * noise**2)))
    model, of_contrast, mean_contrast = state.model, state.contrast, float(median(sums.contrast))
    sharpness = problem.sharpness
    if mean_contrast < 0:  # the same picture: dark fringes at whole orders
        values = model.values.copy()
        values[model.terms.index((0, 0))] += 0.5
        model, of_contrast = replace(model, values=values), -of_contrast
        mean_contrast, sharpness = -mean_contrast, -sharpness
    return Fit(
        model=model,
        covariance=sandwich[n_before:, n_before:],
        light_terms=problem.light,
        light=state.light,
        contrast_terms=problem.contrast,
        contrast=of_contrast,
        rms=noise / max(float(median(amplitude)), 1e-9),
        noise=noise,
        cost=cost,
        mean_contrast=mean_contrast,
        explained=fringes / max(fringes + missed, 1e-12),  # both are zero in evenly dark frames
        used=sums.used,
        overtone=sums.overtone,
        sharpness=sharpness,
        prior=learned,
        neg_2_log_evidence=neg_2_log_evidence,
    )
