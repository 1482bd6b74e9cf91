"""Fringes followed outward across a rim, ring by ring, as far as they go.

On each narrow ring about the work's middle the light is fitted with light that varies slowly round
it and with fringes of the order that the inner part of the work extrapolates to, and the same moved
by a quarter: how strong fringes are on the ring, and by how much they are out of step. A turned rim
puts them out of step, by more and more, but they stay as strong as the lens leaves them; where the
face ends they are gone within the lens's blur. No form is assumed, but that it is round.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.patches import is_patch
from fringe.optics.zernike import zernike_matrix, zernike_sum_on_rays, zernike_terms
from fringe.orders.edge.rays import cast
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit, between_fringes
from fringe.orders.fit.robust import cauchy, robust_sigmas
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median, running_mean
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
RAYS = 240
_STEP_PX = 0.5
_REWEIGHTINGS, _ROBUST = 2, 2.5
_INNER = 0.88  # share of the radius, within which a model is taken to be right
_LIGHT_AT = 0.95  # where the light of a fit is taken, which need not hold beyond the rim
_BROAD = zernike_terms(4)
_SLOW = 3  # columns of light that varies slowly round a ring
# share of a ring's variance that fringes explain, from which they are there; what is left of their
# variance beside slow light, below which a ring cannot tell: rings about the work's own middle
_THERE, _TELLS = 0.5, 0.05
SURE = 0.8  # share explained, of a ring whose order is believed
_SLOPE_PX = 2.0  # over which the order's slope is taken that goes on
_FULL_PX = 3.0  # within the end of fringes, over which their full strength is
SHARED = 2.0  # by which rays that share pixels tell less than others
_LEAST_UNEVEN = 0.02  # error of an order that is not round, beside noise [fringe]
_GAP_PX = 2.0  # without fringes, over which they are followed: a dip where they are too fine


@dataclass(frozen=True)
class RimRings:
    """Fringes on rings across a rim; R rings.

    Attributes
    ----------
    edge : Edge
        On whose unit disc the rings lie.
    radius : ndarray, shape (R,)
        Of the rings, on the unit disc.
    fit : Fit
        Whose light theirs is a share of.
    broad : OrderModel
        The extrapolated order.
    values : ndarray, shape (R, 5)
        Of each ring: light that varies slowly round it, as a share of the fit's, less one; parts of
        the fringes in step with the extrapolated order and a quarter off.
    ahead : ndarray, shape (R,)
        By how much the picture's order is ahead of the extrapolated one, followed outward [fringe].
    explained : ndarray, shape (R,)
        Share of what slow light leaves that fringes explain.
    tells : ndarray, shape (R,)
        Least share of the fringes' variance that slow light cannot follow.
    uneven : ndarray, shape (R, 4)
        By how much the order round a ring is ahead of its mean, in multiples of cosine and sine of
        the angle and of twice it [fringe].
    u_uneven : ndarray, shape (R, 4)
        Their standard uncertainties [fringe].
    light : ndarray, shape (R, A)
        Light along each ring over that of the fit, less one.
    weight : ndarray, shape (R, A)
        Of that light in the ring's fit.
    phase : ndarray, shape (R, A)
        Of the extrapolated order [rad].
    angle : ndarray, shape (A,)
        Of the places along the rings [rad].
    """

    edge: Edge
    radius: Vector
    fit: Fit
    broad: OrderModel
    values: Vector
    ahead: Vector
    explained: Vector
    tells: Vector
    uneven: Vector
    u_uneven: Vector
    light: Vector
    weight: Vector
    phase: Vector
    angle: Vector

    @cached_property
    def strength(self) -> Vector:
        """Strength of the fringes, as a share of the light, shape (R,)."""
        return np.asarray(np.hypot(self.values[:, _SLOW], self.values[:, _SLOW + 1]))

    @property
    def left(self) -> Vector:
        """Deviation of what fringes leave of each ring, as a share of the light, shape (R,)."""
        share = np.maximum(self.explained, 1e-6)
        return np.asarray(self.strength * np.sqrt((1 / share - 1) / 2))

    @cached_property
    def mean(self) -> Vector:
        """Mean light of each ring over that of the fringes, less one, shape (R,)."""
        return self.values[:, 0]

    @property
    def slow(self) -> Vector:
        """Slow light of each ring, beside the fringes: mean less one, and its slopes."""
        return self.values[:, :_SLOW]

    @cached_property
    def order(self) -> Vector:
        """Mean order round each ring, shape (R,) [fringe]."""
        return round_order(self.broad, self.radius) + self.ahead

    @property
    def noise(self) -> float:
        """Noise of a pixel near the rim as the fit has it, as a share of the light."""
        turn = np.linspace(0, 2 * np.pi, RAYS)
        return self.fit.noise / float(median(_light_near(self.fit, np.cos(turn), np.sin(turn))))

    @property
    def radius_px(self) -> float:
        """Radius of the edge [px]."""
        return float(np.sqrt(self.edge.a * self.edge.b))

    @property
    def step_px(self) -> float:
        """Distance from ring to ring [px]."""
        return float(self.radius[1] - self.radius[0]) * self.radius_px

    def beside_fringes(self, rings: slice) -> Vector:
        """Light along rings without their fringes, over that of the fit, less one."""
        cos, sin = self.values[rings, _SLOW, None], self.values[rings, _SLOW + 1, None]
        phase = self.phase[rings]
        return np.asarray(self.light[rings] - cos * np.cos(phase) - sin * np.sin(phase))

    def share_of(self, inner: Vector, outer: Vector, rings: slice) -> Vector:
        """How far the light of rings is on from one to another, beside fringes.

        Parameters
        ----------
        inner, outer : ndarray, shape (A,)
            Light along a ring, over that of the fit, less one.
        rings : slice

        Returns
        -------
        ndarray, shape (K,)
            Zero where it is as `inner`, one where it is as `outer`.
        """
        weight, phase = self.weight[rings, None], self.phase[rings]
        other = np.broadcast_to(outer - inner, phase.shape)
        columns = np.stack([np.cos(phase), np.sin(phase), other], axis=1)
        normal = (weight * columns) @ columns.transpose(0, 2, 1) + 1e-6 * np.eye(3)
        target = ((weight * columns) @ (self.light[rings] - inner)[..., None])[..., 0]
        return np.asarray(np.linalg.solve(normal, target[..., None])[:, 2, 0])

    @property
    def tell(self) -> bool:
        """Whether the rings can tell at all: fringes vary along them."""
        return bool(median(self.tells) > _TELLS)

    def expected(self, u: Vector, v: Vector, held: float) -> tuple[Vector, Vector]:
        """Light that fringes make at places on the unit disc, and their amplitude.

        Beyond the radius `held` light and strength stay, and the order goes on as it went.
        """
        rho, angle = np.hypot(u, v), np.arctan2(v, u)
        cos, sin = np.cos(angle), np.sin(angle)
        known = max(2, int(np.searchsorted(self.radius, held)))
        radius, ahead = self.radius[:known], self.ahead[:known]
        near = min(known, max(2, round(_SLOPE_PX / self.step_px)))
        slope = np.polyfit(radius[-near:], ahead[-near:], 1)[0]
        order = zernike_matrix(self.broad.terms, u.ravel(), v.ravel()) @ self.broad.values
        order = order.reshape(u.shape) + np.interp(rho, radius, ahead)
        order += slope * np.maximum(rho - radius[-1], 0.0)
        at = [np.interp(rho, radius, self.values[:known, k]) for k in range(_SLOW)]
        strength = np.interp(rho, radius, self.strength[:known])
        light = _light_near(self.fit, cos, sin)
        slow = 1 + at[0] + at[1] * cos + at[2] * sin
        return light * (slow - strength * np.cos(2 * np.pi * order)), light * strength

    @property
    def last(self) -> int | None:
        """Number of the last ring that shows fringes, from within on; None where none can tell."""
        tells = self.tells > _TELLS
        there = (self.explained > _THERE) & tells
        most = max(1, round(_GAP_PX / self.step_px))
        missing = 0
        last = 0
        for k, seen in enumerate(there):
            missing = 0 if seen else missing + int(tells[k])
            if missing > most:
                break
            last = k if seen else last
        return last or None

    def off_round(self, likely: float) -> Vector:
        """Place and oval of the curve round which the order is even, as a shape of the edge.

        Where the order runs away, rings about another middle are ahead on one side and behind on
        the other, by the slope of what it runs away by.

        Parameters
        ----------
        likely : float
            Standard deviation of each part of the shape, before the rings are seen.

        Returns
        -------
        ndarray, shape (5,)
            See `boundary.SHAPES`; the radius stays.
        """
        seen = self._even
        reach = max(1, round(_SLOPE_PX / self.step_px))
        slope = np.gradient(running_mean(self.ahead, 2 * reach + 1), self.radius)
        moved = slope[seen, None] * np.stack([np.ones(seen.sum())] * 2 + [self.radius[seen]] * 2, 1)
        weight = 1 / (self.u_uneven[seen] ** 2 + _LEAST_UNEVEN**2)
        # what errs is the form of the inner part, on all rings alike
        told = (weight * moved**2).sum(axis=0) / max(1, seen.sum()) + likely**-2
        off = (weight * moved * self.uneven[seen]).sum(axis=0) / max(1, seen.sum())
        return np.append(0.0, -off / told)

    @property
    def even_px(self) -> float:
        """How far fringes are followed that are even round the rings, less what is not [px]."""
        return float(self.explained[self._even].sum()) * self.step_px

    @property
    def _even(self) -> NDArray[np.bool_]:
        """Rings to the first that is ahead by much, or shows no fringes; other light may follow."""
        return np.logical_and.accumulate((self.explained > SURE) | (self.tells <= _TELLS))


def extrapolating(model: OrderModel, reach: float = _INNER) -> OrderModel:
    """The low form of a model's inner part, without its bumps, which extrapolates well."""
    model = model.widened(tuple(term for term in model.terms if not is_patch(term)))
    u, v, weight = disc_grid(24, 48)
    u, v = reach * u, reach * v
    rows = zernike_matrix(_BROAD, u, v).reshape(-1, len(_BROAD))
    order = (zernike_matrix(model.terms, u, v) @ model.values).ravel()
    weighted = rows * (weight + 1e-9).reshape(-1, 1)
    values = np.linalg.solve(weighted.T @ rows, weighted.T @ order)
    return OrderModel(_BROAD, np.asarray(values, float))


def _with_uneven_of(broad: OrderModel, model: OrderModel) -> OrderModel:
    """The round form of one order, and all of another that is not round but its bumps."""
    rounds = [k for k, (_, m) in enumerate(broad.terms) if m == 0]
    others = [k for k, term in enumerate(model.terms) if term[1] != 0 and not is_patch(term)]
    return OrderModel(
        (*(broad.terms[k] for k in rounds), *(model.terms[k] for k in others)),
        np.concatenate([broad.values[rounds], model.values[others]]),
    )


def round_order(model: OrderModel, radius: Vector) -> Vector:
    """Mean order of a model round circles about the disc's middle."""
    rounds = [k for k, (n, m) in enumerate(model.terms) if m == 0 and n >= 0]
    rows = zernike_matrix([model.terms[k] for k in rounds], radius, 0.0 * radius)
    return np.asarray(rows @ model.values[rounds])


def half_strength(rings: RimRings, last: int) -> tuple[int, float]:
    """The outermost ring, to the last, that has half of the strength just within it; that half."""
    reach = max(1, round(_FULL_PX / rings.step_px))
    k, half = last, 0.0
    for k in range(last, 0, -1):
        half = float(rings.strength[max(k - reach, 0) : k + 1].max()) / 2
        if rings.strength[k] >= half:
            break
    return k, half


def crossing(radius: Vector, values: Vector, level: float, k: int) -> float:
    """Where values cross a level between place k and the next."""
    if k + 1 >= len(values) or values[k + 1] == values[k]:
        return float(radius[k])
    part = float(np.clip((level - values[k]) / (values[k + 1] - values[k]), 0.0, 1.0))
    return float(radius[k] + part * (radius[k + 1] - radius[k]))


def follow_rim(
    photo: Photo, edge: Edge, fit: Fit, within: float, beyond: float, uneven: float = _INNER
) -> RimRings:
    """Follow the fringes of a fit outward.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    fit : Fit
        On the edge's unit disc; right in its inner part.
    within, beyond : float
        Radii from which and to which they are followed, on the unit disc.
    uneven : float
        Radius within which what is not round of the fit's order is taken to be right, its low form
        alone; from one on all of it.
    """
    radius = np.arange(within, beyond, _STEP_PX / float(np.sqrt(edge.a * edge.b)))
    rays = cast(photo, edge, radius, RAYS)
    broad = extrapolating(fit.model)
    if uneven >= 1.0:
        broad = _with_uneven_of(broad, fit.model)
    elif uneven != _INNER:
        known = extrapolating(fit.model, uneven).values
        broad = OrderModel(_BROAD, np.where([m == 0 for _, m in _BROAD], broad.values, known))
    order = zernike_sum_on_rays(broad.terms, broad.values, radius, rays.angle).T
    around = np.stack([np.cos(rays.angle), np.sin(rays.angle)])
    light = _light_near(fit, *around)
    signal = (rays.light / light[:, None] - 1).astype(float).T
    design = np.empty((*signal.shape, _SLOW + 2))
    design[..., 0] = 1.0
    design[..., 1:_SLOW] = around.T
    phase = 2 * np.pi * order
    np.cos(phase, out=design[..., _SLOW])
    np.sin(phase, out=design[..., _SLOW + 1])
    values, explained, tells, weight = _fitted(design, signal, rays.usable.T)
    not_round, u_not_round = _uneven(design, signal, values, weight, rays.angle)
    # the light is 1 - V cos 2 pi (order + ahead)
    cos, sin = -values[:, _SLOW], values[:, _SLOW + 1]
    ahead = np.unwrap(np.arctan2(sin, cos) / (2 * np.pi), period=1.0)
    ahead -= np.round(median(ahead[: max(1, len(ahead) // 20)]))
    return RimRings(
        edge,
        radius,
        fit,
        broad,
        values,
        ahead,
        explained,
        tells,
        not_round,
        u_not_round,
        signal,
        weight,
        phase,
        rays.angle,
    )


def _light_near(fit: Fit, cos: Vector, sin: Vector) -> Vector:
    """Mean light of a fit near the rim, in some directions."""
    places = [(_LIGHT_AT * w).astype(np.float32).ravel() for w in (cos, sin)]
    light = between_fringes(fit, places[0], places[1])[0].reshape(cos.shape)
    return np.asarray(np.maximum(light.astype(float), 1e-6))


def _fitted(
    design: Vector, signal: Vector, usable: NDArray[np.bool_]
) -> tuple[Vector, Vector, Vector, Vector]:
    """Robust fit of each ring: coefficients, share explained, what of the fringes tells, weights.

    Shapes (R, A, K), (R, A) and (R, A) to (R, K), (R,), (R,) and (R, A).
    """
    weight = usable.astype(float)
    columns = design.transpose(0, 2, 1)
    for _ in range(_REWEIGHTINGS + 1):
        weighted = columns * weight[:, None, :]
        normal = weighted @ design + 1e-6 * np.eye(design.shape[2])
        target = (weighted @ signal[..., None])[..., 0]
        values = np.linalg.solve(normal, target[..., None])[..., 0]
        left = signal - (design @ values[..., None])[..., 0]
        sigma = robust_sigmas(left)[:, None] + 1e-3
        weight = usable * cauchy(left / (_ROBUST * sigma))
    slow, mixed = normal[:, :_SLOW, :_SLOW], normal[:, :_SLOW, _SLOW:]
    fringes = normal[:, _SLOW:, _SLOW:] - mixed.transpose(0, 2, 1) @ np.linalg.solve(slow, mixed)
    total = np.maximum(weighted[:, 0].sum(axis=1), 1e-9)
    tells = np.linalg.eigvalsh(fringes)[:, 0] / total
    two = values[:, _SLOW:]
    by_fringes = np.einsum("ri,rij,rj->r", two, fringes, two)
    unexplained = np.einsum("ra,ra->r", weighted[:, 0], left**2)
    return values, by_fringes / np.maximum(by_fringes + unexplained, 1e-12), tells, weight


def _uneven(
    design: Vector, signal: Vector, values: Vector, weight: Vector, angle: Vector
) -> tuple[Vector, Vector]:
    """By how much the order of each ring is ahead of its mean, see `RimRings.uneven`.

    To first order, from what is left of its light, with the standard uncertainties; each part as
    if it were alone.
    """
    cos, sin = values[:, _SLOW, None], values[:, _SLOW + 1, None]
    by_order = 2 * np.pi * (sin * design[..., _SLOW] - cos * design[..., _SLOW + 1])
    left = signal - (design @ values[..., None])[..., 0]
    waves = np.stack([f(k * angle) for k in (1, 2) for f in (np.cos, np.sin)], axis=1)
    told = (weight * by_order**2) @ waves**2 + 1e-9
    uneven = (weight * by_order * left) @ waves / told
    noise = SHARED * (weight * left**2).sum(axis=1) / np.maximum(weight.sum(axis=1), 1.0)
    return uneven, np.sqrt(noise[:, None] / told)
