"""Where the contact is, told by the contrast of one picture: it falls as the gap grows.

Fringes turned round, gap for gap, look the same but for their contrast: a broad line's falls
with the path difference (`Lamp.contrast`). The contrast that is left of it has other reasons,
too, and every one of them is weighed: blur, which takes more from finer fringes; stray light,
focus and reflections, which vary slowly over the work; a tone curve, by which contrast goes
with brightness; a film of air that holds the pieces apart; a lamp that is broader or narrower
than its label. For either sense the most that these could explain is taken, and the ratio of
the two evidences decides, or does not (Laplace's approximation of the marginal likelihood;
MacKay, Information Theory, ch. 27 and 28, formula from memory).

For a sphere the two senses differ in the contrast's slope against order alone, and that is also
what blur makes. So what decides is how large each of the reasons can plausibly be. Those
widths, below, are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid, zernike_matrix, zernike_terms
from fringe.optics.lamps import Lamp
from fringe.orders.demod import OrderModel
from fringe.orders.field import cut_field
from fringe.orders.polish import Fit, expected
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Vector = NDArray[np.float64]

DECISIVE = 9.0  # natural logarithm of the ratio of evidences: 8,000 to one
# Standard deviations of what else moves the logarithm of the contrast.
_BLUR_PX = 1.5  # standard deviation of the camera's blur
_SLOW = {1: 0.15, 2: 0.15, 3: 0.06, 4: 0.06}  # Zernike terms by degree, at the rim
_TONE = 0.1  # for light that is brighter by a factor e
_WIDTH = 0.25  # of the lamp's fall, by its width squared
_LEVEL = (-0.4, 1.0)  # mean and width of the contrast itself
_FILM = 8  # a film of so many fringes at most, each half as probable as the one before
_FLOOR = 0.03  # of each contrast: what a fit leaves even without noise
_MISFIT = 5.0  # mean square of what is left, in such parts, from which nothing is believed

_GRID = 5  # cells a side, within which contrast is taken fringe by fringe
_SLICES = 24
_FREQUENCY_PX = 0.15
_LEAST_RADIUS_PX = 100.0


@dataclass(frozen=True)
class Told:
    """What the contrast tells.

    Attributes
    ----------
    sense : str
        `centre`, `edge` or `unknown`.
    log_ratio : float
        Natural logarithm of the evidence for contact at the centre over that for the edge.
    """

    sense: str
    log_ratio: float


UNTOLD = Told("unknown", 0.0)


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
    """

    contrast: Vector
    u_contrast: Vector
    order: Vector
    u: Vector
    v: Vector
    frequency: Vector
    light: Vector


def told_by_contrast(photo: Photo, edge: Edge, fit: Fit, lamp: Lamp) -> Told:
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
    Told
        `unknown` where the evidence is not decisive, or the power has no sign to speak of.
    """
    if len(lamp.lines) != 1 or abs(fit.model.power) < _least_power(fit):
        return UNTOLD
    span = np.ptp(_disc_order(fit.model))
    if float(lamp.contrast(span * lamp.wavelength_nm)) > 0.9:
        return UNTOLD
    cells = measure_cells(photo, edge, fit)
    if len(cells.contrast) < 8:
        return UNTOLD
    ratio = log_ratio(cells, fit.model, lamp)
    if abs(ratio) < DECISIVE:
        return Told("unknown", ratio)
    return Told("centre" if ratio > 0 else "edge", ratio)


def _least_power(fit: Fit) -> float:
    """Power under which its sign is not certain, whatever the sign of the orders [fringe]."""
    place = fit.model.terms.index((2, 0))
    return 0.1 + 10 * math.sqrt(max(float(fit.covariance[place, place]), 0.0))


def _disc_order(model: OrderModel) -> Vector:
    u, v, _ = disc_grid(24, 72)
    return zernike_matrix(model.terms, u, v).reshape(-1, len(model.terms)) @ model.values


def measure_cells(photo: Photo, edge: Edge, fit: Fit) -> Cells:
    """Measure the contrast in parts of the aperture, against the fitted light and orders."""
    radius = math.sqrt(edge.a * edge.b)
    finest = _FREQUENCY_PX * radius / max(fit.model.steepest(), 1e-9)
    scale = max(1, int(min(finest, radius / _LEAST_RADIUS_PX)))
    field = cut_field(photo, edge, scale)
    good = field.weight > 0
    u, v, light = field.u[good], field.v[good], field.light[good].astype(float)
    want, amplitude = expected(fit, u, v)
    left = np.abs(light - want)
    noise = 1.4826 * float(np.median(left)) + 1e-9
    clean = left < np.maximum(6 * noise, 0.8 * float(np.median(amplitude)))
    u, v, light = u[clean], v[clean], light[clean]
    order = fit.model.order(u, v).astype(float)
    level = zernike_matrix(fit.light_terms, u, v) @ fit.light
    names, cell = np.unique(_cell_numbers(order, u, v), return_inverse=True)
    count = np.bincount(cell, minlength=len(names))

    def mean(values: NDArray[Any]) -> Vector:
        return np.asarray(np.bincount(cell, weights=values, minlength=len(names)) / count, float)

    contrast, u_contrast, kept = _amplitudes(light, level, order, cell, count)
    middle_u, middle_v = mean(u), mean(v)
    steps = fit.model.frequency(middle_u, middle_v) @ field.unit_from_px
    lost = np.sinc(steps[:, 0]) * np.sinc(steps[:, 1]) if scale > 1 else np.ones(len(names))
    f = np.hypot(steps[:, 0], steps[:, 1]) / scale
    rows = contrast / lost, u_contrast / lost, mean(order), middle_u, middle_v, f, mean(level)
    return Cells(*(row[kept] for row in rows))


def _cell_numbers(order: Vector, u: Vector, v: Vector) -> NDArray[np.int64]:
    """Number of each pixel's cell: a slice of whole fringes within a square of the disc."""
    width = max(1, math.ceil(np.ptp(order) / _SLICES))
    across, down = (
        np.clip(((x + 1) / 2 * _GRID).astype(np.int64), 0, _GRID - 1) for x in (u, v)
    )
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
    found = np.linalg.solve(normal, side[..., None])[..., 0]
    scatter = total((light - sum(found[cell, k] * columns[k] for k in range(3))) ** 2)
    variance = scatter / np.maximum(count - 3, 1)
    # neighbours share noise: a pixel behind a colour filter array stands for a quarter
    spread = np.sqrt(4 * variance * np.linalg.inv(normal)[:, 1, 1])
    middle = np.where(np.abs(found[:, 0]) > 1e-9, found[:, 0], 1.0)
    return -found[:, 1] / middle, spread / np.abs(middle), whole & (found[:, 0] > 0.2)


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
        Held down where even the better sense explains the contrast badly, zero where neither
        does: then the orders are not what they seem.
    """
    orders = _disc_order(model)
    design, width = _design(cells)
    found = {}
    misfit = math.inf
    for sign in (1, -1):
        # the least order is not under zero, but for the fit's error
        turned = sign * cells.order - math.floor(float((sign * orders).min()) + 0.15)
        logs = []
        for film in range(_FILM):
            fall = _log_contrast(lamp, turned + film)
            best = max(_fits(cells, design, width, fall))
            logs.append(best[0] - film * math.log(2))
            misfit = min(misfit, best[1])
        found[sign] = float(np.logaddexp.reduce(logs))
    if misfit > _MISFIT:
        return 0.0
    ratio = (found[1] - found[-1]) * math.copysign(1.0, model.power)
    return ratio / max(1.0, misfit)


def _log_contrast(lamp: Lamp, order: Vector) -> Vector:
    return np.log(np.maximum(lamp.contrast(np.maximum(order, 0) * lamp.wavelength_nm), 1e-6))


def _design(cells: Cells) -> tuple[NDArray[np.float64], Vector]:
    """Columns of the slow reasons and the standard deviations of their coefficients."""
    terms = [term for term in zernike_terms(4) if term[0] > 0]
    slow = zernike_matrix(terms, cells.u, cells.v)
    tone = np.log(np.maximum(cells.light, 1e-6))
    design = np.column_stack([np.ones(len(cells.u)), tone - tone.mean(), slow])
    width = np.array([_LEVEL[1], _TONE, *(_SLOW[n] for n, _ in terms)])
    return design, width


def _fits(
    cells: Cells, design: NDArray[np.float64], width: Vector, fall: Vector
) -> Iterator[tuple[float, float]]:
    """Log evidence and misfit a cell of one sense and film, from two starts of the blur."""
    for blur in (0.7, 3.0):
        yield _evidence(_Reasons(cells, design, width, fall), blur)


class _Reasons:
    """Contrast of cells by its reasons: ln V = slow ones + blur + lamp.

    The values are the coefficients of the slow ones, the blur's standard deviation [px] and
    the logarithm of the factor on the lamp's fall; each has a Gaussian prior.
    """

    def __init__(
        self, cells: Cells, design: NDArray[np.float64], width: Vector, fall: Vector
    ) -> None:
        self.design, self.fall, self.contrast = design, fall, cells.contrast
        self.sigma = np.hypot(cells.u_contrast, _FLOOR * np.maximum(cells.contrast, 0.1))
        self.loss = -2 * np.pi**2 * cells.frequency**2
        self.precision = 1 / np.concatenate([width, [_BLUR_PX, _WIDTH]]) ** 2
        self.centre = np.zeros(len(self.precision))
        self.centre[0] = _LEVEL[0]

    def left(self, values: Vector) -> tuple[Vector, Vector]:
        """Residuals in units of sigma, and the contrast that is expected; each shape (K,)."""
        *slow, blur, factor = values
        log = self.design @ slow + self.loss * blur**2 + self.fall * math.exp(factor)
        want = np.exp(np.minimum(log, 0.5))
        return (self.contrast - want) / self.sigma, want

    def cost(self, values: Vector) -> float:
        """Twice the negative logarithm of likelihood times prior, less a constant."""
        left, _ = self.left(values)
        return float(left @ left + self.precision @ (values - self.centre) ** 2)

    def normal(self, values: Vector) -> tuple[NDArray[np.float64], Vector]:
        """Gauss-Newton Hessian and descending gradient of half the cost."""
        left, want = self.left(values)
        *_, blur, factor = values
        slopes = [self.design, 2 * blur * self.loss[:, None],
                  math.exp(factor) * self.fall[:, None]]  # fmt: skip
        jacobian = np.hstack(slopes) * (want / self.sigma)[:, None]
        gradient = jacobian.T @ left - self.precision * (values - self.centre)
        return jacobian.T @ jacobian + np.diag(self.precision), gradient


def _evidence(reasons: _Reasons, blur: float) -> tuple[float, float]:
    """Laplace's integral over the reasons round the most probable ones, and the misfit there."""
    values = reasons.centre.copy()
    values[-2] = blur
    damping, cost = 1e-3, reasons.cost(values)
    for _ in range(40):
        hessian, gradient = reasons.normal(values)
        step = np.linalg.solve(hessian + damping * np.diag(np.diag(hessian)), gradient)
        now = reasons.cost(values + step)
        if now < cost:
            gain, cost, values, damping = cost - now, now, values + step, damping / 5
            if gain < 1e-4:
                break
        elif damping > 1e6:
            break
        else:
            damping *= 8
    hessian, _ = reasons.normal(values)
    left, _ = reasons.left(values)
    return -0.5 * cost - 0.5 * float(np.linalg.slogdet(hessian)[1]), float(np.mean(left**2))
