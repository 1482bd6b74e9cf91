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
from fringe.orders.edge.by_rings import HELD_PX, SHARP_PX, placed_by_rings
from fringe.orders.edge.rim_end import (
    FADED,
    LEAST_MOVED_PX,
    LOST_RATE,
    MOST_MISFIT,
    OFF,
    WIDEST_BAND,
    RimEnd,
    band_end,
    by_profile,
    is_lit,
    last_fringes,
    light_step,
    rim_end,
)
from fringe.orders.edge.rim_profile import RimProfile, rim_profile
from fringe.orders.edge.rim_rings import SURE, RimRings, extrapolating, follow_rim, round_order
from fringe.orders.fit.best_start import MOST_PIXELS, first_prior, is_noisy_but_right
from fringe.orders.fit.carry import carried
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.local_form import ZONED
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import pixels_of
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.scale import level_for
from fringe.orders.fit.solve import (
    TOLERATED,
    Solution,
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
_BENT_PX = 4.0  # of rings whose order is continued over these
_OFF_PX = 2.0  # over which an error of the round form counts
# by which the order of rings errs at most, a unit of the fringes' sharpness: it is that of cosines
_BY_SHARPNESS = 0.1
_FOLLOWED = 0.9  # share explained where rings begin, below which the fit is not followed
# what is left there over the noise of a pixel: of 128 noisy fringes 0.95, else 3 to 9
_DROWNED = 1.5
_INNER = 0.86  # share of the radius, within which the form is fitted alone
_BAND_PX = 1.5  # least width of a band that is no more than the lens's blur
_ENDS_PX = 0.5  # over which the order at the rim is known by its speed alone
_RIM_PX, _LEAST_WIDTH = 1.5, 0.004  # over which an error of the rim grows; share of the radius
_LEAST_RIM = 0.02  # standard uncertainty of the order at the rim [fringe]
# of the orders that are lost there, since finer fringes than the least cannot be told from them,
# and beside them [fringe]
_LOST_SHARE, _LOST = 1.0, 0.15
# fringes that end within the edge that was found: by so many pixels at least, within so few, and
# what rings beyond explain at most
_INWARD_PX, _NOTHING = 3.0, 0.3
_NO_WORSE = 1.2  # of what rings about a new fit leave, over what they left before
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
    rings = _followed(photo, edge, solution)
    if rings is None:
        return as_it_was
    fit = rings.fit
    last = last_fringes(rings)
    if last is None:
        return as_it_was
    end = rim_end(rings, last)
    if found:
        end = by_profile(rings, end, last)
    moved_px = (end.face - 1) * rings.radius_px
    if found and end.moves(rings.radius_px, edge.u_px):
        new = placed_by_rings(photo, rings, end)
        if moved_px > 0 and new.a > edge.a + LEAST_MOVED_PX:
            return _better(as_it_was, _read_anew(photo, new, rings, fit, end, found=True))
        if moved_px < -_INWARD_PX and _ends_sharply(rings, end):
            return _better(as_it_was, _within(photo, new))
    if end.face < 1 - _INWARD_PX / rings.radius_px:  # not followed to the edge
        if not is_lit(rings, end.face, 1.0):
            return as_it_was
        profile = _to_edge(rings)
        if profile is None:
            return as_it_was
        end = replace(end, face=1.0)
    else:
        profile = _to_edge(rings)
    end = end.limited()
    if end.lost or _is_off(rings, solution.fit.model, end.seen, profile):
        return _better(as_it_was, _read_anew(photo, edge, rings, fit, end, found=found))
    doubted = as_it_was if profile is None else _doubted(as_it_was, profile)
    return _with_band(doubted, rings, end, last) if found else doubted


def _followed(photo: Photo, edge: Edge, solution: Solution) -> RimRings | None:
    """Rings across the rim, by a fit of the inner part alone where that of all of it misses them.

    None where none can tell.
    """
    fit = solution.fit
    rings = follow_rim(photo, edge, fit, _WITHIN, _BEYOND)
    if not rings.tell:
        return None
    if _are_drowned(rings):
        return rings
    if median(rings.explained[:_FIRST]) < _FOLLOWED:
        # what no sphere made is refused before the whole is fitted again
        growth_warnings(photo.name, fit.model, solution.span)
        inner = _fit_within(photo, edge)
        return None if inner is None else follow_rim(photo, edge, inner, _INNER - 0.1, _BEYOND)
    if _shown(rings) < SURE:  # the low form may leave out what is not round
        whole = follow_rim(photo, edge, fit, _WITHIN, _BEYOND, uneven=1.0)
        rings = max(rings, whole, key=_shown)
    if _shown(rings) < SURE:
        # a fit that went after a rim that it cannot follow may err farther in
        inner = middle_fit(photo, edge, _INNER, fit.model)
        if inner is not None:
            return max(rings, follow_rim(photo, edge, inner, _INNER - 0.1, _BEYOND), key=_shown)
    return rings


def _are_drowned(rings: RimRings) -> bool:
    """Whether noise alone is left where rings begin: many fringes, followed all over the face."""
    left = float(median(rings.left[:_FIRST]))
    return is_noisy_but_right(rings.fit) and left < _DROWNED * rings.noise


def _shown(rings: RimRings) -> float:
    """Share that fringes explain of nearly all rings within the edge."""
    within = rings.radius < 1 - SHARP_PX / 2 / rings.radius_px
    return float(quantile(rings.explained[within], 0.1))


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
    last = last_fringes(rings)
    if last is None or median(rings.explained[:_FIRST]) < _FOLLOWED:
        return None
    end = rim_end(rings, last)
    if end.face > 1 and end.moves(rings.radius_px, edge.u_px):
        return _read_anew(
            photo, placed_by_rings(photo, rings, end), rings, solution.fit, end, found=True
        )
    if end.face < 1 - _INWARD_PX / rings.radius_px:
        return None
    end = end.limited()
    if end.lost or _is_off(rings, solution.fit.model, end.seen, _to_edge(rings)):
        return _read_anew(photo, edge, rings, solution.fit, end, found=True)
    return Rim(edge, solution)


def _ends_sharply(rings: RimRings, end: RimEnd) -> bool:
    """Whether fringes end at once, and nothing like them follows.

    Fringes too fine for the pixels may follow, but not over a wide band.
    """
    sharp = SHARP_PX / 2 / rings.radius_px
    inside, outside = rings.radius < end.face - sharp, rings.radius > end.face + sharp
    outside &= rings.radius < 1.0
    if (end.lost and end.face > 1 - WIDEST_BAND) or not outside.any():
        return False
    near = rings.strength[inside][-round(SHARP_PX / rings.step_px) :]
    left = rings.strength[outside].max() < FADED * float(median(near))
    return bool(left and median(rings.explained[outside]) < _NOTHING)


def _with_band(rim: Rim, rings: RimRings, end: RimEnd, last: int) -> Rim:
    """Count a band beyond the fringes that is as bright as they are.

    The edge may be at either side of it; and where the face goes on, so may its order.
    """
    lit = light_step(rings, last)
    seen = end.face - rings.step_px / rings.radius_px  # a ring of them at least
    width = lit - end.face if lit is not None and is_lit(rings, seen, lit) else 0.0
    band = band_end(rings, last)
    if band > last:
        width = max(width, float(rings.radius[band] - rings.radius[last]))
    width_px = width * rings.radius_px
    if width_px < _BAND_PX:
        return rim
    u_px = float(np.hypot(rim.edge.u_px, width_px / 2))
    rho, _ = nodes()
    u_rim = _LOST + LOST_RATE * (width_px + HELD_PX)
    errors = u_rim * np.exp((rho - 1) / max(width, _LEAST_WIDTH))[None]
    if rim.solution.rim_errors is not None:
        errors = np.concatenate([rim.solution.rim_errors, errors])
    return Rim(replace(rim.edge, u_px=u_px), replace(rim.solution, rim_errors=errors), (BAND,))


def _read_anew(
    photo: Photo, edge: Edge, rings: RimRings, fit: Fit, end: RimEnd, *, found: bool
) -> Rim:
    """Light and noise of a new fit, its order that of the rings near the rim."""
    edge, model, errors, too_fine = _to_the_end(edge, rings, fit, end, found=found)
    level = level_for(cut_field(photo, edge, 1), model.steepest())
    prior = replace(first_prior(pixels_of(level, MOST_PIXELS)), symmetric=1.0, zoned=True)
    start = replace(fit, model=model)
    light = with_all_terms(level, start, True, prior, TOLERATED)
    # the fit of all of it knows better what lies within, and what is not round
    again = follow_rim(photo, edge, light, float(rings.radius[0]), _BEYOND, _WELL_KNOWN)
    last = last_fringes(again)
    if last is not None and _tell_no_less(again, rings):
        end = end if end.lost else rim_end(again, last).limited()
        _, model, errors, too_fine = _to_the_end(edge, again, light, end, found=False)
    solution = solution_of(level, replace(light, model=model), model.steepest(), 1.0)
    return Rim(edge, replace(solution, rim_errors=errors), (TOO_FINE,) if too_fine else ())


def _tell_no_less(rings: RimRings, other: RimRings) -> bool:
    """Whether rings near the rim are followed as well as others."""
    left = [
        1 - median(one.explained[(one.radius > _INNER) & (one.radius < _WELL_KNOWN)])
        for one in (rings, other)
    ]
    return bool(left[0] < _NO_WORSE * left[1])


def _to_the_end(
    edge: Edge, rings: RimRings, fit: Fit, end: RimEnd, *, found: bool
) -> tuple[Edge, OrderModel, Vector, bool]:
    """Edge, order to its end, errors of that, and whether fringes are too fine to be seen."""
    scale = float(np.sqrt(edge.a * edge.b)) / rings.radius_px
    profile = _told(rim_profile(rings, scale, edge.u_px))
    too_fine = end.lost
    if profile is not None:
        too_fine = profile.too_fine
        if found and not (too_fine and end.u_px):  # what is not seen tells less than light
            edge = _ended(edge, profile, scale, rings.radius_px)
    return (edge, *_model_on(edge, rings, fit, end, profile), too_fine)


def _to_edge(rings: RimRings) -> RimProfile | None:
    """The profile of rings to their own edge, if they bear it out."""
    return _told(rim_profile(rings, 1.0, rings.edge.u_px))


def _told(profile: RimProfile | None) -> RimProfile | None:
    """A profile that the rings bear out."""
    return profile if profile is not None and profile.misfit < MOST_MISFIT else None


def _ended(edge: Edge, profile: RimProfile, scale: float, radius_px: float) -> Edge:
    """A found edge where its fringes end."""
    ends = profile.end / scale
    u_px = profile.u_end_px(radius_px)
    return replace(edge, a=ends * edge.a, b=ends * edge.b, u_px=u_px)


def _fit_within(photo: Photo, edge: Edge) -> Fit | None:
    """Fit of the inner part alone, its low form on the edge's own unit disc."""
    inner = replace(edge, a=_INNER * edge.a, b=_INNER * edge.b)
    try:
        fit = solve(photo, inner).fit
    except Refused:
        return None
    return replace(fit, model=carried(extrapolating(fit.model, 1.0), inner, edge))


def _is_off(rings: RimRings, model: OrderModel, end: float, profile: RimProfile | None) -> bool:
    """Whether the round form of a model is not that of the rings, somewhere within the edge."""
    sure = (rings.radius < end - HELD_PX / rings.radius_px) & (rings.explained > SURE)
    if not sure.any():
        return False
    off = rings.order - round_order(model, rings.radius)
    off -= np.round(median(off[sure]))
    need = max(2, round(_OFF_PX / rings.step_px))
    counts = OFF + _BY_SHARPNESS * rings.fit.sharpness
    labels, count = connected(((np.abs(off) > counts) & sure)[None])
    if count and np.bincount(labels.ravel())[1:].max() >= need:
        return True
    if profile is not None:
        return abs(float(_off(profile, model)[-1])) > counts
    near = np.flatnonzero(sure)[-max(4, round(_BENT_PX / rings.step_px)) :]
    at_rim = np.polyval(np.polyfit(rings.radius[near] - end, off[near], 2), 0.0)
    return abs(float(at_rim)) > counts


def _off(profile: RimProfile, model: OrderModel) -> Vector:
    """By how much the order of a profile is another than a model's, to the rim [fringe]."""
    radius = np.minimum(profile.radius, 1.0)
    off = np.interp(radius, profile.radius, profile.order) - round_order(model, radius)
    return np.asarray(off - off[0])


def _doubted(rim: Rim, profile: RimProfile) -> Rim:
    """Count by how much a fit's order at the rim is another than that of the rings."""
    rho, _ = nodes()
    errors = np.interp(rho, profile.radius, _off(profile, rim.solution.fit.model), left=0.0)
    return replace(rim, solution=replace(rim.solution, rim_errors=errors[None]))


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


def _model_on(
    new: Edge, rings: RimRings, fit: Fit, end: RimEnd, profile: RimProfile | None
) -> tuple[OrderModel, Vector]:
    """The fit's model on a new edge's disc, its round form that of the rings near the rim.

    Also the errors of that form, beside that of the edge; see `Solution.rim_errors`.
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
    inner = round_order(fit.model, at)
    # the two agree where the rings begin
    shift = float(median((round_order(fit.model, rings.radius) - rings.order)[:_FIRST]))
    if profile is None:
        seen, errors = _going_on(rings, end, at)
    else:
        within = rings.radius < profile.radius[0]
        radius = np.concatenate([rings.radius[within], profile.radius])
        seen = np.interp(at, radius, np.concatenate([rings.order[within], profile.order]))
        errors = profile.errors_at(at)
    wanted = np.where(at < rings.radius[_FIRST // 2], inner, seen + shift)
    values[[k for k, (_, m) in enumerate(ZONED) if m == 0]] = projection(ZONED) @ wanted
    return OrderModel(terms, values), errors


def _going_on(rings: RimRings, end: RimEnd, at: Vector) -> tuple[Vector, Vector]:
    """Order of the rings at some radii, the last ones continued over what the lens mixes.

    Also its error, which grows over the last pixels to the rim.
    """
    known = rings.radius < end.seen - HELD_PX / rings.radius_px
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
        rate = toward * LOST_RATE * rings.radius_px
        going_on = by_degree[0] + rate * np.maximum(at - end.seen, 0.0)
    u_rim = float(np.hypot(_LEAST_RIM, (by_degree[1] - by_degree[0])[-1] / 2))
    u_rim = float(np.hypot(u_rim, end.speed * _ENDS_PX))
    if end.lost:
        u_rim = _LOST + LOST_RATE * HELD_PX * (not end.stepped)
        u_rim += _LOST_SHARE * abs(float(going_on[-1] - order[-1]))
    width = max(_RIM_PX / rings.radius_px, _LEAST_WIDTH)
    errors = u_rim * np.exp((at - at[-1]) / width)
    return np.where(at > radius[-1], going_on, np.interp(at, radius, order)), errors[None]
