"""Where fringes and face end, by rings of light across the rim."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.rim_profile import rim_profile
from fringe.orders.edge.rim_rings import RimRings, crossing, half_strength, round_order
from fringe.photo.filters import median

Vector = NDArray[np.float64]

_NEAR_END_PX = 8.0  # of the last rings
_CLEAR_MEAN = 0.15  # step of the mean light that tells the edge, as a share of it
# by which an edge is moved at least, where its uncertainty is less; where fringes crowd
_MOVED_PX, LEAST_MOVED_PX = 1.5, 0.3
# fringes that are lost before the face ends: strength at which they fade and at which they are
# gone, as shares of the inner one, and over how many pixels at least; what they have there
# [fringe / px]; least width of such a band [px]
FADED, _GONE, _AGAIN_PX, LOST_RATE, _BAND_PX = 0.3, 0.08, 1.5, 0.4, 2.5
# cosine of the phase by which what comes again differs, below which it is turned about: a sixth of
# an order to either side
_TURNED_ABOUT = -0.5
# speed from which they crowd, and over which it is taken [fringe / px; px]
_CROWDED, _SPEED_PX = 0.1, 2.0
_MIXED_PX, _STEP_PX = 1.0, 1.5  # of the lens's blur; of the light's step about where fringes end
SURE = 0.8  # share explained, of a ring whose order is believed
OFF = 0.04  # error of the order that counts [fringe]
# a band beyond the edge that may be either: mean light and its slopes as shares of the light, and
# its greatest width as a share of the radius
_ALIKE, WIDEST_BAND = 0.12, 0.05

# ends that are tried: how far within the last fringes that are seen; how far apart they are others;
# their standard uncertainty, and where the face is lit as far; by how much their evidence must be
# the better, and their misfit
_SEEN_PX, _NEAR_PX, _PLACE_PX, _LIT_PX = 1.3, 0.5, 0.7, 0.3
_CLEARLY, MOST_MISFIT = 6.0, 4.0


@dataclass(frozen=True)
class RimEnd:
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
    u_px : float or None
        Standard uncertainty of where the face ends, where its light or its profile tells [px].
    """

    seen: float
    face: float
    speed: float = 0.0
    stepped: bool = True
    u_px: float | None = None

    @property
    def lost(self) -> bool:
        """Whether fringes are lost before the face ends, or may be."""
        return self.face > self.seen or (self.speed > _CROWDED and not self.stepped)

    def moves(self, radius_px: float, u_px: float) -> bool:
        """Whether this is elsewhere than an edge, by its uncertainty or by what the order tells."""
        moved = (self.face - 1) * radius_px
        if abs(moved) > max(_MOVED_PX, u_px):
            return True
        return moved > LEAST_MOVED_PX and moved * self.speed > OFF

    def limited(self) -> RimEnd:
        """The same within the edge."""
        lost = self.face > self.seen
        return replace(self, seen=min(self.seen, 1.0), face=1.0 if lost else min(self.seen, 1.0))


def rim_end(rings: RimRings, last: int) -> RimEnd:
    """Where the fringes end, and the face.

    Both end where half of the fringes' strength is left: the mean light, which may have a step
    elsewhere, at the outer border of a bright chamfer, tells nothing of them. But where fringes
    crowd they fade before the face ends, which the step of light tells then, or fringes that come
    again.
    """
    first = max(0, last - _near(rings))
    usual = float(median(rings.strength[: max(first, 1)]))
    gone = np.flatnonzero(rings.strength[: last + 1] < _GONE * usual)
    if len(gone) and (last - gone[0]) * rings.step_px < _AGAIN_PX:  # no more than the lens's blur
        gone = gone[:0]
    if len(gone) and _is_other_light(rings, int(gone[0]), last, usual):
        last, gone = int(gone[0]), gone[:0]
    k, half = half_strength(rings, last)
    lost_at = int(gone[0]) if len(gone) else last
    end = crossing(rings.radius, rings.strength, half, k)
    before = max(k - round(_MIXED_PX / rings.step_px), 1)
    back = max(before - round(_SPEED_PX / rings.step_px), 0)
    speed = abs(float(rings.ahead[before] - rings.ahead[back])) / _SPEED_PX
    share = _light_step(rings, first, last)
    stepped = share is not None
    farthest = last if len(gone) else k
    u_px = None
    if len(gone):
        end = float(rings.radius[last])
    if share is not None and (len(gone) or _crowd_before(rings, k)):
        about = round(_STEP_PX / rings.step_px)
        lit = _half_way(rings, share, k - about, farthest + about + 1)
        if lit is not None:
            end, u_px = lit, _LIT_PX
    faded = lost_at - int(np.argmax(rings.strength[lost_at::-1] > FADED * usual))
    seen = float(rings.radius[faded])
    band = band_end(rings, last)
    if speed > _CROWDED / 2 and band > last and not len(gone):
        return RimEnd(float(rings.radius[k]), float(rings.radius[band]), speed, stepped)
    if len(gone) and (end - seen) * rings.radius_px > _BAND_PX:
        return RimEnd(seen, end, speed, stepped, u_px)
    return RimEnd(end, end, speed, stepped, u_px)


def _is_other_light(rings: RimRings, gone: int, last: int, usual: float) -> bool:
    """Whether what seems to come again is a surround that varies, or a sharpened edge's halo.

    A surround is like fringes in part. A halo is faint, follows fringes that did not crowd, and
    shows them turned about: half an order off.
    """
    again = slice(gone, last + 1)
    strength = rings.strength[again]
    if strength.max() > FADED * usual:
        like = float(median(rings.explained[again][strength >= strength.max() / 2]))
        return like < SURE
    end, _ = half_strength(rings, gone)
    if _crowd_before(rings, end):
        return False
    turned = np.exp(2j * np.pi * (rings.order[again] - rings.order[end]))
    mean = complex(np.sum(strength * turned))
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


def by_profile(rings: RimRings, end: RimEnd, last: int) -> RimEnd:
    """The end of the face, where fringes fade before it, by the order that explains the rings best.

    It may be where half of their strength is left, where the mean light has its step, or within the
    lens's blur of where fringes are seen last. Fringes that do not crowd end where half is left: a
    softer lens, or an edge that is not quite the outline, lets them fade as well.
    """
    if not _crowd_before(rings, half_strength(rings, last)[0]):
        return end
    near = _NEAR_PX / rings.radius_px
    seen = float(rings.radius[last]) - _SEEN_PX / rings.radius_px
    lit = _light_ends(rings, last)
    places = {one: _PLACE_PX for one in (seen, lit) if one is not None and one > end.face + near}
    if not places:
        return end
    if lit in places and is_lit(rings, end.face, lit):
        places[lit] = _LIT_PX
    outermost = max(places)
    best = rim_profile(rings, end.face, _PLACE_PX, outermost)
    if best is None:
        return end
    least = best.neg_2_log_evidence - _CLEARLY
    for place, u_px in places.items():
        found = rim_profile(rings, place, u_px, outermost)
        if found is not None and found.misfit < MOST_MISFIT and found.neg_2_log_evidence < least:
            best, least = found, found.neg_2_log_evidence
    if best.end <= end.face + near:
        return end
    return replace(end, face=best.end, u_px=best.u_end_px(rings.radius_px))


def _light_ends(rings: RimRings, last: int) -> float | None:
    """Where the mean light has its step, about the last fringes; None without a clear one."""
    near = _near(rings)
    share = _light_step(rings, last - near, last)
    return None if share is None else _half_way(rings, share, last - near, last + near)


def _near(rings: RimRings) -> int:
    """Number of the last rings."""
    return max(1, round(_NEAR_END_PX / rings.step_px))


def _light_step(rings: RimRings, first: int, last: int) -> Vector | None:
    """How far each ring's mean light is on from that before a ring to that beyond another.

    None where the two hardly differ.
    """
    inside = float(median(rings.mean[: max(first, 1)]))
    beyond = rings.mean[last + 2 : last + 2 + _near(rings)]
    outside = float(median(beyond)) if len(beyond) else inside
    if abs(outside - inside) <= _CLEAR_MEAN:
        return None
    return np.asarray((rings.mean - inside) / (outside - inside))


def _half_way(rings: RimRings, share: Vector, first: int, end: int) -> float | None:
    """The only radius about some rings at which a step of light is half done, if there is one."""
    about = np.arange(max(first, 0), min(end, len(share) - 1))
    steps = about[(share[about] < 0.5) & (share[about + 1] >= 0.5)]
    return crossing(rings.radius, share, 0.5, int(steps[0])) if len(steps) == 1 else None


def is_lit(rings: RimRings, first: float, end: float) -> bool:
    """Whether the face goes on between two radii, by its mean light, to within the lens's blur."""
    blurred = _STEP_PX / rings.radius_px
    about = (rings.radius > first) & (rings.radius < end - blurred)
    return bool(about.any() and _like_within(rings, first)[about].all())


def _like_within(rings: RimRings, first: float) -> NDArray[np.bool_]:
    """Whether the mean light of each ring and its slopes are those of the rings within a radius."""
    inner = rings.slow[: max(int(np.searchsorted(rings.radius, first)) // 2, 1)].mean(axis=0)
    return np.asarray(np.abs(rings.slow - inner).max(axis=1) < _ALIKE)


def band_end(rings: RimRings, last: int) -> int:
    """The ring to which a band as bright as the fringes goes on beyond the last; that, if none."""
    alike = _like_within(rings, float(rings.radius[last]))
    ends = np.flatnonzero(~alike[last + 1 :])
    if not len(ends):
        return last
    width_px = (int(ends[0]) + 1) * rings.step_px
    wide = _BAND_PX < width_px < WIDEST_BAND * rings.radius_px
    return last + 1 + int(ends[0]) if wide else last
