"""Two spheres in contact: sagitta, gap, power and radius difference, exact and first order.

Geometry, exact
---------------
Put the plate's centre of curvature at the origin and the common axis through it. A point of
the plate stands at angle t from the axis, sin t = r / R_plate. The work's centre lies at c on
the axis. Along the plate's normal the work is met at distance

    rho(t) = c cos t + sqrt(R_work^2 - c^2 sin^2 t)

from the origin, and with d = R_work - R_plate the gap is

    h(t) = s (rho - R_plate)
         = s [d + c cos t - c^2 sin^2 t / (R_work + sqrt(R_work^2 - c^2 sin^2 t))]

with s = +1 for a convex plate (concave work) and -1 for a concave plate (convex work).

* Contact at the vertex, rho(0) = R_plate: c = -d, so h = s d (1 - cos t) to first order.
* Contact on the rim circle of radius a: both centres are found from the same circle, so
  c = sqrt(R_plate^2 - a^2) - sqrt(R_work^2 - a^2), about -d / cos t_a; the gap at the centre is
  exactly the difference of the two sagittas, s d (1 - 1/cos t_a) to first order.

The two differ by 1 / cos t_a: a factor of two at a / R = 0.87.

Signs: power is rim minus centre of the gap, so positive for contact at the centre, when
R_convex < R_concave, whichever piece is the work. Radius difference is R_work - R_plate.
Scalars need no numpy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal, overload

from fringe.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

Work = Literal["convex", "concave"]
Contact = Literal["centre", "edge"]

NM_PER_MM = 1e6


def sagitta_mm(radius_mm: float, r_mm: float) -> float:
    """Depth of a sphere's cap over a circle, R - sqrt(R^2 - r^2), without cancellation.

    Parameters
    ----------
    radius_mm : float
        Radius of the sphere; infinite for a flat [mm].
    r_mm : float
        Radius of the circle [mm].

    Returns
    -------
    float
        Sagitta [mm].

    Raises
    ------
    BadInput
        If the circle does not lie on the sphere.
    """
    _check_circle(radius_mm, r_mm)
    return r_mm * r_mm / (radius_mm + _leg(radius_mm, r_mm))


@overload
def gap_nm(
    radius_plate_mm: float,
    radius_difference_mm: float,
    r_mm: float,
    contact: str = ...,
    semi_diameter_mm: float | None = ...,
) -> float: ...
@overload
def gap_nm(
    radius_plate_mm: float,
    radius_difference_mm: float,
    r_mm: NDArray[np.float64],
    contact: str = ...,
    semi_diameter_mm: float | None = ...,
) -> NDArray[np.float64]: ...
def gap_nm(
    radius_plate_mm: float,
    radius_difference_mm: float,
    r_mm: float | NDArray[np.float64],
    contact: str = "centre",
    semi_diameter_mm: float | None = None,
) -> float | NDArray[np.float64]:
    """Exact air gap between plate and work along the plate's normal.

    Which piece is convex follows from the contact and the sign of the difference: at the
    centre they touch when the convex one has the smaller radius.

    Parameters
    ----------
    radius_plate_mm : float
        Radius of the plate [mm].
    radius_difference_mm : float
        R_work - R_plate [mm].
    r_mm : float or ndarray, any shape
        Distance of the point from the axis, on the plate [mm].
    contact : {'centre', 'edge'}
        Where the two touch.
    semi_diameter_mm : float, optional
        Radius of the rim circle; needed for contact at the edge [mm].

    Returns
    -------
    float or ndarray, shape of `r_mm`
        Gap, never negative [nm].

    Raises
    ------
    BadInput
        If a circle does not lie on both spheres, or a point lies beyond the rim of contact.
    """
    radius, d = radius_plate_mm, radius_difference_mm
    rim = _rim(contact, semi_diameter_mm)
    if isinstance(r_mm, int | float):
        _check_pair(radius, d, abs(r_mm) if rim is None else rim)
        _check_inside(abs(r_mm), rim)
        # the maximum only takes off rounding at the contact: the spheres touch nowhere else
        return max(0.0, float(_gap_mm(radius, d, r_mm * r_mm, rim, math.sqrt))) * NM_PER_MM
    import numpy as np

    r = np.asarray(r_mm, dtype=float)
    if r.size == 0:
        return np.zeros(r.shape)
    furthest = float(np.max(np.abs(r)))
    _check_pair(radius, d, furthest if rim is None else rim)
    _check_inside(furthest, rim)
    gap = _gap_mm(radius, d, r * r, rim, np.sqrt)
    return np.asarray(np.maximum(gap, 0.0) * NM_PER_MM)


def _gap_mm(radius: float, d: float, r2: Any, rim: float | None, sqrt: Callable[[Any], Any]) -> Any:
    """Gap along the plate's normal [mm], for floats or arrays alike; see the module's head."""
    work = radius + d
    sin2 = r2 / radius**2
    cos = sqrt(1.0 - sin2)
    one_minus_cos = sin2 / (1.0 + cos)
    # excess = k - 1, where c = -k d; formed from sagittas, since k is close to 1
    if rim is None:
        excess = 0.0
    else:
        legs = _leg(radius, rim) + _leg(work, rim)
        excess = (sagitta_mm(radius, rim) + sagitta_mm(work, rim)) / legs
    c2 = (d * (1.0 + excess)) ** 2 * sin2
    second = c2 / (work + sqrt(work * work - c2))
    first = d * (one_minus_cos - excess * cos)
    sign = math.copysign(1.0, d) * (1.0 if rim is None else -1.0)
    return sign * (first - second)


def power_fringes(
    radius_difference_mm: float,
    radius_mm: float,
    diameter_mm: float,
    wavelength_nm: float,
    work: str = "convex",
) -> float:
    """Power over the aperture, exact: rim minus centre of the gap, in fringes.

    Parameters
    ----------
    radius_difference_mm : float
        R_work - R_plate [mm].
    radius_mm : float
        Radius of the plate [mm].
    diameter_mm : float
        Diameter of the aperture [mm].
    wavelength_nm : float
        Wavelength in air [nm].
    work : {'convex', 'concave'}
        Form of the work.

    Returns
    -------
    float
        Signed power [fringe]; positive when the contact is at the centre.

    Raises
    ------
    BadInput
        If the aperture does not lie on both spheres.
    """
    _check_wavelength(wavelength_nm)
    semi = diameter_mm / 2
    sign = _sign(work)
    if sign * radius_difference_mm >= 0:
        height = gap_nm(radius_mm, radius_difference_mm, semi)
    else:
        height = -gap_nm(radius_mm, radius_difference_mm, 0.0, "edge", semi)
    return 2 * height / wavelength_nm


def radius_difference_mm(
    power_fringes: float,
    radius_mm: float,
    diameter_mm: float,
    wavelength_nm: float,
    work: str = "convex",
) -> float:
    """R_work - R_plate that gives this power: the exact inverse of `power_fringes` [mm].

    Parameters
    ----------
    power_fringes : float
        Signed power [fringe]; positive when the contact is at the centre.
    radius_mm, diameter_mm, wavelength_nm, work
        As for `power_fringes`.

    Returns
    -------
    float
        R_work - R_plate [mm].

    Raises
    ------
    BadInput
        If no sphere of that form gives the power.

    Notes
    -----
    Contact at the vertex: with rho = R + s h, rho^2 + 2 rho d cos t = R^2 + 2 R d is linear
    in d. Contact at the edge: the work's sagitta is the plate's + s h.
    """
    _check_wavelength(wavelength_nm)
    semi = diameter_mm / 2
    _check_circle(radius_mm, semi)
    # the gap, signed outward from the plate's centre of curvature [mm]
    step = _sign(work) * abs(power_fringes) * wavelength_nm / 2 / NM_PER_MM
    sagitta = sagitta_mm(radius_mm, semi)
    if power_fringes >= 0:
        cos = _leg(radius_mm, semi) / radius_mm
        slack = sagitta - step * cos
        if slack <= 0 or radius_mm + step <= 0:
            raise _no_sphere(power_fringes, radius_mm, diameter_mm)
        difference = _from_vertex(step, radius_mm, slack)
    else:
        depth = sagitta + step
        if not 0 < depth <= semi:
            raise _no_sphere(power_fringes, radius_mm, diameter_mm)
        difference = _from_rim(step, semi, sagitta)
    if radius_mm + difference <= semi:
        raise _no_sphere(power_fringes, radius_mm, diameter_mm)
    return float(difference)


def _from_vertex(step: Any, radius_mm: Any, slack: Any) -> Any:
    return step * (2 * radius_mm + step) / (2 * slack)


def _from_rim(step: Any, semi: Any, sagitta: Any) -> Any:
    return step / 2 * (1 - semi * semi / (sagitta * (sagitta + step)))


def radius_differences_mm(
    power_fringes: ArrayLike,
    radius_mm: ArrayLike,
    diameter_mm: ArrayLike,
    wavelength_nm: ArrayLike,
    work: str = "convex",
) -> NDArray[np.float64]:
    """Many radius differences at once, as `radius_difference_mm` has one [mm].

    Parameters
    ----------
    power_fringes, radius_mm, diameter_mm, wavelength_nm : array_like, one shape
    work
        As for `radius_difference_mm`.

    Returns
    -------
    ndarray
        Not a number where no sphere of that form gives the power.
    """
    import numpy as np

    sign = _sign(work)
    power, radius, wavelength = (
        np.asarray(one, float) for one in (power_fringes, radius_mm, wavelength_nm)
    )
    semi = np.asarray(diameter_mm, float) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        step = sign * abs(power) * wavelength / 2 / NM_PER_MM
        leg = np.sqrt((radius - semi) * (radius + semi))
        sagitta = semi * semi / (radius + leg)
        slack, depth = sagitta - step * leg / radius, sagitta + step
        at_vertex = (slack > 0) & (radius + step > 0)
        is_sphere = np.where(power >= 0, at_vertex, (depth > 0) & (depth <= semi))
        difference = np.where(
            power >= 0, _from_vertex(step, radius, slack), _from_rim(step, semi, sagitta)
        )
        is_sphere &= (radius > semi) & (semi >= 0) & (radius + difference > semi)
        is_sphere &= (wavelength > 0) & np.isfinite(wavelength)
    return np.where(is_sphere, difference, np.nan)


def sphere_form(
    u: ArrayLike,
    v: ArrayLike,
    radius_mm: float | None = None,
    diameter_mm: float | None = None,
) -> NDArray[np.float64]:
    """Shape of a small sphere difference over the unit disc: 0 at the centre, 1 at the rim.

    (1 - cos t) / (1 - cos t_rim), which is the first-order gap along the normal for either
    contact; rho^2 without a radius.

    Parameters
    ----------
    u, v : array_like, one shape
        Coordinates on the aperture, 1 at its rim.
    radius_mm : float, optional
        Radius of the plate; None or infinite for the paraxial rho^2 [mm].
    diameter_mm : float, optional
        Diameter of the aperture; needed with `radius_mm` [mm].

    Returns
    -------
    ndarray, shape of `u`

    Raises
    ------
    BadInput
        If the aperture, or a point asked for, does not lie on the sphere.
    """
    import numpy as np

    rho2 = np.asarray(u, dtype=float) ** 2 + np.asarray(v, dtype=float) ** 2
    if radius_mm is None or math.isinf(radius_mm):
        return np.asarray(rho2)
    if diameter_mm is None:
        raise BadInput("the shape of a sphere needs the aperture's diameter as well as the radius")
    semi = diameter_mm / 2
    _check_circle(radius_mm, semi)
    sin2_rim = (semi / radius_mm) ** 2
    if rho2.size and float(rho2.max()) * sin2_rim >= 1:
        raise BadInput("a point outside the aperture lies beyond the equator of the sphere")
    return np.asarray(rho2 * (1 + math.sqrt(1 - sin2_rim)) / (1 + np.sqrt(1 - rho2 * sin2_rim)))


def fringes_from_nm(height_nm: float, wavelength_nm: float) -> float:
    """Height of the surface, or gap, in fringes of half a wavelength [fringe]."""
    _check_wavelength(wavelength_nm)
    return 2 * height_nm / wavelength_nm


def nm_from_fringes(fringes: float, wavelength_nm: float) -> float:
    """Height of the surface, or gap, of that many fringes [nm]."""
    _check_wavelength(wavelength_nm)
    return fringes * wavelength_nm / 2


def convert_fringes(fringes: float, from_nm: float, to_nm: float) -> float:
    """Fringes at one wavelength as fringes of the same height at another [fringe]."""
    return fringes_from_nm(nm_from_fringes(fringes, from_nm), to_nm)


def percent_of_radius(difference_mm: float, radius_mm: float) -> float:
    """Radius difference as a share of the radius [%]."""
    return 100 * difference_mm / radius_mm


def difference_from_percent_mm(percent: float, radius_mm: float) -> float:
    """Radius difference that is this share of the radius [mm]."""
    return percent * radius_mm / 100


def _sign(work: str) -> float:
    """+1 for a concave work (convex plate), -1 for a convex one."""
    if work == "concave":
        return 1.0
    if work == "convex":
        return -1.0
    raise BadInput(f"the work is convex or concave, not {work!r}")


def _rim(contact: str, semi_diameter_mm: float | None) -> float | None:
    if contact == "centre":
        return None
    if contact != "edge":
        raise BadInput(f"contact is centre or edge, not {contact!r}")
    if semi_diameter_mm is None:
        raise BadInput("contact at the edge needs the semi-diameter of the aperture")
    return semi_diameter_mm


def _leg(radius_mm: float, r_mm: float) -> float:
    return math.sqrt((radius_mm - r_mm) * (radius_mm + r_mm))


def _check_circle(radius_mm: float, r_mm: float) -> None:
    if not radius_mm > 0:
        raise BadInput(f"a radius of {radius_mm:g} mm is not a sphere; radii are over zero")
    if not 0 <= r_mm < radius_mm:
        raise BadInput(
            f"a circle {2 * r_mm:g} mm across does not lie on a sphere of radius {radius_mm:g} mm; "
            "the diameter must be less than twice the radius"
        )


def _check_pair(radius_mm: float, difference_mm: float, r_mm: float) -> None:
    _check_circle(radius_mm, r_mm)
    _check_circle(radius_mm + difference_mm, r_mm)


def _check_inside(r_mm: float, rim: float | None) -> None:
    if rim is not None and r_mm > rim * (1 + 1e-12):
        raise BadInput(
            f"a point {r_mm:g} mm from the axis lies beyond the rim of contact at {rim:g} mm"
        )


def _check_wavelength(wavelength_nm: float) -> None:
    if not 0 < wavelength_nm < math.inf:
        raise BadInput(f"a wavelength of {wavelength_nm:g} nm is not over zero")


def _no_sphere(power: float, radius_mm: float, diameter_mm: float) -> BadInput:
    return BadInput(
        f"no sphere is {power:g} fringes from a radius of {radius_mm:g} mm over "
        f"{diameter_mm:g} mm; check the power, the radius and the diameter"
    )
