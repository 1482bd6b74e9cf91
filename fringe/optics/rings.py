"""Newton's rings by the textbook: paraxial, reflected light, dark at the contact.

For pieces of any slope use :mod:`fringe.optics.spheres`.
"""

from __future__ import annotations

MM2_PER_NM_MM = 1e-6  # 1 nm * 1 mm in mm^2


def centre_in_aperture(power_fringes: float, tilt_fringes: float) -> bool:
    """Whether the middle of the rings lies in the aperture: that of N rho^2 + t u is at t / 2N."""
    return abs(tilt_fringes) < 2 * abs(power_fringes)


def effective_radius_from_step_mm(step_mm2: float, wavelength_nm: float) -> float:
    """Effective radius from the growth of r^2 a ring: step / lambda [mm].

    That of the lens on a flat with the same rings: 1/R = 1/R_convex - 1/R_concave.
    """
    return step_mm2 / (wavelength_nm * MM2_PER_NM_MM)
