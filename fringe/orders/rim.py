"""Find the work's edge: where the fringes that fill its middle come to an end.

A rough circle comes from where local frequencies agree on one model, or, with few fringes,
from long circular edges. The fringes of its inner part are then fitted and continued
outward: up to the edge the continued model explains the light, beyond it does not. The
sharp step of light nearest to that change, if there is one, gives the last fraction of a
pixel.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from fringe.errors import Refused
from fringe.orders.basis import basis
from fringe.orders.coarse import enlarged, reduced, scale_that_holds
from fringe.orders.contest import Contest
from fringe.orders.demod import OrderModel
from fringe.orders.ellipsefit import fit_ellipse
from fringe.orders.field import Array
from fringe.orders.polish import Fit, expected
from fringe.orders.rays import RAYS, Rays, cast, cast_fine
from fringe.orders.rough import rough_circles
from fringe.orders.solve import carried, grow_fit, refit, refit_twice
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
# shares of the radius that are fitted, round by round; the rough circle may be a third off
_SHARES = ((0.6, 0.7, 0.8, 0.88, 0.96, 1.04, 1.12), (0.7, 0.8, 0.88, 0.95))
_MOST_RADIUS_PX = 500.0
_LEAST_SIDE_PX = 700.0  # of the frame, below which edges lose their sharpness
_DENSE_CYCLES = 14.0  # fringes a radius, at their densest
_FINE_PX = 5.0  # between fringes at the rim, below which their own steps mislead
# Scatter of found edges about the truth on rendered scenes, as shares of the radius: a
# bevel as bright as the fringes draws a part of the rim outward. A curve that parts fringes
# from the rest only in part is doubted, and `read` says so.
_LEAST_SCORE, _SURE_SCORE = 0.3, 0.9
# how well fringes and surroundings part at an edge: from hardly to beyond question
_DIM_GAIN, _WEAK_GAIN, _LEAST_GAIN, _CLEAR_GAIN, _PLAIN_GAIN = 0.15, 0.4, 1.0, 1.6, 1.9
_NEAR_BEST = 0.5  # share of the best gain, at which a larger edge is taken
_MOST_GROWN = 5  # circles, likeliest first, from which fits grow where none is plain
_LEAST_EXPLAINED = 0.6  # of the fringes' variance, in a circle that is worth a closer look
_FEW_CYCLES = 5.0  # fringes a radius, over which no lamp's contrast falls much
_AGREED_SHARE = 0.015
_FITTED_SHARE = 0.985  # of a curve's radius, within which the fringes are fitted to judge it
_PINNED_SHARE, _PLACED_SHARE = 0.0015, 0.0025
_DOUBTED_SHARE = 0.012


@dataclass(frozen=True)
class Found:
    """An edge that was found, and the fringes within it.

    Attributes
    ----------
    edge : Edge
        With the standard uncertainty of its semi-axes.
    model : OrderModel
        Of the fringes on its unit disc, good enough to start from.
    """

    edge: Edge
    model: OrderModel


def find_edge(photo: Photo) -> Found:
    """Find the work's edge.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Found

    Raises
    ------
    Refused
        If no edge of a fringed area can be found.
    """
    scale = scale_that_holds(photo, _LEAST_SIDE_PX)
    found = _found(reduced(photo, scale))
    return replace(found, edge=enlarged(found.edge, scale))


def _found(photo: Photo) -> Found:
    found, seen = _of_circles(photo, rough_circles(photo))
    sure = True
    if max((gain for gain, _, _ in found), default=0.0) < _CLEAR_GAIN:
        settled = _of_growth(photo, seen[:_MOST_GROWN])
        if settled is not None:
            placed = _placed(photo, *settled[1:])
            sure = settled[0] > _SURE_SCORE
            if placed:
                found.append(placed)
            elif not found:
                found.append((_WEAK_GAIN, *settled[1:]))
    if not found:
        raise Refused(
            f"{photo.name}: the work's edge was not found; give it with --edge CX,CY,R,"
            " or --edge none when it is out of view"
        )
    best = max(gain for gain, _, _ in found)
    # fringes end only once, but dirt and a turned edge may part them, too
    _, edge, model = max(
        (item for item in found if item[0] >= _NEAR_BEST * best),
        key=lambda item: item[1].a * item[1].b,
    )
    for _ in range(3):
        again = _placed(photo, edge, model)
        if again is None:
            break
        away = np.hypot(again[1].cx - edge.cx, again[1].cy - edge.cy) + abs(again[1].a - edge.a)
        # two ways of telling that agree, or one from two places
        sure = away < 1.2 + _AGREED_SHARE * edge.a
        _, edge, model = again
        if sure:
            break
    share = _PLACED_SHARE if sure else _DOUBTED_SHARE
    # finer fringes have steps of their own
    if model.steepest() < max(_DENSE_CYCLES, edge.a / _FINE_PX):
        edge, model = _pinned(photo, edge, model)
        share = _PINNED_SHARE if sure else _DOUBTED_SHARE
    return Found(replace(edge, u_px=max(edge.u_px, share * edge.a)), model)


def _of_circles(
    photo: Photo, circles: Iterable[Edge]
) -> tuple[list[tuple[float, Edge, OrderModel]], list[Edge]]:
    """Gain, edge and model of what rough circles lead to at once, and the circles seen."""
    found, seen = [], []
    for circle in circles:
        seen.append(circle)
        try:
            grown = grow_fit(photo, circle, (0.96,))
            if not grown or grown[0][1].explained < _LEAST_EXPLAINED:
                continue
            placed = _placed_from(photo, circle, grown[0][1].model)
            if placed is not None and _DIM_GAIN < placed[0] < _CLEAR_GAIN:
                # fitted up to where it was placed, a turned edge is followed better
                again = _placed_from(photo, *placed[1:])
                placed = again if again is not None and again[0] > placed[0] else placed
        except Refused:  # too little light there: no reason to give up on the other circles
            continue
        if placed is not None and placed[0] > _WEAK_GAIN:
            found.append(placed)
            if placed[0] > _PLAIN_GAIN:
                break
    return found, seen


def _of_growth(photo: Photo, circles: list[Edge]) -> tuple[float, Edge, OrderModel] | None:
    """Score, edge and model of fits that grow outward from the middle of rough circles."""
    found = []
    for circle in circles:
        try:
            settled = _settle(photo, circle)
        except Refused:
            continue
        if settled is not None:
            found.append(settled)
            if settled[0] > _SURE_SCORE:
                break
    best = _outermost(found) if found else None
    return None if best is None or best[0] < _LEAST_SCORE else best


def _placed(
    photo: Photo, edge: Edge, model: OrderModel
) -> tuple[float, Edge, OrderModel] | None:
    """Place an edge where what the fringes explain and what surroundings explain meet.

    From larger and smaller ones too: what lies beyond the edge is passed over as dirt, while
    a turned zone that is left out of a fit makes its continuation wrong.
    """
    best: tuple[float, Edge, OrderModel] | None = None
    for start in (1.0, 1.04, 0.97):
        curve = replace(edge, a=start * edge.a, b=start * edge.b)
        found = _placed_from(photo, curve, carried(model, edge, curve))
        if found is None or found[0] <= _LEAST_GAIN or (best and found[0] <= best[0]):
            continue
        best = found
        if found[0] > _CLEAR_GAIN and abs(found[1].a / edge.a - 1) < 0.005:
            break
    return best


def _placed_from(
    photo: Photo, curve: Edge, model: OrderModel
) -> tuple[float, Edge, OrderModel] | None:
    """Place the edge near one curve; how clear it is, the edge and its model."""
    score = None
    for band in (0.05, 0.03):
        inner = replace(curve, a=_FITTED_SHARE * curve.a, b=_FITTED_SHARE * curve.b)
        fits = refit_twice(photo, inner, carried(model, curve, inner))
        if not fits or fits[0].used < 0.6:
            break
        shapes = [np.array([k, 0, 0, 0, 0]) for k in np.arange(-0.75 * band, 0.8 * band, 0.005)]
        placed = Contest(photo, curve, fits, _FITTED_SHARE, band).place(shapes)
        curve, model = placed.edge, carried(fits[0].model, inner, placed.edge)
        # what lies beyond the edge looks like dirt to a fit that reaches too far
        score = placed.gain - 10 * max(0.0, 0.995 - fits[0].used)
    if score is None or curve.b < 0.8 * curve.a or not _fringed_to_rim(fits[0]):
        return None
    return score, curve, model


def _fringed_to_rim(fit: Fit) -> bool:
    """Tell whether fringes reach the rim all round: on a plate beyond the work there are none.

    Over many fringes a lamp may lose much of its contrast, over a few none does.
    """
    return _rim_contrast(fit) > (0.5 if fit.model.steepest() < _FEW_CYCLES else 0.15)


def _rim_contrast(fit: Fit) -> float:
    """Contrast at the rim, where it is low, as a share of the usual."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    u, v = (0.98 * f(angle).astype(np.float32) for f in (np.cos, np.sin))
    contrast = fit.contrast.astype(np.float32) @ basis(fit.contrast_terms, u, v)
    return float(np.percentile(contrast, 15)) / max(fit.mean_contrast, 1e-6)


def _settle(photo: Photo, rough: Edge) -> tuple[float, Edge, OrderModel] | None:
    """Fit inside, look outside, and repeat until the circle stays; score, edge and model."""
    edge = base = rough
    grown = grow_fit(photo, edge, (0.96,))
    found = _near(photo, edge, edge, grown)
    rounds = () if found and _outermost(found)[0] > 1.1 else _SHARES
    for shares in rounds:
        step = max(1.0, edge.a / _MOST_RADIUS_PX)
        known = carried(grown[-1][1].model, base, edge) if grown else None
        grown, base = grow_fit(photo, edge, shares, known=known), edge
        if not grown:
            break
        rays, gain = _gain(photo, edge, step, *grown[-1])
        ellipse = _robust_ellipse(edge, rays, _change_points(gain), step)
        if ellipse is None:
            break
        found += _near(photo, edge, replace(ellipse[0], u_px=ellipse[2]), grown)
        score, edge, _ = _outermost(found)
        edge = replace(edge, u_px=0.0)
        if score > 1.1:
            break
    if not found:
        return None
    return _outermost(found)


def _near(
    photo: Photo, base: Edge, blunt: Edge, grown: list[tuple[float, Fit]]
) -> list[tuple[float, Edge, OrderModel]]:
    """Score an edge and the sharp curves near it, with a model that was fitted on `base`."""
    if not grown:
        return []
    found = []
    cycles = grown[-1][1].model.steepest()
    dense = cycles > _DENSE_CYCLES
    if dense and blunt.u_px == 0:  # a rough circle, and fine fringes: any ring fits as well
        return []
    # where the fit ceases to hold may be where the edge is turned down: with few fringes a
    # curve without a sharp step of light must do much better to be believed. Where fringes
    # are fine, their end is well known, and it is their own steps that mislead
    reach = max(0.004, 0.4 / cycles) * blunt.a
    for curve, cover in [(blunt, 0.0 if dense else -1.0), *_sharp_curves(photo, blunt)]:
        away = np.hypot(curve.cx - blunt.cx, curve.cy - blunt.cy) + abs(curve.a - blunt.a)
        if dense and away + abs(curve.b - blunt.b) > 2 * reach:
            continue
        model = carried(grown[-1][1].model, base, curve)
        found.append((_parting(photo, curve, model) + 0.4 * cover, curve, model))
    return found


def _outermost(
    found: list[tuple[float, Edge, OrderModel]], within: float = 0.75
) -> tuple[float, Edge, OrderModel]:
    """Of the curves that part nearly as well as the best, the largest.

    A ring of the fringes may pass for the edge when few fringes lie within it; nothing
    outside the edge ever does.
    """
    best = max(score for score, _, _ in found)
    near = [item for item in found if item[0] > max(best - within, min(0.65, best - 0.1))]
    return max(near, key=lambda item: item[1].a * item[1].b * (1 + 0.02 * item[0]))


def _pinned(photo: Photo, edge: Edge, model: OrderModel) -> tuple[Edge, OrderModel]:
    """Place an edge exactly where the fringes end, not where a bevel does.

    The fit of the inside, continued by a few pixels, is taken from the light; the first
    clear step of what is left is the edge, also where a bright or dark bevel follows.
    """
    for share in (0.97, 0.985):
        fit = refit(photo, replace(edge, a=share * edge.a, b=share * edge.b), model)
        if fit is None or fit.used < 0.6:
            return edge, model
        if model.steepest() > _DENSE_CYCLES and _rim_contrast(fit) < 0.7:
            return edge, model  # the work's own step is no clearer than a faint fringe's
        step = max(0.5, edge.a / 1500)
        rays = cast_fine(photo, edge, np.arange(0.97, 1.03, step / edge.a))
        u, v = rays.unit()
        flat = [(w / share).astype(np.float32).ravel() for w in (u, v)]
        want = expected(fit, *flat)[0].reshape(u.shape)
        left = ndimage.gaussian_filter1d(rays.light - want, 1.5, axis=0, mode="wrap")
        found = _ellipse_through(edge, rays, *_first_steps(edge, rays, left, step))
        if found is None:
            return edge, model
        new, inlier, rms = found
        away = np.hypot(new.cx - edge.cx, new.cy - edge.cy) + abs(new.a - edge.a)
        if inlier.sum() < 200 or away > 1.5 + 0.003 * edge.a:
            return edge, model
        model = carried(fit.model, replace(edge, a=share * edge.a, b=share * edge.b), new)
        u_px = max(rms / np.sqrt(inlier.sum() / 12), 0.2)
        edge = replace(new, u_px=float(u_px))
    return edge, model


def _first_steps(base: Edge, rays: Rays, left: Array, step: float) -> tuple[Vector, Vector]:
    """First clear step of the misfit on each ray about an edge: radius (share), height.

    The height is zero where there is no step.
    """
    slope = np.abs(ndimage.gaussian_filter1d(left, max(0.9 / step, 0.8), axis=1, order=1))
    slope = np.where(rays.usable, slope, 0)
    reach = 2.5 + 0.004 * base.a
    window = np.abs(rays.radius - 1.0)[None, :] <= reach / base.a
    inside = np.where(window, slope, 0)
    middle = inside[:, 1:-1]
    peak = (middle > inside[:, :-2]) & (middle >= inside[:, 2:])
    peak &= middle > 0.4 * inside.max(axis=1, keepdims=True)
    column = peak.argmax(axis=1) + 1
    row = np.arange(len(column))
    height = np.where(peak.any(axis=1), slope[row, column], 0)
    before, after = slope[row, column - 1], slope[row, np.minimum(column + 1, slope.shape[1] - 1)]
    bend = np.minimum(before - 2 * slope[row, column] + after, -1e-12)
    shift = np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    return rays.radius[column] + shift * step / base.a, height


def _ellipse_through(
    base: Edge, rays: Rays, at: Vector, height: Vector
) -> tuple[Edge, NDArray[np.bool_], float] | None:
    good = height > 0.25 * float(np.percentile(height, 75))
    if good.sum() < 200:
        return None
    x, y = base.pixels(np.cos(rays.angle) * at, np.sin(rays.angle) * at)
    return fit_ellipse(x[good], y[good], tolerance=0.5)


def _parting(photo: Photo, edge: Edge, model: OrderModel) -> float:
    """How well an edge parts fringes from what is not: share explained inside less outside.

    A ring of the fringes has fringes on both sides, the far rim of a bevel or of the plate
    has them on neither: only the work's edge comes near one.
    """
    inner = replace(edge, a=_FITTED_SHARE * edge.a, b=_FITTED_SHARE * edge.b)
    fit = refit(photo, inner, model)
    if fit is None or fit.used < 0.6:
        return -1.0
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    far = max(5.0, 0.015 * edge.a)
    offset = np.linspace(1.5, far, 5)
    offset = np.concatenate([-offset[::-1], offset]) / edge.a
    u = np.cos(angle)[:, None] * (1 + offset)
    v = np.sin(angle)[:, None] * (1 + offset)
    x, y = edge.pixels(u, v)
    light = ndimage.map_coordinates(photo.light, [y, x], order=1, mode="nearest")
    scale = 1 / _FITTED_SHARE
    flat = [(w * scale).astype(np.float32).ravel() for w in (u, v)]
    want, amplitude = expected(fit, *flat)
    left = light.ravel() - want
    allowed = (2.5 * fit.noise) ** 2 + (0.35 * amplitude) ** 2 + (0.04 * np.abs(want)) ** 2
    # what lies just outside may look much like a dark fringe: beyond the curve the fit must
    # hold as well as it does just within it
    away = np.abs(left).reshape(u.shape)
    typical = 1.4826 * float(np.median(away[:, :5]))
    strict = (2.5 * max(fit.noise, typical)) ** 2 + (0.02 * amplitude) ** 2 + (0.01 * want) ** 2
    limit = np.sqrt(allowed).reshape(u.shape)
    limit[:, 5:] = np.minimum(limit, np.sqrt(strict).reshape(u.shape))[:, 5:]
    fine = away < limit
    framed = (x >= 0) & (y >= 0) & (x <= photo.width - 1) & (y <= photo.height - 1)
    # neighbours vote, so that noise and single specks do not
    within = ndimage.uniform_filter1d(fine[:, :5].mean(axis=1), 5, mode="wrap") > 0.5
    beyond = ndimage.uniform_filter1d(fine[:, 5:].mean(axis=1), 5, mode="wrap") > 0.5
    seen = framed.all(axis=1)
    if seen.mean() < 0.3:
        return -1.0
    return float(within[seen].mean() - beyond[seen].mean())


def _gain(
    photo: Photo, edge: Edge, step: float, share: float, fit: Fit
) -> tuple[Rays, Array]:
    """Gain for calling each point of each ray `inside`, from a model of the inner part."""
    reach = np.arange(0.4, 1.5, step / edge.a)
    rays = cast(photo, edge, reach)
    u, v = rays.unit()
    order = fit.model.order(u.astype(np.float32), v.astype(np.float32))
    cos = np.cos(2 * np.pi * order)
    known = (reach < share)[None, :] & rays.usable
    level, depth = _light_by_angle(rays, cos, known)
    amplitude = np.maximum(np.abs(level * depth), 1e-4)
    left = rays.light - level * (1 - depth * cos)
    inside = left[known]
    noise = 1.4826 * float(np.median(np.abs(inside))) if inside.size else 1.0
    # the continued model may be off by a part of a fringe without being wrong
    allowed = noise**2 + (0.3 * amplitude) ** 2 + (0.06 * level) ** 2
    ratio = np.minimum(left**2 / allowed, 8)
    gain = np.where(rays.usable, 2.0 - ratio, 0.0).astype(np.float32)
    return rays, ndimage.uniform_filter1d(gain, 5, axis=0, mode="wrap")


def _light_by_angle(rays: Rays, cos: Array, known: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Level and contrast of each ray from its known part, smoothed over neighbours."""
    w = known.astype(np.float32)
    sums = {
        "1": w, "c": w * cos, "cc": w * cos * cos, "l": w * rays.light, "lc": w * rays.light * cos,
    }  # fmt: skip
    s = {
        name: ndimage.gaussian_filter1d(values.sum(axis=1), 12, mode="wrap")
        for name, values in sums.items()
    }
    det = np.maximum(s["1"] * s["cc"] - s["c"] ** 2, 1e-3 * s["1"] ** 2 + 1e-9)
    level = (s["cc"] * s["l"] - s["c"] * s["lc"]) / det
    swing = (s["1"] * s["lc"] - s["c"] * s["l"]) / det
    level = np.maximum(level, 1e-4)
    depth = np.clip(-swing / level, -1.2, 1.2)
    return level[:, None].astype(np.float32), depth[:, None].astype(np.float32)


def _change_points(gain: Array) -> NDArray[np.intp]:
    """Column after which each ray is better called outside."""
    total = np.cumsum(gain, axis=1)
    return np.asarray(total.argmax(axis=1))


def _robust_ellipse(
    edge: Edge, rays: Rays, change: NDArray[np.intp], step: float
) -> tuple[Edge, float, float] | None:
    """Ellipse through the change points; share of rays that agree; spread of the mean [px]."""
    good = (change > 2) & (change < len(rays.radius) - 3)
    if good.sum() < 60:
        return None
    reach = rays.radius[change] + 0.5 * step / edge.a
    x, y = edge.pixels(np.cos(rays.angle) * reach, np.sin(rays.angle) * reach)
    found = fit_ellipse(x[good], y[good], tolerance=0.02 * edge.a)
    if found is None:
        return None
    new, inlier, rms = found
    share = float(inlier.sum()) / len(rays.angle)
    return new, share, max(rms / np.sqrt(max(inlier.sum() / 12, 1)), 0.002 * new.a)


def _sharp_curves(photo: Photo, edge: Edge, band: float = 0.06) -> list[tuple[Edge, float]]:
    """Sharp closed curves near an edge, each with the share of rays that show it."""
    step = max(0.5, edge.a / 1200)
    reach = np.arange(1 - band, 1 + band, step / edge.a)
    rays = cast_fine(photo, edge, reach)
    slope = ndimage.gaussian_filter1d(rays.light, max(1.2 / step, 1.0), axis=1, order=1)
    slope = np.abs(ndimage.gaussian_filter1d(slope, 2.0, axis=0, mode="wrap"))
    slope = np.where(rays.usable, slope, 0)
    quiet = float(np.median(slope)) + 1e-9
    peak = (slope[:, 1:-1] > slope[:, :-2]) & (slope[:, 1:-1] >= slope[:, 2:])
    row, column = np.nonzero(peak & (slope[:, 1:-1] > 1.5 * quiet))
    column = column + 1
    height = slope[row, column]
    bend = slope[row, column - 1] - 2 * height + slope[row, column + 1]
    shift = 0.5 * (slope[row, column - 1] - slope[row, column + 1]) / np.minimum(bend, -1e-12)
    at = rays.radius[column] + np.clip(shift, -0.5, 0.5) * step / edge.a
    weight = np.minimum(height / quiet, 30.0)
    found: list[tuple[Edge, float]] = []
    free = np.ones(len(at), bool)
    for _ in range(4):
        if free.sum() < 60:
            break
        curve = _best_curve(
            rays.angle[row[free]], at[free], weight[free], row[free], 1.2 / edge.a + 0.001
        )
        if curve is None or curve[1] < 0.35:
            break
        chosen = np.flatnonzero(free)[curve[0]]
        free[chosen] = False
        x, y = edge.pixels(np.cos(rays.angle[row[chosen]]) * at[chosen],
                           np.sin(rays.angle[row[chosen]]) * at[chosen])  # fmt: skip
        ellipse = fit_ellipse(x, y, tolerance=1.2)
        if ellipse is not None:
            new, inlier, rms = ellipse
            u_px = max(rms / np.sqrt(max(inlier.sum() / 6, 1)), 0.15)
            found.append((replace(new, u_px=float(u_px)), curve[1]))
    return found


def _best_curve(
    angle: Vector, at: Vector, weight: Vector, ray: NDArray[np.intp], tolerance: float
) -> tuple[NDArray[np.intp], float] | None:
    """Smooth closed curve that passes most strong steps, and the share of rays it has."""
    rows = np.stack(
        [np.ones_like(angle), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)],
        axis=1,
    )
    best, best_score = None, -1.0
    for curve in (*_parallels(rows, at, weight, tolerance), *_drawn(rows, at, weight)):
        near = np.abs(at - rows @ curve) < tolerance
        if not near.any():
            continue
        per_ray = np.bincount(ray[near], minlength=720) > 0
        strength = float(np.minimum(weight[near], 12).sum()) / 12
        score = per_ray.mean() + 0.5 * strength / 720
        if score > best_score:
            best, best_score = curve, score
    if best is None:
        return None
    for _ in range(4):
        near = np.abs(at - rows @ best) < tolerance
        if near.sum() < 30:
            return None
        best = np.linalg.lstsq(rows[near], at[near], rcond=None)[0]
    chosen = np.flatnonzero(near)
    coverage = float((np.bincount(ray[chosen], minlength=720) > 0).mean())
    # among many fine fringes any curve passes near some step on most rays: only what
    # exceeds that chance speaks for it
    chance = len(at) / 720 * 2 * tolerance / max(float(np.ptp(at)), 1e-6)
    chance = 1 - float(np.exp(-chance))
    return chosen, max(0.0, (coverage - chance) / (1 - chance + 1e-9))


def _parallels(
    rows: NDArray[np.float64], at: Vector, weight: Vector, tolerance: float
) -> list[Vector]:
    """Curves about parallel to the edge that is looked at, where steps lie closest together."""
    edges = np.arange(at.min(), at.max() + 0.002, 0.002)
    if len(edges) < 3:
        return []
    count = np.histogram(at, edges, weights=weight)[0]
    found: list[Vector] = []
    for k in np.argsort(count)[::-1][:8]:
        curve = np.array([edges[k] + 0.001, 0.0, 0.0, 0.0, 0.0])
        for reach in (0.006, 0.004, 0.003, tolerance):
            near = np.abs(at - rows @ curve) < reach
            if near.sum() < 30:
                break
            root = np.sqrt(weight[near])
            curve = np.linalg.lstsq(rows[near] * root[:, None], at[near] * root, rcond=None)[0]
        found.append(np.asarray(curve, float))
    return found


def _drawn(rows: NDArray[np.float64], at: Vector, weight: Vector) -> list[Vector]:
    """Curves through five steps drawn at random, those near the edge that is looked at."""
    rng = np.random.default_rng(11)
    share = weight / weight.sum()
    pick = rng.choice(len(at), (700, 5), p=share)
    matrix = rows[pick]
    sound = np.abs(np.linalg.det(matrix)) > 0.05
    curves = np.linalg.solve(matrix[sound], at[pick[sound]][..., None])[..., 0]
    return list(curves[np.abs(curves[:, 1:]).sum(axis=1) <= 0.08])
