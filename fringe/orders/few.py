"""Whether less than one fringe shows: light inside an edge that a low polynomial follows.

Two pieces that nearly match show no line to count, which is the best news that a contact can
bring. Light over it rises or falls once; where a whole fringe is crossed it turns twice.
"""

from __future__ import annotations

import numpy as np

from fringe.errors import Refused
from fringe.optics.zernike import zernike_rows, zernike_terms
from fringe.orders.fit.field import cut_field, local_mean
from fringe.orders.fit.robust import robust_sigma
from fringe.orders.fit.scale import coarsest_scale
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_RADIUS_PX = 40.0  # least, to which the aperture is reduced where no fine fringes are in it
_INNER = 0.93  # share of the radius, clear of shadows and dust at the rim
_SMOOTHING_PX = 1.0  # width of the mean that takes out noise, at the reduced scale
# What a cubic leaves, as a share of the light and of the change that it follows: on rendered
# contacts of up to 0.5 fringe 0.004 to 0.06 of the light, of two fringes and more 0.17 to 0.9.
_LEFT_OF_LIGHT, _LEFT_OF_CHANGE = 0.09, 0.25
_EVEN = 0.02  # of the light: what haze leaves where hardly anything changes
# A change that tells anything is more than a cubic leaves (of noise alone it follows 0.05 to 0.24
# of that, of rendered contacts 2.9 to 20 times) and than rounding makes of one even grey.
_LEAST_CHANGE = 0.001  # of the light
_BENDS = 0.25  # what a plane leaves of the change, from which light bends
_TO_DO = "lean the work until three or more cross it, or take a burst"


def less_than_one_fringe(photo: Photo, edge: Edge) -> Refused:
    """The refusal of a contact that shows less than one fringe, or of light that may be plain.

    Plain light rises over the work to one side, and so does part of a fringe: light that is a
    plane but for a little does not tell which. Light that bends is part of a fringe.
    """
    _, change = smooth_residual(photo, edge)
    off_plane, _ = smooth_residual(photo, edge, 1)
    if off_plane > _BENDS * change:
        return Refused(f"{photo.name}: less than one fringe shows: {_TO_DO}")
    return Refused(f"{photo.name}: no fringe, or less than one, shows: {_TO_DO}")


def shows_no_fringe(photo: Photo, edge: Edge) -> bool:
    """Tell whether the light inside an edge varies as less than one fringe makes it.

    Parameters
    ----------
    photo : Photo
    edge : Edge

    Returns
    -------
    bool
        False where too little of the aperture is usable, and where the light is even but for
        noise: that shows no contact at all.
    """
    left, change = smooth_residual(photo, edge)
    if change < max(left, _LEAST_CHANGE):
        return False
    return left < _LEFT_OF_LIGHT and left < max(_EVEN, _LEFT_OF_CHANGE * change)


def smooth_residual(photo: Photo, edge: Edge, degree: int = 3) -> tuple[float, float]:
    """What a cubic leaves of the light, and what it follows, as shares of the mean light.

    Or a polynomial of another `degree`. Both are standard deviations over the aperture, robust
    against dirt; infinite and zero where too few pixels are usable.
    """
    field = cut_field(photo, edge, coarsest_scale(photo, _RADIUS_PX, edge), _INNER)
    good = field.weight > 0
    if good.sum() < 200:
        return np.inf, 0.0
    light = local_mean(field.light, field.weight, _SMOOTHING_PX)[good].astype(float)
    rows = zernike_rows(zernike_terms(degree), field.u[good], field.v[good]).astype(float)
    weight = np.ones(light.size)
    for _ in range(3):
        weighted = rows * weight
        values = np.linalg.solve(weighted @ rows.T, weighted @ light)
        residual = light - values @ rows
        weight = 1 / (1 + (residual / (3 * robust_sigma(residual) + 1e-9)) ** 2)
    mean = max(float(light.mean()), 1e-6)
    return robust_sigma(residual) / mean, float(np.std(values @ rows)) / mean
