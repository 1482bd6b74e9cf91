"""The edge at which rings of light show fringes to end, where no fit follows them so far.

A rim may be turned so much, or so broadly, that a fit of the inner part is out of step well within
the edge. Rings about the work's middle follow its fringes on, however the order goes there; and
where it runs away from the fit's, they tell the middle as well: about another one the fringes of a
ring are ahead on one side and behind on the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.boundary import reshaped
from fringe.orders.edge.rim_end import FADED, RimEnd, last_fringes, rim_end
from fringe.orders.edge.rim_rings import SURE, RimRings, follow_rim
from fringe.orders.edge.step import light_step_between
from fringe.orders.fit.carry import carried
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.solve import middle_fit
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median, quantile
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
HELD_PX = 1.5  # within the edge: farther out the lens mixes in the light from beyond
SHARP_PX = 6.0  # over which fringes end that end at once
_INNER = 0.86  # share of a curve's radius, within which the form is fitted alone
_WITHIN = 0.1  # farther in, from where rings are followed
# radii to which they are followed, farther while they have not ended, as shares of the curve's
_BEYOND, _FARTHEST = 1.1, 1.4
_PLACINGS, _NEAR_BY, _STAYED_PX = 6, 0.03, 1.0  # of an edge: last moves, as a share and in pixels
_CENTRINGS, _CENTRED_PX = 5, 0.3  # of the rings, and the last move
_LIKELY_OFF = 0.02  # standard deviation of what a curve is off by, as a share of its radius
# of a step of light that is taken: how near, and where its place is not known yet; gain
_NEAR_PX, _FAR_PX, _STEP_GAIN = 1.5, 4.0, 0.3
_RINGS_PX = 0.5  # standard uncertainty of an edge by its rings alone
# order by which that of the rings runs away from the fit's: of works without a turned rim up to
# 0.1, of those with one 0.4 and more [fringe]
_TURNED = 0.2


@dataclass(frozen=True)
class RingedEdge:
    """An edge at which rings of light end.

    Attributes
    ----------
    edge : Edge
    is_turned : bool
        Whether their order runs away from the fit's before: the rim is turned. Else the fit goes
        on to the edge, and light and fringes together may place it better.
    """

    edge: Edge
    is_turned: bool


def edge_by_rings(photo: Photo, edge: Edge, model: OrderModel | None = None) -> RingedEdge | None:
    """The edge at which rings of light show the fringes to end, where no fit follows them to it.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        A curve about the work's middle, in whose middle there is nothing but fringes; those end
        near it, or farther out.
    model : OrderModel, optional
        On its unit disc; taken where it fits their middle, else one is sought.

    Returns
    -------
    RingedEdge or None
        None where rings do not follow fringes to an end beyond which there are none.
    """
    middle = middle_fit(photo, edge, _INNER, model)
    share = _INNER
    for number in range(_PLACINGS):
        if middle is None:
            return None
        rings = _centred(photo, edge, middle, share)
        end = None if rings is None else _clear_end(rings)
        if rings is None or end is None or end.face < 1 - _NEAR_BY:
            return None
        if number and end.face > 1 + _NEAR_BY:
            return None
        placed = placed_by_rings(photo, rings, end, _FAR_PX)
        moved_px = float(np.hypot(placed.cx - rings.edge.cx, placed.cy - rings.edge.cy))
        moved_px += max(abs(placed.a - rings.edge.a), abs(placed.b - rings.edge.b))
        if moved_px < _STAYED_PX:
            within = rings.ahead[rings.radius < end.seen]
            return RingedEdge(placed, bool(np.ptp(within) > _TURNED))
        middle = replace(middle, model=carried(middle.model, edge, placed))
        share *= edge.a / placed.a
        edge = placed
    return None


def _centred(photo: Photo, edge: Edge, middle: Fit, share: float) -> RimRings | None:
    """Rings about the middle of a turned rim, followed to their end; None where none can tell."""
    within = share - _WITHIN
    rings = _to_end(photo, edge, middle, within)
    for _ in range(_CENTRINGS):
        if rings.last is None or not rings.tell:
            return None
        shape = rings.off_round(_LIKELY_OFF)
        if np.abs(shape).max() * rings.radius_px < _CENTRED_PX:
            break
        new = reshaped(rings.edge, shape)
        model = carried(middle.model, edge, new)
        other = _to_end(photo, new, replace(middle, model=model), within)
        if other.even_px < rings.even_px:
            break
        rings = other
    return rings


def _to_end(photo: Photo, edge: Edge, fit: Fit, within: float) -> RimRings:
    """Rings followed as far as fringes go."""
    beyond = _BEYOND
    while True:
        rings = follow_rim(photo, edge, fit, within, beyond)
        near_end = rings.radius[-1] - SHARP_PX / rings.radius_px
        last = last_fringes(rings)
        if last is None or rings.radius[last] < near_end or beyond >= _FARTHEST:
            return rings
        beyond += _BEYOND - 1


def _clear_end(rings: RimRings) -> RimEnd | None:
    """Where fringes end that are followed to it, and beyond which there are none."""
    last = last_fringes(rings)
    if last is None or not rings.tell:
        return None
    end = rim_end(rings, last)
    sharp = SHARP_PX / 2 / rings.radius_px
    inside, outside = rings.radius < end.seen - sharp, rings.radius > end.face + sharp
    if not inside.any() or not outside.any():
        return None
    if quantile(rings.explained[inside], 0.1) < SURE:
        return None
    faint = rings.strength < FADED * float(median(rings.strength[inside]))
    # about another middle than the face's they end here and there, one after the other
    if not faint[~inside & ~outside].any():
        return None
    # fringes that go on; other light may be like them in part
    return None if (~faint & outside & (rings.explained > SURE)).any() else end


def placed_by_rings(photo: Photo, rings: RimRings, end: RimEnd, near_px: float = _NEAR_PX) -> Edge:
    """The rings' edge moved to where the face ends, and onto the step of light there, if any."""
    face, edge = end.face, rings.edge
    u_px = end.u_px or max(_RINGS_PX, (face - end.seen) * rings.radius_px / 2)
    moved = replace(edge, a=face * edge.a, b=face * edge.b, u_px=u_px)
    if end.lost:
        return moved
    held = face - HELD_PX / rings.radius_px

    def predicted(u: Vector, v: Vector) -> tuple[Vector, Vector]:
        return rings.expected(face * u, face * v, held)

    step = light_step_between(photo, moved, [predicted], rings.fit.noise)
    if step is None or step.gain < _STEP_GAIN or step.moved_px > near_px:
        return moved
    # where fringes fade before the face ends, a step may be theirs
    grown_px = abs(np.sqrt(step.edge.a * step.edge.b) - face * rings.radius_px)
    return moved if end.u_px is not None and grown_px > 2 * end.u_px else step.edge
