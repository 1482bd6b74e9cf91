"""Oblique and near views of the gap: 2 h cos(theta) = m lambda, theta in the air gap.

A gap read as if at normal view is too small by cos(theta): divide by it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fringe.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray


def cos_view(
    u: ArrayLike,
    v: ArrayLike,
    semi_diameter_mm: float | None = None,
    camera_distance_mm: float | None = None,
    tilt_cos: float = 1.0,
    direction_deg: float = 0.0,
) -> NDArray[np.float64]:
    """Cosine of the angle of view in the gap, at each point of a nearly flat gap.

    The plate is taken as plane parallel, so the angle in the gap is that outside it.

    Parameters
    ----------
    u, v : array_like, one shape
        Points on the aperture, 1 at its rim.
    semi_diameter_mm : float, optional
        Semi-diameter of the aperture; needed with a camera distance [mm].
    camera_distance_mm : float, optional
        From the middle of the aperture to the camera's pupil; None for a far camera [mm].
    tilt_cos : float
        Cosine of the angle between the line to the camera and the axis (B/A of an oval edge).
    direction_deg : float
        Direction of the camera's foot on the aperture, from +u toward +v [degree].

    Returns
    -------
    ndarray, shape of `u`

    Raises
    ------
    BadInput
        If a length or the cosine makes no sense.
    """
    import numpy as np

    uu, vv = np.broadcast_arrays(np.asarray(u, dtype=float), np.asarray(v, dtype=float))
    if not 0 < tilt_cos <= 1:
        raise BadInput(f"the cosine of the view is over 0 and at most 1, not {tilt_cos:g}")
    if camera_distance_mm is None or math.isinf(camera_distance_mm):
        return np.full(uu.shape, float(tilt_cos))
    if semi_diameter_mm is None or not semi_diameter_mm > 0:
        raise BadInput("a camera distance needs the diameter of the aperture too")
    if not camera_distance_mm > 0:
        raise BadInput(f"a camera distance of {camera_distance_mm:g} mm is not over zero")
    height = camera_distance_mm * tilt_cos
    foot = camera_distance_mm * math.sqrt(1 - tilt_cos**2)
    turn = math.radians(direction_deg)
    dx = semi_diameter_mm * uu - foot * math.cos(turn)
    dy = semi_diameter_mm * vv - foot * math.sin(turn)
    return np.asarray(height / np.sqrt(height**2 + dx**2 + dy**2))


def cos_through_flat_back(r_mm: float, radius_mm: float, index: float) -> float:
    """Cosine of the angle in the gap of a steep plate with a flat back, seen from far above.

    Rays stay parallel to the axis in the glass, meet its curved face at the slope t and leave
    into the gap at theta with sin theta = n sin t = n r / R. At r/R = 0.1 the gap reads 1.2 %
    too small, at 0.3 by 11 %. A plate whose back is concentric with its face, or a camera at
    the centre of curvature, has no such error.

    Parameters
    ----------
    r_mm : float
        Distance of the point from the axis [mm].
    radius_mm : float
        Radius of the plate's face [mm].
    index : float
        Refractive index of the plate.

    Returns
    -------
    float

    Raises
    ------
    BadInput
        If the light is totally reflected before it reaches the gap.
    """
    sine = index * abs(r_mm) / radius_mm
    if not sine < 1:
        raise BadInput(
            f"at {abs(r_mm):g} mm from the axis a flat-backed plate of radius {radius_mm:g} mm "
            "reflects all light before the gap; no fringes are seen there"
        )
    return math.sqrt(1 - sine * sine)


# of the commonest glasses; where a plate's own is not on record
USUAL_INDEX = 1.5


def lost_through_flat_back(r_mm: float, radius_mm: float, index: float = USUAL_INDEX) -> float:
    """Share of the gap at `r_mm` from the axis that a flat back hides: 1 - cos(theta).

    All of it where the light is totally reflected. To first order power reads low by as much with
    the contact at the centre, and right with the contact at the edge, where the gap is nothing:
    the gaps rho^2 and rho^2 - 1, times rho^2 of the share, have 1 and 0 of Zernike's defocus.
    """
    if index * abs(r_mm) >= radius_mm:
        return 1.0
    return 1 - cos_through_flat_back(r_mm, radius_mm, index)
