"""Sense of contact from the contrast of one picture, which falls as the gap grows.

A gap and its mirror image show the same fringes but for their contrast: that of a broad line
falls with the path difference (`Lamp.contrast`). Contrast has other causes, and the model
includes each of them: blur, which lowers that of finer fringes more; stray light, focus and
reflections, which vary slowly over the work; a tone curve, which couples contrast to
brightness; room light, which lowers it more where the lamp's light is faint; a film of air
between the pieces; a lamp broader or narrower than its label. The evidence of either sense is
integrated over these causes, and the ratio of the two decides, or does not (Laplace's
approximation of the marginal likelihood; MacKay, Information Theory, ch. 27 and 28, formula
from memory).

For a sphere, tilted or not, the square of the fringes' frequency f is linear in the order m:
f^2 R^2 = 4 N m + const. A lamp takes k m^2 from ln V, with k = (pi fwhm / lambda)^2 / (4 ln 2).
For contact at the edge m runs down from M in the middle, and k (M - m)^2 differs from k m^2 by
what is linear in m alone: by a blur of variance k (M / N) R^2 / 4 pi^2, some 3 px for an LED of
30 nm where the work is 350 px wide. So contact at the edge in a soft picture looks like contact
at the centre in a sharp one, and the blur must be measured elsewhere: at the work's edge
(`fringe.orders.edge.sharpness`). The prior widths of the other causes, below, are common practice
without a source.

A third hypothesis is that the lamp is far narrower than its label and causes no fall. Its prior
probability is one in ten; the sense stays unknown where this explains the contrast much better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.lamps import Lamp
from fringe.optics.zernike import zernike_matrix, zernike_sum, zernike_terms
from fringe.orders.edge.sharpness import edge_softness
from fringe.orders.fit.field import cut_field, unit_matrix
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit, expected
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median
from fringe.photo.load import Photo

Vector = NDArray[np.float64]

DECISIVE = 9.0  # natural logarithm of the ratio of evidences: 8,000 to one
# Prior standard deviations of the other causes, in the logarithm of the contrast.
_BLUR_SHARE = 0.7  # the camera's blur, as a share of its upper bound from the work's edge
_BLUR_DEFAULT = 0.03  # that bound where no edge is sharp, as a share of the work's radius
_SLOW_TERMS = {1: 0.15, 2: 0.15, 3: 0.06, 4: 0.06}  # Zernike terms by degree, at the rim
_TONE = 0.1  # for light that is brighter by a factor e
_STRAY = 0.3  # of even light without fringes, as a share of the mean
_WIDTH = 0.35  # of the lamp's fall, by its width squared
_LOG_LAMP_UNINVOLVED = math.log(0.1)  # prior probability that the lamp causes no fall
_LEVEL = (-0.4, 1.0)  # mean and width of the contrast itself
_MOST_FILM = 8  # a film of so many fringes at most, each half as probable as the one before
_RIM_BLURS = 3.0  # times the blur, along the rim: fringes that it cuts mix with what lies beyond
_SMOOTH_DEGREE = 5  # degree of a form without waves
_VISIBLE = 3.0  # fringes of so many uncertainties of their contrast are seen
# residual, as a share of the fringes' median amplitude, from which they may be misread where they
# are hardly seen, and that would look like a fall of contrast
_MOST_RMS = 0.5
_FLOOR = 0.03  # of each contrast: what a fit leaves even without noise
_MISFIT = 5.0  # mean squared normalised residual above which neither sense is accepted

_GRID = 5  # cells a side, within which contrast is taken fringe by fringe
_SLICES = 24
_FREQUENCY_PX = 0.15
_LEAST_RADIUS_PX = 100.0


@dataclass(frozen=True)
class ContrastSense:
    """Sense from the fall of contrast.

    Attributes
    ----------
    sense : str
        `centre`, `edge` or `unknown`.
    log_ratio : float
        Natural logarithm of the evidence for contact at the centre over that for the edge.
    """

    sense: str
    log_ratio: float


SENSE_UNKNOWN = ContrastSense("unknown", 0.0)


@dataclass(frozen=True)
class Cells:
    """Contrast of parts of a picture, each a fringe or more, all of shape (K,).

    Attributes
    ----------
    contrast, u_contrast : ndarray
        Contrast and its standard uncertainty from the light's own scatter.
    order : ndarray
        Mean order, in the sign and from the zero of the model.
    u, v : ndarray
        Middle on the unit disc.
    frequency : ndarray
        Of the fringes there [cycles / photograph px].
    light : ndarray
        Mean light.
    blur_px : float
        The most that the camera's blur is likely to be [photograph px].
    """

    contrast: Vector
    u_contrast: Vector
    order: Vector
    u: Vector
    v: Vector
    frequency: Vector
    light: Vector
    blur_px: float


def sense_from_contrast(photo: Photo, edge: Edge, fit: Fit, lamp: Lamp) -> ContrastSense:
    """Tell the sense from the fall of contrast, if it is decisive.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        The aperture's rim.
    fit : Fit
        Fitted orders and light over it.
    lamp : Lamp
        Of one line; where several beat, their shares are known too badly.

    Returns
    -------
    ContrastSense
        `unknown` where the evidence is not decisive, or the power has no sign to speak of.
    """
    if len(lamp.lines) != 1 or abs(fit.model.power) < _least_power(fit):
        return SENSE_UNKNOWN
    if fit.rms > _MOST_RMS:
        return SENSE_UNKNOWN
    span = np.ptp(_disc_order(fit.model))
    if float(lamp.contrast(span * lamp.wavelength_nm)) > 0.9:
        return SENSE_UNKNOWN
    cells = measure_cells(photo, edge, fit)
    if len(cells.contrast) < 8:
        return SENSE_UNKNOWN
    ratio = log_ratio(cells, fit.model, lamp)
    if abs(ratio) < DECISIVE:
        return ContrastSense("unknown", ratio)
    return ContrastSense("centre" if ratio > 0 else "edge", ratio)


def _least_power(fit: Fit) -> float:
    """Power under which its sign is not certain, whatever the sign of the orders [fringe]."""
    place = fit.model.terms.index((2, 0))
    return 0.1 + 10 * math.sqrt(max(float(fit.covariance[place, place]), 0.0))


def _disc_order(model: OrderModel) -> Vector:
    u, v, _ = disc_grid(24, 72)
    return zernike_sum(model.terms, model.values, u.ravel(), v.ravel())


def measure_cells(photo: Photo, edge: Edge, fit: Fit) -> Cells:
    """Measure the contrast in parts of the aperture, against the fitted light and orders."""
    radius = math.sqrt(edge.a * edge.b)
    finest = _FREQUENCY_PX * radius / max(fit.model.steepest(), 1e-9)
    scale = max(1, int(min(finest, radius / _LEAST_RADIUS_PX)))
    blur = edge_softness(photo, edge) or _BLUR_DEFAULT * radius
    rim = max(0.5, 1 - _RIM_BLURS * blur / radius)
    field = cut_field(photo, edge, scale, rim)
    good = field.weight > 0
    u, v, light = field.u[good], field.v[good], field.light[good].astype(float)
    predicted, amplitude = expected(fit, u, v)
    residual = np.abs(light - predicted)
    noise = 1.4826 * float(median(residual)) + 1e-9
    clean = residual < np.maximum(6 * noise, 0.8 * float(median(amplitude)))
    u, v, light = u[clean], v[clean], light[clean]
    order = fit.model.order(u, v).astype(float)
    level = np.exp(zernike_sum(fit.light_terms, fit.light, u, v))
    names, cell = np.unique(_cell_numbers(order, u, v), return_inverse=True)
    count = np.bincount(cell, minlength=len(names))

    def mean(values: NDArray[Any]) -> Vector:
        return np.asarray(np.bincount(cell, weights=values, minlength=len(names)) / count, float)

    contrast, u_contrast, usable = _amplitudes(light, level, order, cell, count)
    middle_u, middle_v = mean(u), mean(v)
    steps = fit.model.frequency(middle_u, middle_v) @ field.unit_from_px
    lost = np.sinc(steps[:, 0]) * np.sinc(steps[:, 1]) if scale > 1 else np.ones(len(names))
    f, u_f = _frequency(fit, rim, middle_u, middle_v, unit_matrix(edge))
    # where blur removes most of the contrast, a small error of the frequency is a large one of it
    u_contrast = np.hypot(u_contrast, contrast * (2 * np.pi * blur) ** 2 * f * u_f)
    # without visible fringes the orders are extrapolated
    usable &= contrast > _VISIBLE * u_contrast
    return Cells(
        (contrast / lost)[usable],
        (u_contrast / lost)[usable],
        mean(order)[usable],
        middle_u[usable],
        middle_v[usable],
        f[usable],
        mean(level)[usable],
        blur,
    )


def _frequency(
    fit: Fit, rim: float, u: Vector, v: Vector, unit_from_px: NDArray[np.float64]
) -> tuple[Vector, Vector]:
    """Frequency of the fringes in places (K,), and its standard uncertainty [cycles / px].

    Toward the rim a fitted form waves, where a smoother one does not; but a turned edge is
    smoothed away. The mean of both is taken, and their difference for its uncertainty.
    """
    at_u, at_v, weight = (x.ravel() for x in disc_grid(24, 72))
    root = np.sqrt(weight) * (np.hypot(at_u, at_v) < rim)
    terms = zernike_terms(_SMOOTH_DEGREE)
    design = zernike_matrix(terms, at_u, at_v) * root[:, None]
    values = np.linalg.lstsq(design, _disc_order(fit.model) * root, rcond=None)[0]
    fine, smooth = (
        np.hypot(*(model.frequency(u, v) @ unit_from_px).T)
        for model in (fit.model, OrderModel(terms, values))
    )
    return (fine + smooth) / 2, np.abs(fine - smooth)


def _cell_numbers(order: Vector, u: Vector, v: Vector) -> NDArray[np.int64]:
    """Number of each pixel's cell: a slice of whole fringes within a square of the disc."""
    width = max(1, math.ceil(np.ptp(order) / _SLICES))
    across, down = (np.clip(((x + 1) / 2 * _GRID).astype(np.int64), 0, _GRID - 1) for x in (u, v))
    return np.asarray(((order // width).astype(np.int64) * _GRID + down) * _GRID + across)


def _amplitudes(
    light: Vector, level: Vector, order: Vector, cell: NDArray[np.int64], count: NDArray[np.int64]
) -> tuple[Vector, Vector, NDArray[np.bool_]]:
    """Least squares of B, B cos and B sin in every cell: contrast, its u, and which are sound."""
    phase = 2 * np.pi * order
    columns = [level, level * np.cos(phase), level * np.sin(phase)]
    size = len(count)

    def total(values: Vector) -> Vector:
        return np.asarray(np.bincount(cell, weights=values, minlength=size), float)

    normal = np.array([[total(a * b) for b in columns] for a in columns]).transpose(2, 0, 1)
    side = np.array([total(a * light) for a in columns]).T
    scale = np.maximum(normal[:, :1, :1], 1e-30)
    # a cell that holds too little of a fringe cannot tell light from contrast
    whole = (np.linalg.eigvalsh(normal / scale)[:, 0] > 0.15) & (count > 40)
    normal[~whole] = np.eye(3)
    coefficients = np.linalg.solve(normal, side[..., None])[..., 0]
    scatter = total((light - sum(coefficients[cell, k] * columns[k] for k in range(3))) ** 2)
    variance = scatter / np.maximum(count - 3, 1)
    # neighbours share noise: a pixel behind a colour filter array stands for a quarter
    spread = np.sqrt(4 * variance * np.linalg.inv(normal)[:, 1, 1])
    middle = np.where(np.abs(coefficients[:, 0]) > 1e-9, coefficients[:, 0], 1.0)
    # the quadrature component shows the error of the orders
    spread = np.hypot(spread, coefficients[:, 2] / 2)
    return -coefficients[:, 1] / middle, spread / np.abs(middle), whole & (coefficients[:, 0] > 0.2)


def log_ratio(cells: Cells, model: OrderModel, lamp: Lamp) -> float:
    """Logarithm of the evidence for contact at the centre over that for contact at the edge.

    Parameters
    ----------
    cells : Cells
    model : OrderModel
        Of the same zero and sign as the cells' orders.
    lamp : Lamp

    Returns
    -------
    float
        Reduced where even the better sense explains the contrast badly, zero where neither
        does: the orders are then not to be trusted.
    """
    other, _ = _best(_Reasons(cells, np.zeros(len(cells.order))))
    misfits = []
    evidence = {}
    for sign in (1, -1):
        # the least order is not under zero, but for the fit's error
        least = math.floor(float((sign * _disc_order(model)).min()) + 0.15)
        logs = [other + _LOG_LAMP_UNINVOLVED]
        for film in range(_MOST_FILM):
            fall = _log_contrast(lamp, sign * cells.order - least + film)
            log, misfit = _best(_Reasons(cells, fall))
            logs.append(log - film * math.log(2))
            misfits.append(misfit)
        evidence[sign] = float(np.logaddexp.reduce(logs))
    if min(misfits) > _MISFIT:
        return 0.0
    ratio = (evidence[1] - evidence[-1]) * math.copysign(1.0, model.power)
    return ratio / max(1.0, min(misfits))


def _log_contrast(lamp: Lamp, order: Vector) -> Vector:
    return np.log(np.maximum(lamp.contrast(np.maximum(order, 0) * lamp.wavelength_nm), 1e-6))


def _linear_reasons(cells: Cells) -> tuple[NDArray[np.float64], Vector]:
    """Columns of the reasons that are linear in ln V, and the widths of their coefficients."""
    terms = [term for term in zernike_terms(4) if term[0] > 0]
    tone = np.log(np.maximum(cells.light, 1e-6))
    tone -= tone.mean()
    columns = [np.ones(len(tone)), tone, 1 - np.exp(-tone)]
    design = np.column_stack([*columns, zernike_matrix(terms, cells.u, cells.v)])
    return design, np.array([_LEVEL[1], _TONE, _STRAY, *(_SLOW_TERMS[n] for n, _ in terms)])


def _best(reasons: _Reasons) -> tuple[float, float]:
    """Log evidence and misfit a cell, the better of two starts of the blur."""
    return max(_evidence(reasons, blur) for blur in (0.7, 3.0))


class _Reasons:
    """Contrast of cells by its causes: ln V = linear ones + blur + lamp.

    The values are the coefficients of the linear ones, the blur's standard deviation [px] and
    the logarithm of the factor on the lamp's fall; each has a Gaussian prior.
    """

    def __init__(self, cells: Cells, fall: Vector) -> None:
        self.design, width = _linear_reasons(cells)
        self.fall, self.contrast = fall, cells.contrast
        self.sigma = np.hypot(cells.u_contrast, _FLOOR * np.maximum(cells.contrast, 0.1))
        self.loss = -2 * np.pi**2 * cells.frequency**2
        self.precision = 1 / np.concatenate([width, [_BLUR_SHARE * cells.blur_px, _WIDTH]]) ** 2
        self.centre = np.zeros(len(self.precision))
        self.centre[0] = _LEVEL[0]

    def residual(self, values: Vector) -> tuple[Vector, Vector]:
        """Residuals in units of sigma, and the contrast that is expected; each shape (K,)."""
        *linear, blur, factor = values
        log = self.design @ linear + self.loss * blur**2 + self.fall * math.exp(factor)
        predicted = np.exp(np.minimum(log, 0.5))
        return (self.contrast - predicted) / self.sigma, predicted

    def cost(self, values: Vector) -> float:
        """Twice the negative logarithm of likelihood times prior, less a constant."""
        residual, _ = self.residual(values)
        return float(residual @ residual + self.precision @ (values - self.centre) ** 2)

    def normal(self, values: Vector) -> tuple[NDArray[np.float64], Vector]:
        """Gauss-Newton Hessian and descending gradient of half the cost."""
        residual, predicted = self.residual(values)
        *_, blur, factor = values
        slopes = [self.design, 2 * blur * self.loss[:, None], math.exp(factor) * self.fall[:, None]]
        jacobian = np.hstack(slopes) * (predicted / self.sigma)[:, None]
        gradient = jacobian.T @ residual - self.precision * (values - self.centre)
        return jacobian.T @ jacobian + np.diag(self.precision), gradient


def _evidence(reasons: _Reasons, blur: float) -> tuple[float, float]:
    """Laplace approximation of the evidence about the most probable causes, and the misfit."""
    values = reasons.centre.copy()
    values[-2] = blur
    damping, cost = 1e-3, reasons.cost(values)
    for _ in range(40):
        hessian, gradient = reasons.normal(values)
        step = np.linalg.solve(hessian + damping * np.diag(np.diag(hessian)), gradient)
        trial_cost = reasons.cost(values + step)
        if trial_cost < cost:
            gain, cost, values, damping = cost - trial_cost, trial_cost, values + step, damping / 5
            if gain < 1e-4:
                break
        elif damping > 1e6:
            break
        else:
            damping *= 8
    hessian, _ = reasons.normal(values)
    residual, _ = reasons.residual(values)
    return -0.5 * cost - 0.5 * float(np.linalg.slogdet(hessian)[1]), float(np.mean(residual**2))
