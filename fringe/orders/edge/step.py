"""Place an edge to a fraction of a pixel, on the light's step from fringes to surroundings.

Across the rim the light goes from the prediction of a fit of the fringes over a chamfer to the
light some pixels farther out, in two steps that the lens blurs to error functions. Radius,
place and oval of the first step, and the nuisance parameters of the profile, are fitted to all
rays together, robustly, so that rays with equal light on both sides, or with dirt, hardly count.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.boundary import SHAPES, reshaped
from fringe.orders.edge.rays import cast
from fringe.orders.fit.field import Array
from fringe.orders.fit.least_squares import Descent, robust_cost, robust_least_squares
from fringe.orders.fit.refine import Fit, expected
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median, median_round
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
Predictor = Callable[[Vector, Vector], tuple[NDArray[np.floating], NDArray[np.floating]]]
_WITHIN_PX, _BEYOND_PX, _STEP_PX = 4.0, 7.0, 0.5  # of the rays that are fitted
_WELL_WITHIN_PX = -1.5
_OUT_PX = (8.0, 10.0)  # where the light beyond the chamfer is measured
# starts: places of the edge, widths of the chamfer, its light as a share of the fringes'
_SHIFTS_PX, _WIDTHS_PX, _LEVELS = (-1.0, 0.0, 1.0, 2.0), (1.0, 2.0, 3.5, 5.5), (0.1, 0.5, 1.1)
_CLEAR = 0.5  # gain of a step from which the next fit starts
_EVERY_NTH = 5  # one ray in so many is fitted to choose among starts
_NUISANCE = 6  # nuisance parameters of the step profile
# their bounds; spread and width are logarithms, and the chamfer's light is not negative
_LOWEST = (-1.5, np.log(0.3), 0.0, -np.inf, -np.inf, -0.1)
_HIGHEST = (1.5, np.log(9.0), 1.6, np.inf, np.inf, 0.1)
# Standard uncertainty of the radius, from found edges of rendered works: its floor, and the
# factor on the uncertainty from the light's scatter. Fringes that end on a dark chamfer end at a
# step of light whatever their phase there; on a bright one only their contrast ends.
_DARK, _LEAST_PX, _SCATTER = 0.5, (0.05, 0.1), (6.0, 9.0)
# At a turned edge, where fits that extrapolate differently have different costs, the true edge
# may lie farther out than either.
_TURNED_PX, _SAME_COST = 0.3, 1.3
_SECTOR = 6  # rays with correlated residuals
# residual well within the rim, as shares of the fringes' amplitude and of the light, above which
# the fit does not describe the picture
_MOST_MISFIT, _MOST_PLAIN = 0.5, 0.1
_FARTHEST_PX = 7.0  # that an edge is moved: the rays reach no further
_MOST_LOG_SPREAD = 1.2
_TABLE_STEPS, _TABLE_END = 256, 2304  # of the normal distribution: a unit, and from its middle
# Share of the rays that must lie in the frame. With fewer than `_MOST_SEEN` the oval is not
# fitted, which leaves the radius uncertain by a share.
_LEAST_SEEN, _MOST_SEEN, _PART_SHARE = 0.6, 0.8, 0.0018


@dataclass(frozen=True)
class LightStep:
    """An edge on the step of light at the rim.

    Attributes
    ----------
    edge : Edge
        With the standard uncertainty of its semi-axes.
    moved_px : float
        Greatest distance from the starting edge.
    across : ndarray, shape (6,)
        The light across the rim, as a start for the next step.
    gain : float
        Reduction of the cost by a step, as a share of the cost of continued fringes.
    """

    edge: Edge
    moved_px: float
    across: Vector
    gain: float


def light_step(
    photo: Photo, edge: Edge, fits: Sequence[Fit], share: float, before: LightStep | None = None
) -> LightStep | None:
    """Move an edge onto the step of light at the rim.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Within a few pixels of the truth.
    fits : sequence of Fit
        On the unit disc of the edge shrunk by `share`; that which continues best is taken.
    share : float
    before : LightStep, optional
        An earlier step near by, to start from.

    Returns
    -------
    LightStep or None
        None where no step is seen, or it lies elsewhere.
    """
    predictors = [_predictor(fit, share) for fit in fits]
    return light_step_between(photo, edge, predictors, fits[0].noise, before)


def _predictor(fit: Fit, share: float) -> Predictor:
    """Light that a fit expects, from places on the unit disc of an edge that it is a share of."""

    def predicted(u: Vector, v: Vector) -> tuple[Array, Array]:
        flat = [(w / share).astype(np.float32).ravel() for w in (u, v)]
        light, amplitude = expected(fit, *flat)
        return light.reshape(u.shape), amplitude.reshape(u.shape)

    return predicted


def light_step_between(
    photo: Photo,
    edge: Edge,
    predictors: Sequence[Predictor],
    noise: float,
    before: LightStep | None = None,
) -> LightStep | None:
    """Move an edge onto the step of light at the rim, from what is expected within it.

    Parameters
    ----------
    photo, edge, before
        As for :func:`light_step`.
    predictors : sequence of callables
        From places on the edge's unit disc, shape (A, R), to the light expected there and the
        fringes' amplitude.
    noise : float
        Robust deviation of the light from what is expected.
    """
    radius = float(np.sqrt(edge.a * edge.b))
    offset = np.arange(-_WITHIN_PX, _OUT_PX[1] + _STEP_PX / 2, _STEP_PX)
    rays = cast(photo, edge, 1 + offset / radius)
    usable = rays.usable.all(axis=1)
    if usable.mean() < _LEAST_SEEN:
        return None
    u, v = (w[usable] for w in rays.unit())
    light = rays.light[usable].astype(float)
    beyond = light[:, offset >= _OUT_PX[0]].mean(axis=1)
    beyond = median_round(beyond, 9)[:, None]
    near = offset <= _BEYOND_PX
    predicted = [[w[:, near] for w in predictor(u, v)] for predictor in predictors]
    predictions = [prediction.astype(float) for prediction, _ in predicted]
    tolerance = max(2 * noise, 0.1 * float(median(np.abs(predictions[0] - beyond))))
    all_round = usable.mean() > _MOST_SEEN
    shapes = SHAPES[: 5 if all_round else 3, usable]
    rims = [
        _RimLight(shapes, offset[near], light[:, near], prediction, beyond)
        for prediction in predictions
    ]
    unbroken = min(robust_cost(rim.light - rim.prediction, tolerance) for rim in rims)
    descents: list[Descent] = []
    start = None if before is None else np.append(0 * shapes[:, 0], before.across)
    for rim in rims:
        descents.append(_fitted_rim(rim, tolerance, start))
        # differently extrapolated fringes end at the same step, if it is clear
        if before is None and descents[-1].cost < (1 - _CLEAR) * unbroken:
            start = descents[-1].point
    costs = [descent.cost for descent in descents]
    best = int(np.argmin(costs))
    # where the contrast vanishes at the rim, the mean light must fit
    largest_misfit = (
        _MOST_MISFIT * median(predicted[best][1]),
        _MOST_PLAIN * median(predictions[best]),
    )
    if median(np.abs(rims[best].residual_within)) > max(largest_misfit):
        return None
    shape, across = descents[best].point[:-_NUISANCE], descents[best].point[-_NUISANCE:]
    moved, log_spread = float(np.abs(shape @ shapes).max()), across[0]
    if moved > _FARTHEST_PX or abs(log_spread) > _MOST_LOG_SPREAD:
        return None
    bright = int(across[2] > _DARK)
    least_px = _TURNED_PX if max(costs) > _SAME_COST * min(costs) else _LEAST_PX[bright]
    if not all_round:
        least_px = max(least_px, _PART_SHARE * radius)
    scatter_px = _SCATTER[bright] * rims[best].scatter_px(descents[best], tolerance)
    u_px = float(np.hypot(least_px, scatter_px))
    gain = 1 - min(costs) / max(unbroken, 1e-9)
    shape = np.pad(shape / radius, (0, 5 - shape.size))
    return LightStep(replace(reshaped(edge, shape), u_px=u_px), moved, across, gain)


def _fitted_rim(rim: _RimLight, tolerance: float, start: Vector | None) -> Descent:
    """Fit a rim from a start, or the best of some, one for each brightness of the chamfer."""
    free = np.full(len(rim.shapes), np.inf)
    bounds = np.append(-free, _LOWEST), np.append(free, _HIGHEST)
    if start is None:
        subset = rim.every_nth(_EVERY_NTH)
        descents = []
        for level in _LEVELS:
            starts = [
                np.array([shift, *[0] * (free.size - 1), 0, np.log(width), level, 0, 0, 0])
                for shift in _SHIFTS_PX
                for width in _WIDTHS_PX
            ]
            nearest = min(
                starts, key=lambda p: robust_cost(subset.linearise(p).residuals, tolerance)
            )
            descents.append(robust_least_squares(subset.linearise, nearest, bounds, tolerance, 12))
        start = min(descents, key=lambda fit: fit.cost).point
    return robust_least_squares(rim.linearise, start, bounds, tolerance, 25)


@dataclass(frozen=True)
class _RimLight:
    """Light along rays across the rim, shape (A, R), and its prediction on either side."""

    shapes: NDArray[np.float64]
    offset: Vector
    light: NDArray[np.float64]
    prediction: NDArray[np.float64]
    beyond: NDArray[np.float64]

    @cached_property
    def level(self) -> float:
        """Median light of the fringes, the unit of the chamfer's light."""
        return float(median(self.prediction))

    @property
    def residual_within(self) -> NDArray[np.float64]:
        """Residual of the fringes well within the rim, where there must be fringes."""
        inside = self.offset < _WELL_WITHIN_PX
        return (self.light - self.prediction)[:, inside]

    @cached_property
    def derivatives(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Slope and half the second derivative of the fringes' light along the rays, per pixel."""
        slope = np.gradient(self.prediction, _STEP_PX, axis=1)
        return slope, np.gradient(slope, _STEP_PX, axis=1) / 2

    def every_nth(self, step: int) -> _RimLight:
        """Every step-th ray."""
        shapes = self.shapes[:, ::step]
        return _RimLight(
            shapes, self.offset, self.light[::step], self.prediction[::step], self.beyond[::step]
        )

    def linearise(self, p: Vector) -> _RimModel:
        """Residuals and Jacobian of a step of light.

        `p` has radius, place and, if fitted, oval [px], logarithms of the lens's spread and of the
        chamfer's width [px], level and slopes of the chamfer's light along x and y, and of the
        light beyond along the ray.
        """
        return _RimModel(self, p)

    def scatter_px(self, descent: Descent, tolerance: float) -> float:
        """Standard uncertainty of the radius from the scatter of sectors [px].

        Sandwich estimator as in `fringe.orders.fit.refine`.
        """
        jacobian = self.linearise(descent.point).jacobian()
        weight = 1 / (1 + (descent.residuals / tolerance) ** 2)
        pixel_scores = (jacobian * (weight * descent.residuals)[:, None]).reshape(
            *self.light.shape, -1
        )
        sectors = np.arange(0, len(pixel_scores), _SECTOR)
        scores = np.add.reduceat(pixel_scores.sum(axis=1), sectors, axis=0)
        normal = jacobian.T @ (jacobian * weight[:, None])
        rows = np.linalg.lstsq(normal, scores.T, rcond=1e-9)[0]
        return float(np.linalg.norm(rows[0]))


class _RimModel:
    """Residuals and Jacobian of a step of light at a rim."""

    def __init__(self, rim: _RimLight, p: Vector) -> None:
        """Work out the two sides of the step; see `_RimLight.linearise`."""
        self.rim, self.p = rim, p
        from_rim = (p[:-_NUISANCE] @ rim.shapes)[:, None] - rim.offset
        # distances from the steps [spread], the blurred share of each side, and their light
        self.to_within = from_rim / np.exp(p[-6])
        self.to_upon = (from_rim + np.exp(p[-5])) / np.exp(p[-6])
        self.chamfer = rim.level * (p[-4:-1] @ rim.shapes[:3])[:, None]
        self.around = rim.beyond + rim.level * p[-1] * (rim.offset - _BEYOND_PX)
        self.upon, self.within = normal_share(self.to_upon), normal_share(self.to_within)
        self.bell = _bell(self.to_within)

    @cached_property
    def residuals(self) -> Vector:
        """Measured less predicted light, shape (A * R,)."""
        rim, spread = self.rim, np.exp(self.p[-6])
        expected = self.around + (self.chamfer - self.around) * self.upon
        expected += (rim.prediction - self.chamfer) * self.within
        # blur of light with a slope and curvature at the step
        slope, bend = rim.derivatives
        blurred = spread * self.bell * (slope + bend * spread * self.to_within)
        return np.asarray(rim.light - expected + blurred).ravel()

    def jacobian(self) -> NDArray[np.float64]:
        """Derivatives of `residuals`, shape (A * R, P)."""
        rim, p, to = self.rim, self.p, self.to_within
        bell, (slope, bend), spread = self.bell, rim.derivatives, np.exp(p[-6])
        first = (self.chamfer - self.around) * _bell(self.to_upon)
        second = (rim.prediction - self.chamfer) * bell
        second += spread * bell * (slope * to + bend * spread * (to**2 - 1))
        derivatives = np.empty((*rim.light.shape, p.size))
        derivatives[..., :-_NUISANCE] = ((first + second) / -spread)[..., None] * rim.shapes.T[
            :, None
        ]
        derivatives[..., -6] = first * self.to_upon + second * to
        derivatives[..., -6] += spread * bell * (slope + 2 * bend * spread * to)
        derivatives[..., -5] = first * np.exp(p[-5]) / -spread
        chamfer_share = rim.level * (self.within - self.upon)
        derivatives[..., -4:-1] = chamfer_share[..., None] * rim.shapes[:3].T[:, None]
        derivatives[..., -1] = rim.level * (rim.offset - _BEYOND_PX) * (self.upon - 1)
        return derivatives.reshape(-1, p.size)


def normal_share(at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of a normal distribution that lies below `at`, to 1e-15.

    From a table, and Taylor's series about its nearest place.
    """
    at = np.clip(at, -_TABLE_END / _TABLE_STEPS, _TABLE_END / _TABLE_STEPS)
    place = np.rint(at * _TABLE_STEPS)
    x, index = place / _TABLE_STEPS, place.astype(np.intp) + _TABLE_END
    away = at - x
    share, density = (column.take(index) for column in _table())
    # the density's derivatives are its products with Hermite's polynomials
    series = (x * (3 - x * x)) * (away / 24) + (x * x - 1) / 6
    series = 1 + away * (away * series - x / 2)
    return np.asarray(share + density * away * series)


@lru_cache(1)
def _table() -> tuple[Vector, Vector]:
    """The normal distribution and its density at whole steps about zero."""
    at = np.arange(-_TABLE_END, _TABLE_END + 1) / _TABLE_STEPS
    share = np.array([0.5 * math.erfc(-x / math.sqrt(2)) for x in at])
    return share, np.exp(-(at**2) / 2) / math.sqrt(2 * math.pi)


def _bell(at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Density of the normal distribution."""
    return np.asarray(np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi))
