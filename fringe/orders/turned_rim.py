"""A rim that is turned: fringes that go on beyond the edge that was found, or that a fit missed.

The search for an edge extrapolates the form of the inner part, and a fit takes for dirt what goes
against it; both may end where a turned zone begins. Rings of light across the rim show how far the
fringes really go, and of what form (`edge/rim_rings.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.form import disc_grid
from fringe.optics.form_shapes import nodes, projection
from fringe.optics.patches import is_patch
from fringe.optics.zernike import zernike_matrix
from fringe.orders.agreement import patches_of
from fringe.orders.doubts import MOST_UNEXPLAINED
from fringe.orders.edge.rim_rings import (
    RimRings,
    crossing,
    extrapolating,
    follow_rim,
    half_strength,
    round_order,
)
from fringe.orders.edge.step import light_step_between
from fringe.orders.fit.carry import carried
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.local_form import ZONED
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import pixels_of
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.scale import level_for
from fringe.orders.fit.solve import (
    MOST_PIXELS,
    TOLERATED,
    Solution,
    first_prior,
    middle_fit,
    solution_of,
    solve,
    with_all_terms,
)
from fringe.orders.ring_growth import growth_warnings
from fringe.photo.ellipse import Edge
from fringe.photo.filters import connected, median, quantile
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
_WITHIN, _BEYOND = 0.82, 1.1  # radii that are looked at, as shares of the edge's
_FIRST = 10  # rings that tell whether the fit is followed where they begin
_NEAR_END_PX = 8.0  # of the last rings
_HELD_PX = 1.5  # within the edge: farther out the lens mixes in the light from beyond
_BENT_PX = 4.0  # of rings whose order is continued over these
_CLEAR_MEAN = 0.15  # step of the mean light that tells the edge, as a share of it
# by which an edge is moved at least, where its uncertainty is less; where fringes crowd
_MOVED_PX, _LEAST_MOVED_PX = 1.5, 0.3
_OFF, _OFF_PX = 0.06, 2.0  # error of the round form that counts [fringe], over so many pixels
_SURE = 0.8  # share explained, of a ring whose order is believed
_FOLLOWED = 0.9  # share explained where rings begin, below which the fit is not followed
_PLACINGS, _NEAR_BY = 2, 0.03  # of an edge by rings; by how much it is moved, of its radius
_INNER = 0.86  # share of the radius, within which the form is fitted alone
_NEAR_PX, _STEP_GAIN = 1.5, 0.3  # of a step of light that is taken
_RINGS_PX = 0.5  # standard uncertainty of an edge by its rings alone
# fringes that are lost before the face ends: strength at which they fade and at which they are
# gone, as shares of the inner one, and over how many pixels at least; what they have there
# [fringe / px]; least width of such a band [px]
_FADED, _GONE, _AGAIN_PX, _LOST_RATE, _BAND_PX = 0.3, 0.08, 1.5, 0.4, 2.5
# cosine of the phase by which what comes again differs, below which it is turned about: a sixth of
# an order to either side
_TURNED_ABOUT = -0.5
# speed from which they crowd, and over which it is taken [fringe / px; px]
_CROWDED, _SPEED_PX = 0.1, 2.0
_MIXED_PX, _STEP_PX = 1.0, 1.5  # of the lens's blur; of the light's step about where fringes end
_ENDS_PX = 0.5  # over which the order at the rim is known by its speed alone
_LEAST_RIM = 0.02  # standard uncertainty of the order at the rim [fringe]
# of the orders that are lost there, since finer fringes than the least cannot be told from them,
# and beside them [fringe]
_LOST_SHARE, _LOST = 1.0, 0.15
# a band beyond the edge that may be either: mean light and its slopes as shares of the light, and
# its greatest width as a share of the radius
_ALIKE, _WIDEST_BAND = 0.12, 0.05
# fringes that end within the edge that was found: by so many pixels at least, within so few, and
# what rings beyond explain at most
_INWARD_PX, _SHARP_PX, _NOTHING = 3.0, 6.0, 0.3
_WELL_KNOWN = 0.96  # share of an edge's radius, beyond which its terms are not relied on
_UNEVEN_PLACES = [k for k, (_, m) in enumerate(ZONED) if m != 0]
_UNEVEN = tuple(ZONED[k] for k in _UNEVEN_PLACES)
TOO_FINE = (
    "the rim is turned so narrowly that its fringes are too fine for the pixels: more of them may"
    " be there than are read; photograph it larger"
)
BAND = (
    "beyond the edge lies a band as bright as the fringes: a chamfer, or a turned rim whose fringes"
    " are too fine for the pixels; look at --picture, and give the edge with --edge, or photograph"
    " it larger"
)


@dataclass(frozen=True)
class Rim:
    """What rings across the rim showed.

    Attributes
    ----------
    edge : Edge
    solution : Solution
    warnings : tuple of str
    """

    edge: Edge
    solution: Solution
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _RimEnd:
    """Where the fringes end, as shares of the edge's radius.

    Attributes
    ----------
    seen : float
        Where they are seen last.
    face : float
        Where the face ends: farther out where fringes are lost before.
    speed : float
        By which the order runs away from the extrapolated one where they end [fringe / px].
    stepped : bool
        Whether the mean light has a step there.
    """

    seen: float
    face: float
    speed: float = 0.0
    stepped: bool = True

    @property
    def lost(self) -> bool:
        """Whether fringes are lost before the face ends, or may be."""
        return self.face > self.seen or (self.speed > _CROWDED and not self.stepped)

    def moves(self, radius_px: float, u_px: float) -> bool:
        """Whether this is elsewhere than an edge, by its uncertainty or by what the order tells."""
        moved = (self.face - 1) * radius_px
        if abs(moved) > max(_MOVED_PX, u_px):
            return True
        return moved > _LEAST_MOVED_PX and moved * self.speed > _OFF

    def limited(self) -> _RimEnd:
        """The same within the edge."""
        lost = self.face > self.seen
        return replace(self, seen=min(self.seen, 1.0), face=1.0 if lost else min(self.seen, 1.0))


def beyond_edge(photo: Photo, edge: Edge, solution: Solution, *, found: bool) -> Rim:
    """Take in fringes that go on beyond a found edge, or that the fit missed near the rim.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    solution : Solution
        Of the fringes within it.
    found : bool
        Whether the edge was found, and may be moved.
    """
    as_it_was = Rim(edge, solution)
    fit = solution.fit
    rings = follow_rim(photo, edge, fit, _WITHIN, _BEYOND)
    if not rings.tell:
        return as_it_was
    if median(rings.explained[:_FIRST]) < _FOLLOWED:
        # what no sphere made is refused before the whole is fitted again
        growth_warnings(photo.name, fit.model, solution.span)
        inner = _fit_within(photo, edge)
        if inner is None:
            return as_it_was
        fit = inner
        rings = follow_rim(photo, edge, fit, _INNER - 0.1, _BEYOND)
    last = rings.last
    if last is None:
        return as_it_was
    end = _end(rings, last)
    moved_px = (end.face - 1) * rings.radius_px
    if found and end.moves(rings.radius_px, edge.u_px):
        new = _placed(photo, edge, rings, end)
        if moved_px > 0 and new.a > edge.a + _LEAST_MOVED_PX:
            return _better(as_it_was, _read_anew(photo, new, rings, fit, end))
        if moved_px < -_INWARD_PX and _ends_sharply(rings, end):
            return _better(as_it_was, _within(photo, new))
    if end.face < 1 - _INWARD_PX / rings.radius_px:  # not followed to the edge
        return as_it_was
    end = end.limited()
    if end.lost or _is_off(rings, solution.fit.model, end.seen):
        return _better(as_it_was, _read_anew(photo, edge, rings, fit, end))
    return _with_band(as_it_was, rings, last) if found else as_it_was


def edge_by_rings(photo: Photo, edge: Edge, model: OrderModel | None = None) -> Edge | None:
    """The edge at which rings of light show the fringes to end, where no fit follows them to it.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Within some pixels of it.
    model : OrderModel, optional
        Of the fringes on its unit disc; where it fits their middle no other is sought.

    Returns
    -------
    Edge or None
        None where the rings do not follow fringes to an end near by.
    """
    for _ in range(_PLACINGS):
        middle = middle_fit(photo, edge, _INNER, model)
        if middle is None:
            return None
        model = middle.model
        rings = follow_rim(photo, edge, middle, _INNER - 0.1, _BEYOND)
        last = rings.last
        if last is None or not rings.tell:
            return None
        end = _end(rings, last)
        sharp = _SHARP_PX / 2 / rings.radius_px
        inside, outside = rings.radius < end.face - sharp, rings.radius > end.face + sharp
        if end.lost or abs(end.face - 1) > _NEAR_BY or not outside.any():
            return None
        if quantile(rings.explained[inside], 0.1) < _SURE:
            return None
        if rings.strength[outside].max() > _FADED * float(median(rings.strength[inside])):
            return None
        placed = _placed(photo, edge, rings, end)
        edge, model = placed, carried(model, edge, placed)
    return edge


def _better(old: Rim, new: Rim | None) -> Rim:
    """The new one, if the picture shows its fringes no less than those of the old one."""
    if new is None:
        return old
    left = [patches_of(one.solution.field, one.solution.fit).unexplained for one in (new, old)]
    return new if left[0] <= max(left[1], MOST_UNEXPLAINED) else old


def _within(photo: Photo, edge: Edge) -> Rim | None:
    """What is read within a smaller edge, at which the fringes end."""
    try:
        solution = solve(photo, edge)
    except Refused:
        return None
    rings = follow_rim(photo, edge, solution.fit, _WITHIN, _BEYOND)
    last = rings.last
    if last is None or median(rings.explained[:_FIRST]) < _FOLLOWED:
        return None
    end = _end(rings, last)
    if end.face > 1 and end.moves(rings.radius_px, edge.u_px):
        return _read_anew(photo, _placed(photo, edge, rings, end), rings, solution.fit, end)
    if end.face < 1 - _INWARD_PX / rings.radius_px:
        return None
    end = end.limited()
    if end.lost or _is_off(rings, solution.fit.model, end.seen):
        return _read_anew(photo, edge, rings, solution.fit, end)
    return Rim(edge, solution)


def _ends_sharply(rings: RimRings, end: _RimEnd) -> bool:
    """Whether fringes end at once, and nothing like them follows.

    Fringes too fine for the pixels may follow, but not over a wide band.
    """
    sharp = _SHARP_PX / 2 / rings.radius_px
    inside, outside = rings.radius < end.face - sharp, rings.radius > end.face + sharp
    outside &= rings.radius < 1.0
    if (end.lost and end.face > 1 - _WIDEST_BAND) or not outside.any():
        return False
    near = rings.strength[inside][-round(_SHARP_PX / rings.step_px) :]
    left = rings.strength[outside].max() < _FADED * float(median(near))
    return bool(left and median(rings.explained[outside]) < _NOTHING)


def _with_band(rim: Rim, rings: RimRings, last: int) -> Rim:
    """Count a band beyond the edge that is as bright as the fringes in the edge's uncertainty."""
    band = _band(rings, last)
    if band == last:
        return rim
    width_px = (band - last) * rings.step_px
    u_px = float(np.hypot(rim.edge.u_px, width_px / 2))
    return Rim(replace(rim.edge, u_px=u_px), rim.solution, (BAND,))


def _band(rings: RimRings, last: int) -> int:
    """The ring to which a band as bright as the fringes goes on beyond the last; that, if none."""
    inner = rings.slow[: max(last // 2, 1)].mean(axis=0)
    alike = np.abs(rings.slow - inner).max(axis=1) < _ALIKE
    ends = np.flatnonzero(~alike[last + 1 :])
    if not len(ends):
        return last
    width_px = (int(ends[0]) + 1) * rings.step_px
    wide = _BAND_PX < width_px < _WIDEST_BAND * rings.radius_px
    return last + 1 + int(ends[0]) if wide else last


def _read_anew(photo: Photo, edge: Edge, rings: RimRings, fit: Fit, end: _RimEnd) -> Rim:
    """Light and noise of a new fit, its order that of the rings near the rim."""
    model, u_rim = _model_on(edge, rings, fit, end)
    level = level_for(cut_field(photo, edge, 1), model.steepest())
    prior = replace(first_prior(pixels_of(level, MOST_PIXELS)), symmetric=1.0, zoned=True)
    start = replace(fit, model=model)
    light = with_all_terms(level, start, True, prior, TOLERATED)
    again = solution_of(level, light, model.steepest(), 1.0)
    again = replace(again, fit=replace(again.fit, model=model), span=model.span(), u_rim=u_rim)
    return Rim(edge, again, (TOO_FINE,) if end.lost else ())


def _fit_within(photo: Photo, edge: Edge) -> Fit | None:
    """Fit of the inner part alone, its low form on the edge's own unit disc."""
    inner = replace(edge, a=_INNER * edge.a, b=_INNER * edge.b)
    try:
        fit = solve(photo, inner).fit
    except Refused:
        return None
    return replace(fit, model=carried(extrapolating(fit.model, 1.0), inner, edge))


def _end(rings: RimRings, last: int) -> _RimEnd:
    """Where the fringes end, and the face.

    Both end where half of the fringes' strength is left: the mean light, which may have a step
    elsewhere, at the outer border of a bright chamfer, tells nothing of them. But where fringes
    crowd they fade before the face ends, which the step of light tells then, or fringes that come
    again.
    """
    near = max(1, round(_NEAR_END_PX / rings.step_px))
    first = max(0, last - near)
    usual = float(median(rings.strength[: max(first, 1)]))
    gone = np.flatnonzero(rings.strength[: last + 1] < _GONE * usual)
    if len(gone) and (last - gone[0]) * rings.step_px < _AGAIN_PX:  # no more than the lens's blur
        gone = gone[:0]
    if len(gone) and _is_halo(rings, int(gone[0]), last, usual):
        last, gone = int(gone[0]), gone[:0]
    k, half = half_strength(rings, last)
    lost_at = int(gone[0]) if len(gone) else last
    end = crossing(rings.radius, rings.strength, half, k)
    before = max(k - round(_MIXED_PX / rings.step_px), 1)
    back = max(before - round(_SPEED_PX / rings.step_px), 0)
    speed = abs(float(rings.ahead[before] - rings.ahead[back])) / _SPEED_PX
    inside = float(median(rings.mean[: max(first, 1)]))
    beyond = rings.mean[last + 2 : last + 2 + near]
    outside = float(median(beyond)) if len(beyond) else inside
    stepped = abs(outside - inside) > _CLEAR_MEAN
    farthest = last if len(gone) else k
    if len(gone):
        end = float(rings.radius[last])
    if stepped and (len(gone) or _crowd_before(rings, k)):
        share = (rings.mean - inside) / (outside - inside)
        about = round(_STEP_PX / rings.step_px)
        window = np.arange(max(k - about, 0), min(farthest + about + 1, len(share) - 1))
        steps = window[(share[window] < 0.5) & (share[window + 1] >= 0.5)]
        if len(steps) == 1:
            end = crossing(rings.radius, share, 0.5, int(steps[0]))
    faded = lost_at - int(np.argmax(rings.strength[lost_at::-1] > _FADED * usual))
    seen = float(rings.radius[faded])
    band = _band(rings, last)
    if speed > _CROWDED / 2 and band > last and not len(gone):
        return _RimEnd(float(rings.radius[k]), float(rings.radius[band]), speed, stepped)
    if len(gone) and (end - seen) * rings.radius_px > _BAND_PX:
        return _RimEnd(seen, end, speed, stepped)
    return _RimEnd(end, end, speed, stepped)


def _is_halo(rings: RimRings, gone: int, last: int, usual: float) -> bool:
    """Whether what seems to come again is the halo of a sharpened edge.

    A halo is faint, follows fringes that did not crowd, and shows them turned about: half an order
    off.
    """
    again = slice(gone, last + 1)
    end, _ = half_strength(rings, gone)
    if rings.strength[again].max() > _FADED * usual or _crowd_before(rings, end):
        return False
    turned = np.exp(2j * np.pi * (rings.order[again] - rings.order[end]))
    mean = complex(np.sum(rings.strength[again] * turned))
    return bool(np.cos(np.angle(mean)) < _TURNED_ABOUT)


def _crowd_before(rings: RimRings, k: int) -> bool:
    """Whether fringes become finer toward a ring, so that the lens takes of their strength.

    Where they end the lens shows farther out what lies within: the order stands still.
    """
    per_px = [
        np.gradient(order) / rings.step_px
        for order in (rings.order, round_order(rings.broad, rings.radius))
    ]
    finer = per_px[0] ** 2 - per_px[1] ** 2
    return bool(finer[max(k - round(_SPEED_PX / rings.step_px), 0) : k + 1].max() > _CROWDED**2)


def _is_off(rings: RimRings, model: OrderModel, end: float) -> bool:
    """Whether the round form of a model is not that of the rings, somewhere within the edge."""
    sure = (rings.radius < end - _HELD_PX / rings.radius_px) & (rings.explained > _SURE)
    if not sure.any():
        return False
    off = rings.order - round_order(model, rings.radius)
    off -= np.round(median(off[sure]))
    need = max(2, round(_OFF_PX / rings.step_px))
    labels, count = connected(((np.abs(off) > _OFF) & sure)[None])
    if count and np.bincount(labels.ravel())[1:].max() >= need:
        return True
    near = np.flatnonzero(sure)[-max(4, round(_BENT_PX / rings.step_px)) :]
    at_rim = np.polyval(np.polyfit(rings.radius[near] - end, off[near], 2), 0.0)
    return abs(float(at_rim)) > _OFF


def _placed(photo: Photo, edge: Edge, rings: RimRings, end: _RimEnd) -> Edge:
    """The edge moved to where the face ends, and onto the step of light there if there is one."""
    face = end.face
    u_px = max(_RINGS_PX, (face - end.seen) * rings.radius_px / 2)
    moved = replace(edge, a=face * edge.a, b=face * edge.b, u_px=u_px)
    if end.lost:
        return moved
    held = face - _HELD_PX / rings.radius_px

    def predicted(u: Vector, v: Vector) -> tuple[Vector, Vector]:
        return rings.expected(face * u, face * v, held)

    step = light_step_between(photo, moved, [predicted], rings.fit.noise)
    if step is not None and step.gain > _STEP_GAIN and step.moved_px < _NEAR_PX:
        return step.edge
    return moved


def _uneven_on(new: Edge, rings: RimRings, model: OrderModel) -> Vector:
    """Terms on a new edge's disc of what is not round in a model.

    Where the disc reaches beyond the old one it goes on as its low form does.
    """
    u, v, weight = disc_grid(24, 48)
    old_u, old_v = rings.edge.unit(*new.pixels(u, v))
    rho = np.hypot(old_u, old_v)
    inward = np.minimum(_WELL_KNOWN / np.maximum(rho, 1e-9), 1.0)
    order = _uneven(rings.broad, old_u, old_v)
    at = (inward * old_u, inward * old_v)
    order += _uneven(model, *at) - _uneven(rings.broad, *at)
    # rings about the old middle, seen from the new one
    scale = float(np.sqrt(new.a * new.b)) / rings.radius_px
    order += rings.broad.power * (rho**2 - scale**2 * (u * u + v * v))
    rows = zernike_matrix(_UNEVEN, u, v).reshape(-1, len(_UNEVEN))
    weighted = rows * (weight + 1e-9).reshape(-1, 1)
    return np.asarray(np.linalg.solve(weighted.T @ rows, weighted.T @ order.ravel()))


def _uneven(model: OrderModel, u: Vector, v: Vector) -> Vector:
    """The part of a model that is not round, at places of its disc."""
    kept = [k for k, term in enumerate(model.terms) if term[1] != 0 or is_patch(term)]
    return np.asarray(zernike_matrix([model.terms[k] for k in kept], u, v) @ model.values[kept])


def _model_on(new: Edge, rings: RimRings, fit: Fit, end: _RimEnd) -> tuple[OrderModel, float]:
    """The fit's model on a new edge's disc, its round form that of the rings near the rim.

    Also the standard uncertainty of the order at the rim [fringe], beside that of the edge: the
    last rings are continued over what the lens mixes.
    """
    old = rings.edge
    scale = float(np.sqrt(new.a * new.b)) / rings.radius_px
    # bumps within the face stay as they are
    bumps = tuple(term for term in fit.model.terms if is_patch(term)) if new == old else ()
    terms = (*ZONED, *bumps)
    values = fit.model.widened(terms).values
    if new != old:
        values[_UNEVEN_PLACES] = _uneven_on(new, rings, fit.model)
    rho, _ = nodes()
    at = rho * scale  # on the old disc
    known = rings.radius < end.seen - _HELD_PX / rings.radius_px
    radius, order = rings.radius[known], rings.order[known]
    near = slice(-max(4, round(_BENT_PX / rings.step_px)), None)
    out = at - radius[-1]
    by_degree = [
        np.polyval(np.polyfit(radius[near] - radius[-1], order[near], degree), out)
        for degree in (1, 2)
    ]
    going_on = by_degree[1]
    if end.lost:
        toward = np.sign(rings.ahead[known][-1] - rings.ahead[known][near][0])
        rate = toward * _LOST_RATE * rings.radius_px
        going_on = by_degree[0] + rate * np.maximum(at - end.seen, 0.0)
    inner = round_order(fit.model, at)
    # the two agree where the rings begin
    shift = float(median((round_order(fit.model, radius) - order)[:_FIRST]))
    seen = np.where(at > radius[-1], going_on, np.interp(at, radius, order)) + shift
    wanted = np.where(at < radius[_FIRST // 2], inner, seen)
    values[[k for k, (_, m) in enumerate(ZONED) if m == 0]] = projection(ZONED) @ wanted
    u_rim = float(np.hypot(_LEAST_RIM, (by_degree[1] - by_degree[0])[-1] / 2))
    u_rim = float(np.hypot(u_rim, end.speed * _ENDS_PX))
    if end.lost:
        u_rim = _LOST + _LOST_RATE * _HELD_PX * (not end.stepped)
        u_rim += _LOST_SHARE * abs(float(going_on[-1] - order[-1]))
    return OrderModel(terms, values), u_rim
