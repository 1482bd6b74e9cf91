"""Where fringes and face end, by rings of light across the rim."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.rim_profile import rim_profile
from fringe.orders.edge.rim_rings import SURE, RimRings, crossing, half_strength, round_order
from fringe.photo.filters import median, median_round

Vector = NDArray[np.float64]

_NEAR_END_PX = 8.0  # of the last rings
# light that is other than the face's, as a share of it, and over how many pixels it grows no more,
# but for a share; rays over which it is smoothed
_OTHER, _STEADY_PX, _STEADY, _ROUND = 0.06, 1.5, 0.3, 9
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


def last_fringes(rings: RimRings) -> int | None:
    """The last ring that shows fringes, and not other light; None where none can tell."""
    last = rings.last
    if last is None:
        return None
    usual = _usual(rings, last)
    gone = _gone(rings, last, usual)
    if len(gone) and _is_other_light(rings, int(gone[0]), last, usual):
        last = int(gone[0])
    lit = light_step(rings, last)
    if lit is None:
        return last
    # so is what is faint, or like fringes in part, beyond the end of the face's light
    beyond = np.flatnonzero(rings.radius[: last + 1] > lit + _STEP_PX / rings.radius_px)
    faint = rings.strength[beyond] < FADED * usual
    return int(beyond[0]) if (faint | (rings.explained[beyond] < SURE)).any() else last


def rim_end(rings: RimRings, last: int) -> RimEnd:
    """Where the fringes end, and the face.

    Both end where half of the fringes' strength is left: the light, which may have a step
    elsewhere, at the outer border of a bright chamfer, tells nothing of them. But where fringes
    crowd they fade before the face ends, which the step of light tells then, or fringes that come
    again.
    """
    usual = _usual(rings, last)
    gone = _gone(rings, last, usual)
    k, half = half_strength(rings, last)
    lost_at = int(gone[0]) if len(gone) else last
    end = crossing(rings.radius, rings.strength, half, k)
    before = max(k - round(_MIXED_PX / rings.step_px), 1)
    back = max(before - round(_SPEED_PX / rings.step_px), 0)
    speed = abs(float(rings.ahead[before] - rings.ahead[back])) / _SPEED_PX
    lit, u_px = light_step(rings, last), None
    stepped = lit is not None
    if len(gone):
        end = float(rings.radius[last])
    if lit is not None and (len(gone) or _crowd_before(rings, k)):
        end, u_px = lit, _LIT_PX
    faded = lost_at - int(np.argmax(rings.strength[lost_at::-1] > FADED * usual))
    seen = float(rings.radius[faded])
    band = band_end(rings, last)
    if speed > _CROWDED / 2 and band > last and not len(gone) and not stepped:
        return RimEnd(float(rings.radius[k]), float(rings.radius[band]), speed, stepped)
    if (end - seen) * rings.radius_px > _BAND_PX and (len(gone) or end == lit):
        return RimEnd(seen, end, speed, stepped, u_px)
    return RimEnd(end, end, speed, stepped, u_px)


def _usual(rings: RimRings, last: int) -> float:
    """Strength of the fringes well within the last of them."""
    return float(median(rings.strength[: max(last - _near(rings), 1)]))


def _gone(rings: RimRings, last: int, usual: float) -> NDArray[np.intp]:
    """Rings to the last on which fringes are gone, if that is more than the lens's blur."""
    gone = np.flatnonzero(rings.strength[: last + 1] < _GONE * usual)
    if len(gone) and (last - gone[0]) * rings.step_px < _AGAIN_PX:
        gone = gone[:0]
    return gone


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
    lit = light_step(rings, last)
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


def _near(rings: RimRings) -> int:
    """Number of the last rings."""
    return max(1, round(_NEAR_END_PX / rings.step_px))


def light_step(rings: RimRings, last: int) -> float | None:
    """Where the face's light ends, by what follows first that is other and goes on as such.

    Face and surroundings may be as bright and differ round the ring alone, as a chamfer that glints
    does. Fringes too fine to be seen leave the light of the face as it is.
    """
    k, _ = half_strength(rings, last)
    inner = rings.slow[max(k - 2 * _near(rings), 0) : max(k - _near(rings) // 2, 1)].mean(axis=0)
    waves = np.stack([np.ones_like(rings.angle), np.cos(rings.angle), np.sin(rings.angle)])
    face = inner @ waves
    light = rings.light.copy()
    light[: last + 1] = rings.beside_fringes(slice(last + 1))
    count = round(_STEADY_PX / rings.step_px) + 1
    farthest = int(np.searchsorted(rings.radius, rings.radius[last] * (1 + WIDEST_BAND)))
    for first in range(k + 1, min(farthest, len(rings.radius) - count)):
        near, far = (
            median_round(light[at : at + count // 2].mean(axis=0), _ROUND)
            for at in (first, first + count - count // 2)
        )
        other = (near + far) / 2 - face
        # a narrow chamfer is never steady, but its light goes over into another
        if np.abs(other).mean() > _OTHER and (far - near) @ other < _STEADY * (other @ other):
            break
    else:
        return None
    start = max(k - _near(rings), 0)
    share = rings.share_of(face, face + other, slice(start, first + 1))
    steps = np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))
    if not len(steps):
        return None
    return crossing(rings.radius[start:], share, 0.5, int(steps[-1]))


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
