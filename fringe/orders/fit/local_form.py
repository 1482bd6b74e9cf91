"""Form that the terms of the whole disc cannot follow: zones, holes and local bumps.

Robust weights take what a fit does not follow for dirt. Where much is dropped, quadrature in
small windows (`local_phase.py`) tells fringes from dirt and by how much the order is off there;
symmetric terms of a higher degree, and patches where something is still left, follow it. The fit
then goes on to all of them, from a start that is right to a tenth of a fringe.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form_shapes import nodes as radii
from fringe.optics.form_shapes import projection
from fringe.optics.patches import LATTICES, is_patch, patch
from fringe.optics.zernike import Term, zernike_matrix, zernike_sum_on_grid, zernike_terms
from fringe.orders.fit.field import Array, Field
from fringe.orders.fit.local_phase import (
    LocalPhase,
    grid_places,
    grid_stride,
    local_phase,
    unwrapped,
)
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.prior import Prior
from fringe.orders.fit.profile import cosine_of
from fringe.orders.fit.refine import Fit, least_contrast
from fringe.orders.fit.robust import cauchy, robust_sigma
from fringe.photo.filters import (
    connected,
    dilated,
    median,
    opened,
    running_mean,
    sums_of_nine,
)

Floats = NDArray[np.float64]
# a zone's width falls to a twentieth of the radius
ZONED: tuple[Term, ...] = (*zernike_terms(8), *((n, 0) for n in range(10, 89, 2)))


@dataclass(frozen=True)
class _Round:
    """One round: how it looks at the errors of a model, and what it may add to explain them.

    Attributes
    ----------
    window : float
        Width of the windows, in local periods.
    least : float
        Contrast times purity from which a place is believed.
    degree : int
        Of the symmetric terms, where no patches are laid. Broad terms come first: narrow ones
        could fold a fringe over.
    lattices : tuple of int
        Of the patches. What is round must be found before any are laid.
    """

    window: float
    least: float
    degree: int = 0
    lattices: tuple[int, ...] = ()


_OF_RINGS = (_Round(0.3, 0.3, 28), _Round(0.3, 0.2, 44), _Round(0.3, 0.1, 88))
_COARSE, _FINE = LATTICES
_OF_COARSE = (
    _Round(0.3, 0.1, lattices=(_COARSE,)),
    _Round(0.3, 0.1, lattices=(_COARSE,)),
)
_OF_FINE = (
    _Round(0.3, 0.05, lattices=(_COARSE, _FINE)),
    _Round(0.3, 0.05, lattices=(_COARSE, _FINE)),
)
# mean reliability round the disc below which orders may jump across a ring, and rings that are
# tried; width of the jump, a share of the radius
_UNSURE, _MOST_RINGS, _JUMP = 0.7, 2, 0.04
# contrast times purity of what is sure, and degrees of the forms through it that are tried
_SURE, _LOW_DEGREES = 0.6, (2, 4)
_LEAST_ERROR = 0.03  # what is left where patches are laid [fringe], and in robust sigmas
_LEFT_SIGMAS = 4.0
_LEAST_WEIGHT = 0.04  # of a place that asks for a patch
_ASKING = 0.12  # share of the places about a node that ask for its patch
_REACH = 6  # places about an area in which patches may be asked for
_MOST_PATCHES = 140
_CORRELATED = 6.0  # places of the grid that make one observation
_ROBUST = 2.5
_MOST_SIGNAL = 1.6  # of what the light is over its fringes' amplitude
_REWEIGHTINGS = 5
# of the difference of two signals, so that dust counts no more than another fringe; median of the
# square of a standard normal number
_MOST_SQUARE, _MEDIAN_SQUARE = 2.0, 0.455
# by how much more another form leaves of the light, that may be the true one all the same
_HARDLY = 0.03
MOST_AREA = 0.08  # share of the face in which bumps are begun anew; of bumps it is 0.02 to 0.07
# heights by which missed areas are raised [fringe]; radius of such an area over the width of a bump
# that it shows, places about it that are raised with it, patches and bumps at most
_RAISED_BY = (0.6, -0.6, 1.2, -1.2)
_AREA_WIDTHS, _RAISED_BESIDE, _MOST_RAISED, _MOST_BUMPS = 2.0, 3, 70, 3
_NARROW = 0.07  # width of a bump that is raised on the finer lattice too, a share of the radius
_ROUND_DEGREE = 44  # of the symmetric terms of a form without zones
# fringes that a model misses: contrast and purity of windows that show some, error from which the
# order is off [fringe], reliability of what is lost, how far out is looked; least connected area,
# and what of it shows clear fringes, as shares of the disc
_CONTRAST, _PURITY, _OFF, _LOST, _INNER = 0.5, 0.4, 0.08, 0.35, 0.97
_LEAST_AREA, _LEAST_CLEAR = 0.006, 0.002
# light brighter than any fringe's, by shares of the amplitude, and how much an area may have: of
# bumps and holes none, of glare 0.26 and more
_GLARE, _MOST_GLARE = 1.25, 0.1
# rings looked at near the rim: where they begin, their width; what goes against the model, as a
# share of the amplitude, how much of a ring, and how far its mean light may be from that of
# fringes
_OUTER, _RING_WIDTH, _AGAINST, _MOST_AGAINST, _MOST_MEAN = 0.85, 0.015, 0.45, 0.35, 0.4
# part of a ring's fringes in step with the model, from which what goes against it is noise: of 128
# noisy fringes that are followed 0.7 to 1, of turned edges that are not -0.1 to 0.6
_IN_STEP = 0.65
_RINGS = 24  # of the profile of reliability


@dataclass(frozen=True)
class Picture:
    """A field's light as the cosine of its fringes.

    Attributes
    ----------
    field : Field
    signal : ndarray of float32, shape of `field.light`
        (1 - light / B) / V, limited.
    """

    field: Field
    signal: Array

    @staticmethod
    def of(field: Field, fit: Fit) -> Picture:
        """By the light and contrast of a fit."""
        log = zernike_sum_on_grid(fit.light_terms, fit.light, field.u, field.v)
        contrast = zernike_sum_on_grid(fit.contrast_terms, fit.contrast, field.u, field.v)
        # far outside the disc sums of terms are anything
        light = np.exp(np.clip(log, -20, 20)).astype(np.float32)
        least = np.float32(least_contrast(fit))
        signal = (1 - field.light / light) / np.maximum(contrast.astype(np.float32), least)
        signal = np.asarray(cosine_of(signal, fit.sharpness), np.float32)
        return Picture(field, np.clip(signal, -_MOST_SIGNAL, _MOST_SIGNAL))

    def error_of(
        self, model: OrderModel, window: float, order: Array | None = None
    ) -> tuple[LocalPhase, Floats]:
        """Local phase of a model, and how far each place is to be believed.

        Its `order` over the field is computed unless it is known.
        """
        if order is None:
            order = model.order_on_grid(self.field.u, self.field.v)
        local = local_phase(self.field, self.signal, order, model, window)
        inside = np.hypot(local.u, local.v) < 1
        return local, np.where(inside, local.purity * np.minimum(local.contrast, 1), 0)


def missed(picture: Picture, model: OrderModel) -> Missed:
    """Find fringes that a model does not follow."""
    order = model.order_on_grid(picture.field.u, picture.field.v)
    local, reliable = picture.error_of(model, _OF_RINGS[0].window, order)
    inside = np.hypot(local.u, local.v) < _INNER
    seen = inside & np.isfinite(local.error)
    fringes = (local.contrast > _CONTRAST) & (local.purity > _PURITY)
    off = seen & fringes & (np.abs(local.error) > _OFF)
    lost = seen & (reliable < _LOST) & (local.swing > _CONTRAST)
    labels, count = connected(opened(off | lost))
    stride = grid_stride(picture.field)
    # of glare alone: a fit that is off near the rim leaves light that is darker than its fringes
    glare = picture.signal[stride // 2 :: stride, stride // 2 :: stride] < -_GLARE
    places = np.maximum(np.bincount(labels.ravel(), minlength=count + 1), 1)
    fringed = np.bincount(labels[glare], minlength=count + 1)[1:] < _MOST_GLARE * places[1:]
    whole = max(int(inside.sum()), 1)
    size = np.bincount(labels.ravel(), minlength=count + 1)[1:] / whole
    clear = np.bincount(labels[off], minlength=count + 1)[1:] / whole
    kept = (size > _LEAST_AREA) & (clear > _LEAST_CLEAR) & fringed
    share = float(size[kept].sum()) + _missed_rings(picture, order)
    return Missed(min(share, 1.0), np.concatenate([[False], kept])[labels])


def _missed_rings(picture: Picture, order: Array) -> float:
    """Share of the aperture in outer rings that go against an order all round.

    They are too narrow for windows: the rings of a turned edge, finer than the field shows.
    """
    field = picture.field
    square = field.u * field.u + field.v * field.v
    outer = (field.weight > 0) & (square > _OUTER**2) & (square < 1)
    ring = ((np.sqrt(square[outer]) - _OUTER) / _RING_WIDTH).astype(int)
    signal = picture.signal[outer]
    meant = np.cos(2 * np.pi * order[outer])
    against = np.abs(signal - meant) > _AGAINST
    count = np.maximum(np.bincount(ring), 1)
    mean, wrong, in_step, whole = (
        np.bincount(ring, part) / count for part in (signal, against, signal * meant, meant**2)
    )
    # fringes have the mean light, blurred or not; a chamfer is darker, or brighter
    lost = (wrong > _MOST_AGAINST) & (np.abs(mean) < _MOST_MEAN) & (in_step < _IN_STEP * whole)
    middle = _OUTER + _RING_WIDTH * (np.arange(len(lost)) + 0.5)
    return float((2 * middle * _RING_WIDTH)[lost].sum())


def unexplained(picture: Picture, model: OrderModel, areas: Missed) -> float:
    """Mean square of what a model's fringes leave of the picture in some areas, noise taken off.

    Parameters
    ----------
    picture : Picture
    model : OrderModel
    areas : Missed

    Returns
    -------
    float
        1 where fringes and model have nothing to do with each other, about 0 where they agree.
    """
    field = picture.field
    off = picture.signal - np.cos(2 * np.pi * model.order_on_grid(field.u, field.v))
    square = np.minimum(off * off, _MOST_SQUARE)
    stride = grid_stride(field)
    there = np.repeat(np.repeat(areas.where, stride, 0), stride, 1)
    there = there[: square.shape[0], : square.shape[1]]
    there = np.pad(there, [(0, n - m) for n, m in zip(square.shape, there.shape, strict=True)])
    used = (field.weight > 0) & (np.hypot(field.u, field.v) < _INNER)
    if not (there & used).any():
        return 0.0
    noise = float(median(square[used & ~there])) / _MEDIAN_SQUARE
    return float(square[there & used].mean()) - noise


def with_zones(picture: Picture, start: OrderModel) -> OrderModel:
    """Follow a form with zones, a hole or a turned edge, and bumps beside them.

    Parameters
    ----------
    picture : Picture
    start : OrderModel
        Of few terms, which cannot fold a ring over.

    Returns
    -------
    OrderModel
        On symmetric terms of a high degree, and patches where they are asked for.
    """
    found = [_followed(picture, one.widened(ZONED)) for one in _starts(picture, start)]
    best = max(found, key=lambda one: one.score)
    found = [_followed(picture, one) for one in _jumped(best)]
    best = max([best, *found], key=lambda one: one.score)
    return with_patches(picture, best.model, missed(picture, best.model))[0]


def with_patches(picture: Picture, start: OrderModel, areas: Missed) -> list[OrderModel]:
    """Follow a form from a model that is right but for local bumps in some areas.

    Returns
    -------
    list of OrderModel
        The one that explains the areas best, and others of which the light there hardly differs.
    """
    if not areas.where.any():
        return [start]
    rounds = (*_OF_COARSE, *_OF_FINE)
    found = [_followed(picture, start, rounds, areas).model]
    if areas.share <= MOST_AREA:
        begun = [
            _followed(picture, raised, rounds[:1], areas).model
            for raised in _raised(picture, start, areas)
        ]
        for some in filter(None, (begun[::2], begun[1::2])):  # upward, downward
            best = min(some, key=lambda one: unexplained(picture, one, areas))
            found.append(_followed(picture, best, rounds[1:], areas).model)
    left = [unexplained(picture, one, areas) for one in found]
    order = np.argsort(left, kind="stable")
    return [found[k] for k in order if left[k] <= left[order[0]] + _HARDLY]


def _raised(picture: Picture, model: OrderModel, areas: Missed) -> Iterator[OrderModel]:
    """Models with the missed areas raised, and lowered, by about a fringe.

    The errors of a bump of about a fringe are not told from those of the dimple that it becomes
    where the order turns back at a fringe; from a start of the right sign they are.
    """
    u, v = grid_places(picture.field)
    step = grid_stride(picture.field) / picture.field.radius_px
    labels, count = connected(areas.where)
    if count > _MOST_BUMPS:
        return
    change, narrow = np.zeros(u.shape), False
    for number in range(1, count + 1):
        x, y = u[labels == number], v[labels == number]
        width = math.sqrt(len(x) / math.pi) * step / _AREA_WIDTHS
        narrow |= width < _NARROW
        change += np.exp(-((u - x.mean()) ** 2 + (v - y.mean()) ** 2) / (2 * width**2))
    wide = dilated(areas.where, _RAISED_BESIDE)
    inside = np.hypot(u, v) < 1
    weight = np.ones(int(inside.sum()))
    for lattice in LATTICES if narrow else LATTICES[:1]:
        places = np.round((np.stack([u[wide], v[wide]]) + 1) * lattice).astype(int)
        nodes = [patch(lattice, int(i), int(k)) for i, k in np.unique(places, axis=1).T]
        if len(nodes) > _MOST_RAISED:
            return
        added = (term for term in nodes if term not in model.terms)
        wider = model.widened((*model.terms, *added))
        for height in _RAISED_BY:
            target = height * change[inside]
            yield _explained(wider, u[inside], v[inside], target, weight, Prior())[0]


@dataclass(frozen=True)
class Missed:
    """Fringes that a model does not follow.

    Only connected areas count, and only where a part of them shows clear fringes beside the
    model's: dust, hairs and glare hide fringes, or show none.

    Attributes
    ----------
    share : float
        Of the aperture's area.
    where : ndarray of bool, shape (N, N)
        Places of the grid of `LocalPhase`.
    """

    share: float
    where: NDArray[np.bool_]


@dataclass(frozen=True)
class _Followed:
    """A model that followed the picture, how sure each place is, and how much it explains."""

    model: OrderModel
    reliable: Floats
    rho: Floats
    score: float


def _starts(picture: Picture, start: OrderModel) -> list[OrderModel]:
    """A start, and the sphere and the low form through all of it that is sure."""
    local, reliable = picture.error_of(start, _OF_RINGS[0].window)
    error = unwrapped(local, reliable, _SURE)
    known = np.isfinite(error)
    starts = [start]
    for degree in _LOW_DEGREES:
        terms = zernike_terms(degree)
        if known.sum() > 4 * len(terms):
            u, v = local.u[known], local.v[known]
            order = zernike_matrix(start.terms, u, v) @ start.values + error[known]
            flat = OrderModel(terms, np.zeros(len(terms)))
            starts.append(_explained(flat, u, v, order, reliable[known] ** 2, Prior())[0])
    return starts


def _jumped(found: _Followed) -> list[OrderModel]:
    """The model with its middle one order up or down, across rings where nothing is sure.

    Where a zone turns the fringes round, the orders within it may be counted wrong by one.
    """
    inside = found.rho < 1
    ring = np.minimum((found.rho[inside] * _RINGS).astype(int), _RINGS - 1)
    count = np.maximum(np.bincount(ring, minlength=_RINGS), 1)
    mean = np.bincount(ring, found.reliable[inside], _RINGS) / count
    mean = running_mean(mean, 3, mode="edge")
    dips = [
        k
        for k in range(1, _RINGS - 1)
        if mean[k] < _UNSURE and mean[k] == mean[max(k - 2, 0) : k + 3].min()
    ]
    jumped = []
    rho, _ = radii()
    places = [k for k, (_, m) in enumerate(found.model.terms) if m == 0]
    for k in sorted(dips, key=lambda k: mean[k])[:_MOST_RINGS]:
        middle = 0.5 - 0.5 * np.tanh((rho - (k + 0.5) / _RINGS) / _JUMP)
        change = projection(found.model.terms) @ middle
        for sign in (1, -1):
            values = found.model.values.copy()
            values[places] += sign * change
            jumped.append(replace(found.model, values=values))
    return jumped


def _followed(
    picture: Picture,
    model: OrderModel,
    rounds: tuple[_Round, ...] = _OF_RINGS,
    areas: Missed | None = None,
) -> _Followed:
    """Follow the form from a start."""
    for one in rounds:
        local, reliable = picture.error_of(model, one.window)
        error = unwrapped(local, reliable, one.least)
        if not one.lattices:
            terms = (t for t in ZONED if t[0] <= one.degree or model.value(*t) != 0)
            model = model.widened(tuple(terms))
        model = _improved(model, local, error, reliable, one.lattices, areas)
    local, reliable = picture.error_of(model, rounds[-1].window)
    reliable = _right(local, reliable)
    return _Followed(model, reliable, np.hypot(local.u, local.v), float(reliable.sum()))


def _right(local: LocalPhase, reliable: Floats) -> Floats:
    """Reliability times the cosine of the error: 1 where the model has all that there is."""
    right = np.where(np.isfinite(local.error), np.cos(2 * np.pi * local.error), 0.0)
    return np.asarray(reliable * right)


def _improved(
    model: OrderModel,
    local: LocalPhase,
    error: Floats,
    reliable: Floats,
    lattices: tuple[int, ...],
    areas: Missed | None,
) -> OrderModel:
    """Add to a model what explains its errors, on its terms and on patches where those fail."""
    known = np.isfinite(error)
    u, v, target = local.u[known], local.v[known], error[known]
    weight = reliable[known] ** 2
    prior = Prior(zoned=any(n > _ROUND_DEGREE for n, _ in model.terms))
    model, left = _explained(model, u, v, target, weight, prior)
    if areas is None:
        return model
    reach = dilated(areas.where, _REACH)[known]
    for nodes in lattices:
        asking = np.where(reach, weight, 0.0)
        added = _asked_for(nodes, u, v, left, asking, _MOST_PATCHES - _count(model))
        added = [term for term in added if term not in model.terms]
        if added:
            wider = model.widened((*model.terms, *added))
            model, left = _explained(wider, u, v, left, weight, prior)
    return model


def _count(model: OrderModel) -> int:
    return sum(map(is_patch, model.terms))


def _explained(
    model: OrderModel, u: Floats, v: Floats, target: Floats, weight: Floats, prior: Prior
) -> tuple[OrderModel, Floats]:
    """Model with its errors added, and what they leave; robust, with nothing rejected."""
    rows = zernike_matrix(model.terms, u, v)
    precision = prior.precision((), (), model.terms)
    sigma = 0.05
    step: Floats = np.zeros(len(model.terms))
    robust: Floats = np.ones(len(target))
    left: Floats = target
    for _ in range(_REWEIGHTINGS):
        share = weight * robust / (_CORRELATED * sigma**2)
        normal = rows.T @ (rows * share[:, None]) + precision
        side = rows.T @ (share * target) - precision @ model.values
        step = np.asarray(np.linalg.solve(normal, side))
        left = np.asarray(target - rows @ step)
        sigma = max(0.003, robust_sigma(left, weight))
        robust = cauchy(left / (_ROBUST * sigma))
    return replace(model, values=model.values + step), left


def _asked_for(
    nodes: int, u: Floats, v: Floats, left: Floats, weight: Floats, most: int
) -> list[Term]:
    """Patches of a lattice about places where much is left, the most first."""
    if not len(left):
        return []
    sigma = robust_sigma(left, weight)
    much = (np.abs(left) > max(_LEAST_ERROR, _LEFT_SIGMAS * sigma)) & (weight > _LEAST_WEIGHT)
    side = 2 * nodes + 1
    counts = np.zeros((2, side, side))
    for place, some in enumerate((much, np.ones_like(much))):
        columns, rows = (np.round((w[some] + 1) * nodes).astype(int) for w in (u, v))
        inside = (columns >= 0) & (columns < side) & (rows >= 0) & (rows < side)
        np.add.at(counts[place], (rows[inside], columns[inside]), 1)
    near, places = (sums_of_nine(one) for one in counts)
    asked = (near >= 4) & (near > _ASKING * places)
    order = np.argsort(-near[asked], kind="stable")[: max(most, 0)]
    rows, columns = (w[order] for w in np.nonzero(asked))
    return [patch(nodes, int(c), int(r)) for r, c in zip(rows, columns, strict=True)]
