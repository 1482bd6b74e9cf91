"""Fringes that go on beyond an edge, where they are rings about the work's own middle.

Rings of light cannot be told from fringes then, and a dark fringe near the rim looks like an edge.
But light that beyond it swings as the fit's fringes would is that of the face.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fringe.orders.edge.rim_rings import RimRings, crossing, follow_rim
from fringe.orders.fit.refine import Fit, between_fringes
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_RAYS = 72
_CONCENTRIC = 0.8  # of the order round the rim, up to which rings may be about the middle [fringe]
_LIGHT_AT = 0.94  # share of the radius, at which the fringes' amplitude is taken
_WITHIN, _BEYOND = 0.85, 1.2  # radii that are looked at, as shares of the edge's
# beyond an edge, over which the lens mixes what lies on both sides, and over which that follows
_BLUR_PX, _AFTER_PX = 1.5, 8.0
# what light beyond differs by from the fit's fringes, over their amplitude; how far these must
# swing there, over twice the amplitude
_ALIKE, _SWING = 0.4, 0.6


def where_rings_go_on(photo: Photo, edge: Edge, fit: Fit) -> Edge | None:
    """The end of light that swings beyond an edge as the fringes within it would.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    fit : Fit
        Of all that lies within the edge, on its unit disc.

    Returns
    -------
    Edge or None
        None where fringes are not rings about the edge's middle, or the light beyond is another.
    """
    turn = np.linspace(0, 2 * np.pi, _RAYS, endpoint=False)
    if np.ptp(fit.model.order(np.cos(turn), np.sin(turn))) > _CONCENTRIC:
        return None
    rings = follow_rim(photo, edge, fit, _WITHIN, _BEYOND, uneven=1.0)
    end = _end_of_alike(rings)
    if end is None:
        return None
    return replace(edge, a=end * edge.a, b=end * edge.b)


def _end_of_alike(rings: RimRings) -> float | None:
    """Radius to which light beyond the edge is that of fringes, past a swing of theirs."""
    turn = rings.angle
    places = [(_LIGHT_AT * w).astype(np.float32) for w in (np.cos(turn), np.sin(turn))]
    amplitude = float(np.mean(between_fringes(rings.fit, places[0], places[1])[1]))
    meant = -amplitude * np.cos(rings.phase)
    off = np.sqrt(np.mean((rings.light - meant) ** 2, axis=1)) / amplitude
    first = int(np.searchsorted(rings.radius, 1 + _BLUR_PX / rings.radius_px))
    others = np.flatnonzero(off[first:] > _ALIKE)
    last = first + int(others[0]) - 1 if len(others) else len(off) - 1
    if last <= first or np.ptp(meant[first : last + 1].mean(axis=1)) < _SWING * 2 * amplitude:
        return None
    # the lens blurs the end: it is where half of what follows is reached
    after = off[last : last + round(_AFTER_PX / rings.step_px)]
    half = float(after.max()) / 2
    return crossing(rings.radius[last:], after, half, max(int(np.argmax(after > half)) - 1, 0))
