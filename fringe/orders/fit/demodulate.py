"""Refine a model of the fringes by demodulating the picture with it.

Multiplied by exp(-2 pi i order) and smoothed, the picture leaves the phase by which the
model is off, which varies slowly and needs no unwrapping of closed fringes. Steps between
neighbouring points first give the gradient of what is missing, then the phase itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import Term, zernike_matrix, zernike_terms
from fringe.orders.fit.field import Array, Field, smooth
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.robust import cauchy, robust_fit, robust_sigma
from fringe.orders.fit.start import Quadratic

Vector = NDArray[np.float64]
# radius from which every second pixel of every second row is enough, and cycles a pixel up to which
# twice the fringes' frequency, which smoothing is to take out, is not mistaken for none
_THINNED_PX, _THINNED_CYCLES = 300.0, 0.21
_CONVERGED = 1e-3  # change of a coefficient that ends a robust fit or a series of steps [fringe]


def model_of(start: Quadratic) -> OrderModel:
    """Turn a quadratic start into Zernike terms up to degree two."""
    h, (bu, bv) = start.hessian, start.slope
    values = {
        (0, 0): 0.0,
        (1, 1): bu,
        (1, -1): bv,
        (2, 0): (h[0, 0] + h[1, 1]) / 8,
        (2, 2): (h[0, 0] - h[1, 1]) / 4,
        (2, -2): h[0, 1] / 2,
    }
    terms = zernike_terms(2)
    return OrderModel(terms, np.array([values[term] for term in terms]))


@dataclass(frozen=True)
class Demodulated:
    """Residual phasor on a coarse grid.

    Attributes
    ----------
    z : ndarray of complex64, shape (P, Q)
        Smoothed picture times exp(-2 pi i order): half the fringe amplitude and the
        phase by which the model is off.
    weight : ndarray of float32, shape (P, Q)
        Support of each point, zero where the picture or the frequency does not carry it.
    u, v : ndarray, shape (P, Q)
        Places on the unit disc.
    """

    z: NDArray[np.complex64]
    weight: Array
    u: Array
    v: Array


def demodulate(
    field: Field, signal: Array, model: OrderModel, sigma_px: float, stride: int | None = None
) -> Demodulated:
    """Demodulate a flattened picture with a model.

    Parameters
    ----------
    field : Field
    signal : ndarray of float32, shape of `field.light`
        Flattened light, zero where there is none.
    model : OrderModel
    sigma_px : float
        Width of the smoothing [field px].
    stride : int, optional
        Step of the coarse grid [field px]; about `sigma_px` when left out.
    """
    order = model.order_on_grid(field.u, field.v)
    phase = np.float32(-2 * np.pi) * order
    stride = stride or max(1, int(sigma_px))
    coarse = (slice(stride // 2, None, stride),) * 2
    good = field.weight > 0
    real = smooth(np.where(good, signal * np.cos(phase), 0), sigma_px, stride)
    imag = smooth(np.where(good, signal * np.sin(phase), 0), sigma_px, stride)
    cover = field.cover(sigma_px, stride)
    z = (real + 1j * imag) / np.maximum(cover, 1e-3)
    cycles = np.hypot(_slopes(order, stride), _slopes(order.T, stride).T)
    # at lower frequencies the mirrored one, or uneven light, passes the smoothing too
    clear = np.clip((cycles * sigma_px - 0.25) / 0.15, 0, 1)
    clear *= cycles < 0.45
    weight = clear * np.where(cover > 0.5, cover, 0)
    return Demodulated(
        z.astype(np.complex64), weight.astype(np.float32), field.u[coarse], field.v[coarse]
    )


def _slopes(values: Array, stride: int) -> Array:
    """Slope down the columns at every stride-th place of both axes, as `numpy.gradient` has it."""
    rows = np.arange(stride // 2, len(values), stride)
    above, below = np.maximum(rows - 1, 0), np.minimum(rows + 1, len(values) - 1)
    coarse = values[:, stride // 2 :: stride]
    apart = (below - above).astype(np.float32)
    return np.asarray((coarse[below] - coarse[above]) / apart[:, None])


def gradient_step(
    demodulated: Demodulated, terms: tuple[Term, ...], ridge: float = 1e-4
) -> tuple[Vector, float]:
    """Coefficients that explain the steps of residual phase between neighbours.

    Returns
    -------
    values : ndarray, shape (T,)
        Zero for the piston.
    rms : float
        Robust residual of the steps [fringe].
    """
    z, weight = demodulated.z, demodulated.weight
    rows = zernike_matrix(terms, demodulated.u, demodulated.v)
    designs, steps, weights = [], [], []
    for near, far in (
        ((slice(None), slice(None, -1)), (slice(None), slice(1, None))),
        ((slice(None, -1), slice(None)), (slice(1, None), slice(None))),
    ):
        w = np.minimum(weight[near], weight[far])
        keep = w > 0.05
        steps.append(np.angle(z[far][keep] * np.conj(z[near][keep])) / (2 * np.pi))
        designs.append(rows[far][keep] - rows[near][keep])
        weights.append(w[keep] * np.abs(z[near][keep]) * np.abs(z[far][keep]))
    return _robust(np.concatenate(designs), np.concatenate(steps), np.concatenate(weights), ridge)


def phase_step(
    demodulated: Demodulated, terms: tuple[Term, ...], ridge: float = 1e-6
) -> tuple[Vector, float]:
    """Coefficients that explain the residual phase itself, once it stays within a cycle.

    Returns
    -------
    values : ndarray, shape (T,)
        Piston included.
    rms : float
        Robust residual [fringe].
    """
    keep = demodulated.weight > 0.05
    z = demodulated.z[keep]
    weight = demodulated.weight[keep] * np.abs(z) ** 2
    middle = np.angle((weight * z).sum())
    phase = (np.angle(z * np.exp(-1j * middle)) + middle) / (2 * np.pi)
    rows = zernike_matrix(terms, demodulated.u[keep], demodulated.v[keep])
    return _robust(rows, phase, weight, ridge)


def _robust(
    design: NDArray[np.float64], target: Vector, weight: Vector, ridge: float
) -> tuple[Vector, float]:
    """Least squares with Cauchy weights; a slight ridge holds terms the data do not reach."""
    size = design.shape[1]
    if len(target) < 2 * size:
        return np.zeros(size), np.inf

    def scale(residual: Vector) -> float:
        return robust_sigma(residual, weight) + 1e-6

    fit = robust_fit(
        design,
        target,
        cauchy,
        lambda residual: 2.5 * scale(residual),
        weight=weight,
        ridge=ridge,
        rounds=6,
        converged=_CONVERGED,
    )
    return fit.values, scale(fit.residual)


def refine(
    field: Field, signal: Array, start: OrderModel, degrees: tuple[int, ...] = (2, 3, 4, 6)
) -> tuple[OrderModel, float]:
    """Refine a start by demodulation, from few terms to many.

    Parameters
    ----------
    field, signal
        The picture, and its flattened light.
    start : OrderModel
    degrees : tuple of int
        Highest Zernike degree of each round.

    Returns
    -------
    model : OrderModel
    rms : float
        Robust residual of the phase [fringe]; infinite when nothing could be used.
    """
    model, rms = start, np.inf
    if field.radius_px >= _THINNED_PX and start.steepest() < _THINNED_CYCLES * field.radius_px:
        field, signal = field.thinned, np.ascontiguousarray(signal[::2, ::2])
    for number, degree in enumerate(degrees):
        terms = zernike_terms(degree)
        model = model.widened(terms)
        # narrow smoothing first: the model's frequency may still be off by a large share
        narrow = field.radius_px / (36 if number < 2 else 24)
        sigma = max(2.0, narrow, 0.4 * field.radius_px / max(model.steepest(), 1e-9))
        for _ in range(2):
            values, _ = gradient_step(demodulate(field, signal, model, sigma), terms)
            model = OrderModel(terms, model.values + values)
            if np.abs(values).max() < _CONVERGED:
                break
        values, rms = phase_step(demodulate(field, signal, model, sigma), terms)
        if np.isfinite(rms):
            model = OrderModel(terms, model.values + values)
    return model, rms
