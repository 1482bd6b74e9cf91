"""Newton's rings by the textbook: paraxial, reflected light, dark at the contact.

For pieces of any slope use :mod:`fringe.optics.spheres`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.errors import BadInput

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

MM2_PER_NM_MM = 1e-6  # 1 nm * 1 mm in mm^2


@dataclass(frozen=True)
class RingStep:
    """Least squares of r^2 against order: r^2 = intercept + step * order.

    Units are the square of those of the radii.

    Attributes
    ----------
    step, u_step : float
        Growth of r^2 a ring and its standard uncertainty, scaled by the residuals.
    intercept, u_intercept : float
        r^2 at order zero, and its standard uncertainty.
    residual : float
        Residual standard deviation of r^2, with n - 2 degrees of freedom; 0 when n = 2.
    n : int
        Number of rings. With n = 2 the uncertainties are infinite.
    """

    step: float
    u_step: float
    intercept: float
    u_intercept: float
    residual: float
    n: int


def centre_in_aperture(power_fringes: float, tilt_fringes: float) -> bool:
    """Whether the middle of the rings lies in the aperture: that of N rho^2 + t u is at t / 2N."""
    return abs(tilt_fringes) < 2 * abs(power_fringes)


def effective_radius_mm(radius_convex_mm: float, radius_concave_mm: float = math.inf) -> float:
    """Radius of the lens on a flat that gives the same rings: 1/R = 1/R_convex - 1/R_concave.

    Infinite radius of the concave for a flat. Negative when the contact is at the edge [mm].
    """
    if not (radius_convex_mm > 0 and radius_concave_mm > 0):
        raise BadInput("both radii are taken positive")
    curvature = 1 / radius_convex_mm - 1 / radius_concave_mm
    return 1 / curvature if curvature else math.inf


def dark_ring_radius_mm(order: float, wavelength_nm: float, effective_radius_mm: float) -> float:
    """Radius of a dark ring, r^2 = m lambda R; order 0 is the spot of contact [mm]."""
    r2 = order * wavelength_nm * effective_radius_mm * MM2_PER_NM_MM
    if not r2 >= 0:
        raise BadInput(
            f"no ring of order {order:g} at an effective radius of {effective_radius_mm:g} mm: "
            "with contact at the edge the orders fall from the centre outward"
        )
    return math.sqrt(r2)


def bright_ring_radius_mm(count: int, wavelength_nm: float, effective_radius_mm: float) -> float:
    """Radius of the first, second, ... bright ring: r^2 = (count - 1/2) lambda R [mm].

    The first bright ring has a path of half a wave, so the hundredth is of order 99.5.
    """
    if count < 1:
        raise BadInput(f"bright rings are counted from 1, not {count}")
    return dark_ring_radius_mm(count - 0.5, wavelength_nm, effective_radius_mm)


def order_at_mm(r_mm: float, wavelength_nm: float, effective_radius_mm: float) -> float:
    """Order of interference at a distance from the contact: r^2 / (lambda R)."""
    return r_mm**2 / (wavelength_nm * effective_radius_mm * MM2_PER_NM_MM)


def effective_radius_from_step_mm(step_mm2: float, wavelength_nm: float) -> float:
    """Effective radius from the growth of r^2 a ring: step / lambda [mm]."""
    return step_mm2 / (wavelength_nm * MM2_PER_NM_MM)


def radius_difference_from_effective_mm(
    effective_radius_mm: float, radius_plate_mm: float, work: str
) -> float:
    """R_work - R_plate from a signed effective radius (positive: contact at the centre) [mm].

    Raises
    ------
    BadInput
        If no sphere of that form has this effective radius on the plate.
    """
    if work not in ("convex", "concave"):
        raise BadInput(f"the work is convex or concave, not {work!r}")
    sign = 1 if work == "convex" else -1
    share = sign * radius_plate_mm / effective_radius_mm
    # 1/R_work = 1/R_plate + sign/R_eff
    if 1 + share <= 0:
        raise BadInput(
            f"no {work} work on a plate of radius {radius_plate_mm:g} mm has an effective radius "
            f"of {effective_radius_mm:g} mm"
        )
    return -radius_plate_mm * share / (1 + share)


def ring_step_from_radii(
    orders: ArrayLike, radii: ArrayLike, u_radii: ArrayLike | None = None
) -> RingStep:
    """Fit r^2 = intercept + step * order by least squares.

    The intercept is free, since dust or pressing at the contact shifts every order alike.

    Parameters
    ----------
    orders : array_like, shape (K,)
        Order of each ring; only their differences matter for the step.
    radii : array_like, shape (K,)
        Radii, any unit of length.
    u_radii : array_like, shape (K,), optional
        Standard uncertainties of the radii; r^2 is weighted by 1 / (2 r u)^2. Without them
        all r^2 weigh alike.

    Returns
    -------
    RingStep
        In the square of the radii's unit.

    Raises
    ------
    BadInput
        With fewer than two different orders, or radii that are not over zero.
    """
    import numpy as np

    m, r = np.asarray(orders, dtype=float), np.asarray(radii, dtype=float)
    if m.shape != r.shape or m.ndim != 1 or np.unique(m).size < 2:
        raise BadInput("a ring step needs two rings or more, an order for each radius")
    if not (np.all(np.isfinite(r)) and np.all(r >= 0)):
        raise BadInput("radii of rings are lengths that are not negative")
    if u_radii is None:
        sigma = np.ones_like(r)
    else:
        sigma = 2 * r * np.broadcast_to(np.asarray(u_radii, dtype=float), r.shape)
        if not np.all(sigma > 0):
            raise BadInput("weights need radii and uncertainties over zero")
    # about the mean order the two unknowns hardly correlate
    design = np.column_stack([np.ones_like(m), m - m.mean()]) / sigma[:, None]
    covariance = np.linalg.inv(design.T @ design)
    level, step = covariance @ design.T @ (r**2 / sigma)
    rest = r**2 - sigma * (design @ np.array([level, step]))
    freedom = m.size - 2
    scale = math.sqrt(float(np.sum((rest / sigma) ** 2)) / freedom) if freedom else math.inf
    to_zero = np.array([1.0, -m.mean()])
    return RingStep(
        step=float(step),
        u_step=scale * math.sqrt(covariance[1, 1]),
        intercept=float(level - step * m.mean()),
        u_intercept=scale * math.sqrt(float(to_zero @ covariance @ to_zero)),
        residual=math.sqrt(float(rest @ rest) / freedom) if freedom else 0.0,
        n=int(m.size),
    )
