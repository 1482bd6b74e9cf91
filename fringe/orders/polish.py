"""Least squares of the picture itself: order, light and contrast together, with covariance.

The picture is modelled as B (1 - V cos 2 pi order), with B and V smooth (Zernike sums).
Gauss-Newton steps over all pixels, robust against dirt; the covariance is the sandwich
H^-1 S H^-1 with the scores S summed over blocks, so that it holds for residuals that are
correlated within a block and of uneven size (White, Econometrica 48 (1980) 817; blocks as
in Conley, J. Econometrics 92 (1999) 1; formulas from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import Term, zernike_terms
from fringe.orders.basis import basis
from fringe.orders.demod import OrderModel
from fringe.orders.field import Array, Field

Vector = NDArray[np.float64]
_CHUNK = 1 << 15


@dataclass(frozen=True)
class Pixels:
    """The usable pixels of a field as flat arrays, each of shape (K,)."""

    light: Array
    weight: Array
    u: Array
    v: Array
    block: NDArray[np.int32]
    # change of u and v over one field pixel along x and along y, for the pixel's own blur
    unit_from_px: NDArray[np.float64]
    scale: int

    def __len__(self) -> int:
        return int(self.light.size)


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
        Coefficients of B and V on `light_terms`, `contrast_terms`.
    rms : float
        Residual as a share of the local fringe amplitude, robust.
    noise : float
        Robust standard deviation of the residual [light].
    cost : float
        Mean square of the residual, each held to three of a fixed robust sigma [light^2].
    mean_contrast : float
        Median of V over the pixels.
    explained : float
        Share of the fringes' own variance that the model explains, 0 to 1.
    used : float
        Share of the pixels with more than half their weight left.
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


def pixels_of(field: Field, most: int | None = None, blocks: int = 20) -> Pixels:
    """Flatten a field to its usable pixels.

    Parameters
    ----------
    field : Field
    most : int, optional
        Thin out evenly to at most about this many.
    blocks : int
        Blocks across the disc for the covariance.
    """
    good = field.weight > 0
    if most is not None and good.sum() > most:
        step = int(np.ceil(good.sum() / most))
        # an odd lattice: every step-th pixel of a row, shifted from row to row
        rows, columns = np.indices(good.shape)
        good &= (columns + rows * (step // 2 + 1)) % step == 0
    u, v = field.u[good], field.v[good]
    count = max(4, min(blocks, int(2 * field.radius_px / 8)))
    column = np.clip(((u + 1) / 2 * count).astype(np.int32), 0, count - 1)
    row = np.clip(((v + 1) / 2 * count).astype(np.int32), 0, count - 1)
    return Pixels(
        field.light[good], field.weight[good], u, v, row * count + column,
        field.unit_from_px, field.scale,
    )  # fmt: skip


def _blur(pixels: Pixels, model: OrderModel, u: Array, v: Array) -> Array:
    """Contrast left by averaging over a field pixel (sinc of the local frequency)."""
    if pixels.scale == 1:
        return np.ones_like(u)
    f = model.frequency(u.astype(float), v.astype(float)) @ pixels.unit_from_px
    return np.asarray(np.sinc(f[:, 0]) * np.sinc(f[:, 1]), np.float32)


def smooth_terms(cycles: float) -> tuple[tuple[Term, ...], tuple[Term, ...]]:
    """Terms for light and for contrast that `cycles` of fringes over the disc can carry."""
    for most, light, contrast in ((1.5, 2, 0), (4, 3, 1), (10, 4, 2), (24, 6, 4)):
        if cycles < most:
            return zernike_terms(light), zernike_terms(contrast)
    return zernike_terms(8), zernike_terms(4)


@dataclass
class _State:
    """What one pass over the pixels needs and returns."""

    model: OrderModel
    light: Vector
    contrast: Vector


def _columns(
    pixels: Pixels, part: slice, state: _State, light_terms: tuple[Term, ...],
    contrast_terms: tuple[Term, ...],
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Jacobian (P, K), model (K,) and amplitude (K,) of one chunk."""
    u, v = pixels.u[part], pixels.v[part]
    every = tuple(dict.fromkeys((*state.model.terms, *light_terms, *contrast_terms)))
    rows = basis(every, u, v)
    place = {term: k for k, term in enumerate(every)}
    of_order = rows[[place[t] for t in state.model.terms]]
    of_light = rows[[place[t] for t in light_terms]]
    of_contrast = rows[[place[t] for t in contrast_terms]]
    order = state.model.values.astype(np.float32) @ of_order
    phase = 2 * np.pi * (order - np.round(order))
    blur = _blur(pixels, state.model, u, v)
    cos, sin = np.cos(phase) * blur, np.sin(phase) * blur
    b = state.light.astype(np.float32) @ of_light
    contrast = state.contrast.astype(np.float32) @ of_contrast
    modelled = b * (1 - contrast * cos)
    jacobian = np.concatenate([
        of_light * (1 - contrast * cos),
        of_contrast * (-b * cos),
        of_order * (np.float32(2 * np.pi) * b * contrast * sin),
    ])  # fmt: skip
    return jacobian, modelled, np.abs(b * contrast) * blur


def _linear_start(
    pixels: Pixels, model: OrderModel, light_terms: tuple[Term, ...]
) -> tuple[_State, float]:
    """Light, contrast and piston by linear least squares for a given shape of order.

    Returns the state and the share of the fringes' variance that is explained.
    """
    terms = light_terms
    rows = basis(terms, pixels.u, pixels.v)
    shape = model.values.copy()
    shape[model.terms.index((0, 0))] = 0.0
    order = OrderModel(model.terms, shape).order(pixels.u, pixels.v)
    phase = 2 * np.pi * (order - np.round(order))
    # fringes ride on the local light: with no estimate yet, a plane through the picture
    plane = rows[:3] if len(terms) >= 3 else rows[:1]
    w = pixels.weight
    level = np.linalg.lstsq((plane * w).T, pixels.light * w, rcond=None)[0] @ plane
    level = np.maximum(level, 0.05 * float(np.median(pixels.light)))
    design = np.concatenate([rows, (level * np.cos(phase))[None], (level * np.sin(phase))[None]])
    values = np.linalg.lstsq((design * w).T, pixels.light * w, rcond=None)[0].astype(float)
    without = np.linalg.lstsq((rows * w).T, pixels.light * w, rcond=None)[0]
    left = float((w * (pixels.light - values @ design) ** 2).sum())
    whole = float((w * (pixels.light - without @ rows) ** 2).sum())
    c, s = values[-2:]
    mean = float(np.mean(level))
    contrast = float(np.hypot(c, s)) * mean / max(float(np.mean(values[:-2] @ rows)), 1e-6)
    # c cos + s sin = -a cos(phase + 2 pi piston)
    piston = np.arctan2(s, -c) / (2 * np.pi)
    start = shape.copy()
    start[model.terms.index((0, 0))] = piston
    state = _State(OrderModel(model.terms, start), values[:-2], np.array([contrast]))
    return state, 1 - left / max(whole, 1e-30)


def fit_pixels(
    pixels: Pixels,
    start: OrderModel,
    smooth: tuple[tuple[Term, ...], tuple[Term, ...]],
    rounds: int = 12,
    known: Fit | None = None,
) -> Fit:
    """Fit order, light and contrast to the pixels.

    Parameters
    ----------
    pixels : Pixels
    start : OrderModel
        Within about half a fringe of the truth everywhere; its piston is not used.
    smooth : pair of tuples of terms
        Terms of light and of contrast, each with (0, 0) first.
    rounds : int
        Most Gauss-Newton steps.
    known : Fit, optional
        A fit on the same smooth terms to go on from, piston included.

    Returns
    -------
    Fit
    """
    light_terms, contrast_terms = smooth
    if known is None:
        state, _ = _linear_start(pixels, start, light_terms)
        state.contrast = np.concatenate([state.contrast, np.zeros(len(contrast_terms) - 1)])
    else:
        state = _State(start, known.light, known.contrast)
    n_light, n_contrast = len(light_terms), len(contrast_terms)
    size = n_light + n_contrast + len(start.terms)
    noise, damping, cost_before = np.inf, 1e-3, np.inf
    for _ in range(rounds):
        normal, gradient = np.zeros((size, size)), np.zeros(size)
        residuals = _residuals(pixels, state, light_terms, contrast_terms)
        noise = 1.4826 * float(np.median(np.abs(residuals))) + 1e-9
        for part in _parts(len(pixels)):
            jacobian, _, _ = _columns(pixels, part, state, light_terms, contrast_terms)
            w = pixels.weight[part] * _tukey(residuals[part] / noise)
            normal += (jacobian * w) @ jacobian.T
            gradient += jacobian @ (w * residuals[part])
        step = _solve(normal, gradient, damping)
        order_step = step[n_light + n_contrast :]
        limit = 0.35 / max(float(np.abs(order_step).max()), 0.35)
        state = _State(
            OrderModel(state.model.terms, state.model.values + limit * order_step),
            state.light + limit * step[:n_light],
            state.contrast + limit * step[n_light : n_light + n_contrast],
        )
        cost = noise
        small = float(np.abs(order_step).max()) < 2e-5
        if small and abs(cost - cost_before) < 1e-3 * cost:
            break
        cost_before, damping = cost, max(damping / 5, 1e-9)
    return _finish(pixels, state, light_terms, contrast_terms)


def misfit(pixels: Pixels, fit: Fit) -> tuple[Array, Array]:
    """What a fit leaves of other pixels, and the fringe amplitude there, each shape (K,)."""
    state = _State(fit.model, fit.light, fit.contrast)
    left, amplitude = np.empty(len(pixels), np.float32), np.empty(len(pixels), np.float32)
    for part in _parts(len(pixels)):
        _, modelled, amplitude[part] = _columns(
            pixels, part, state, fit.light_terms, fit.contrast_terms
        )
        left[part] = pixels.light[part] - modelled
    return left, amplitude


def expected(fit: Fit, u: Array, v: Array) -> tuple[Array, Array]:
    """Light that a fit expects at flat arrays of places, and the fringe amplitude there."""
    light = fit.light.astype(np.float32) @ basis(fit.light_terms, u, v)
    contrast = fit.contrast.astype(np.float32) @ basis(fit.contrast_terms, u, v)
    order = fit.model.order(u, v)
    phase = np.float32(2 * np.pi) * (order - np.round(order))
    return light * (1 - contrast * np.cos(phase)), np.abs(light * contrast)


def _parts(count: int) -> list[slice]:
    return [slice(k, min(k + _CHUNK, count)) for k in range(0, count, _CHUNK)]


def _solve(normal: NDArray[np.float64], gradient: Vector, damping: float) -> Vector:
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
    scaled = normal / np.outer(scale, scale) + damping * np.eye(len(scale))
    return np.asarray(np.linalg.solve(scaled, gradient / scale) / scale)


def _tukey(ratio: Array) -> Array:
    """Tukey's biweight at 5.5 robust sigmas: almost all of clean noise, none of dirt."""
    return np.where(np.abs(ratio) < 5.5, (1 - (ratio / 5.5) ** 2) ** 2, 0).astype(np.float32)


def _residuals(
    pixels: Pixels, state: _State, light_terms: tuple[Term, ...], contrast_terms: tuple[Term, ...]
) -> Array:
    out = np.empty(len(pixels), np.float32)
    for part in _parts(len(pixels)):
        _, modelled, _ = _columns(pixels, part, state, light_terms, contrast_terms)
        out[part] = pixels.light[part] - modelled
    return out


def _finish(
    pixels: Pixels, state: _State, light_terms: tuple[Term, ...], contrast_terms: tuple[Term, ...]
) -> Fit:
    n_before = len(light_terms) + len(contrast_terms)
    size = n_before + len(state.model.terms)
    residuals = _residuals(pixels, state, light_terms, contrast_terms)
    noise = 1.4826 * float(np.median(np.abs(residuals))) + 1e-9
    normal = np.zeros((size, size))
    n_blocks = int(pixels.block.max()) + 1
    scores = np.zeros((n_blocks, size))
    amplitude = np.empty(len(pixels), np.float32)
    used = 0.0
    for part in _parts(len(pixels)):
        jacobian, _, amplitude[part] = _columns(pixels, part, state, light_terms, contrast_terms)
        w = pixels.weight[part] * _tukey(residuals[part] / noise)
        used += float((w > 0.5).sum())
        normal += (jacobian * w) @ jacobian.T
        score = jacobian * (w * residuals[part])
        block = pixels.block[part]
        order = np.argsort(block, kind="stable")
        starts = np.flatnonzero(np.diff(block[order], prepend=-1))
        np.add.at(scores, block[order][starts], np.add.reduceat(score[:, order], starts, axis=1).T)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
    inverse = np.linalg.inv(normal / np.outer(scale, scale) + 1e-10 * np.eye(size))
    inverse = inverse / np.outer(scale, scale)
    live = int((np.abs(scores).sum(axis=1) > 0).sum())
    sandwich = inverse @ (scores.T @ scores) @ inverse * live / max(live - 1, 1)
    b = state.light.astype(np.float32) @ basis(light_terms, pixels.u, pixels.v)
    v = state.contrast.astype(np.float32) @ basis(contrast_terms, pixels.u, pixels.v)
    fringes = float(np.mean((b * v) ** 2) / 2)
    clipped = np.clip(residuals, -5.5 * noise, 5.5 * noise)
    explained = fringes / (fringes + float(np.mean(clipped**2)))
    model, contrast = state.model, state.contrast
    if float(np.median(v)) < 0:  # the same picture: dark fringes at whole orders
        values = model.values.copy()
        values[model.terms.index((0, 0))] += 0.5
        model, contrast, v = replace(model, values=values), -contrast, -v
    typical = float(np.median(amplitude))
    return Fit(
        model, sandwich[n_before:, n_before:], light_terms, state.light, contrast_terms, contrast,
        noise / max(typical, 1e-9), noise, float(np.mean(np.minimum(residuals**2, 25 * noise**2))), float(np.median(v)), explained, used / len(pixels),
    )  # fmt: skip
