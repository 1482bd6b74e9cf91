"""How far fringes go within a circle that encloses more than them: a plate, a bright cell."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.ellipse_fit import fit_ellipse
from fringe.orders.edge.rays import Rays, cast
from fringe.orders.fit.carry import carried
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit, between_fringes
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
_RAYS, _STEPS = 96, 80
_FROM = 0.2  # share of the radius from which fringes are followed outward
# residual at which light is as likely something else, as a share of the usual amplitude, and of
# the residual that is usual; contrast below which there are no fringes, as a share of the median
_OTHER, _USUAL, _LEAST_CONTRAST = 0.25, 4.0, 0.3
_NARROWEST = 0.025  # share of the radius that is left out at least
_NEAR = 0.02  # of the radius, within which ends of fringes lie on one curve
_RIM = 0.06  # share of the radius, over which a turned rim may follow that is not of the fit
_EVEN = 0.15  # deviation of light without fringes, as a share of their amplitude
_MOST = 0.6  # of the rays, on which fringes must end early, and on one curve


class FringesEnd(NamedTuple):
    """The curve at which fringes end, and whether light without any goes on to the circle.

    The model of the fringes is on the curve's unit disc.
    """

    edge: Edge
    model: OrderModel
    bare: bool


def where_fringes_end(photo: Photo, circle: Edge, fit: Fit) -> FringesEnd | None:
    """The smaller curve within a circle at which its fringes end all round.

    Parameters
    ----------
    photo : Photo
    circle : Edge
    fit : Fit
        Of the fringes in it, on its unit disc.

    Returns
    -------
    FringesEnd or None
        None where they reach the circle on many sides, or end on no common curve.
    """
    radius = np.linspace(_FROM, 0.99, _STEPS)
    rays = cast(photo, circle, radius, _RAYS)
    places = [place.astype(np.float32).ravel() for place in rays.unit()]
    level, contrast = between_fringes(fit, *places)
    usual = max(fit.mean_contrast, 1e-6)
    order = fit.model.order(*places)
    fringes = level * (1 - contrast * np.cos(2 * np.pi * order))
    off = np.abs(rays.light.ravel() - fringes) / np.maximum(level * usual, 1e-6)
    other = max(_OTHER, _USUAL * float(median(off)))
    seen = np.clip(1 - off / other, -1, 1)
    seen = np.where(contrast < _LEAST_CONTRAST * usual, -1.0, seen).reshape(rays.light.shape)
    seen = np.where(rays.usable, seen, 0.0)
    reach = radius[np.argmax(np.cumsum(seen, axis=1), axis=1)]
    if (reach < 1 - _NARROWEST).mean() < _MOST:
        return None
    x, y = circle.pixels(reach * np.cos(rays.angle), reach * np.sin(rays.angle))
    found = fit_ellipse(x, y, tolerance=_NEAR * circle.a)
    if found is None:
        return None
    away = np.abs(np.hypot(*found[0].unit(x, y)) - 1)
    if (away < _NEAR).mean() < _MOST:
        return None
    amplitude = usual * float(median(level.reshape(seen.shape)[seen > 0]))
    bare = _is_bare(rays, float(median(reach)), amplitude)
    return FringesEnd(found[0], carried(fit.model, circle, found[0]), bare)


def _is_bare(rays: Rays, reach: float, amplitude: float) -> bool:
    """Whether light hardly varies along rays from well beyond a radius on to where they end."""
    well_beyond = rays.radius > reach + _RIM
    if rays.radius[-1] - reach < 2 * _RIM:
        return False  # too little of it to tell
    usable = rays.usable[:, well_beyond].all(axis=1)
    if usable.mean() < _MOST:
        return False
    varies = rays.light[usable][:, well_beyond].astype(float).std(axis=1)
    return float(median(varies)) < _EVEN * amplitude
