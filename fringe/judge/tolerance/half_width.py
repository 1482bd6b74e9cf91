"""The height of power that a tolerance allows."""

from __future__ import annotations

from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes

NM_PER_UM = 1e3


def half_width_um(tolerance: Tolerance, aperture: Aperture | None) -> float | None:
    """Largest height of power that a tolerance allows either way [um]; None: no limit to it."""
    widths = []
    wavelength = tolerance.wavelength_nm
    if tolerance.power_fringes is not None and wavelength is not None:
        widths.append(tolerance.power_fringes * wavelength / 2 / NM_PER_UM)
    if tolerance.radius_difference_mm is not None and aperture is not None:
        step = tolerance.radius_difference_mm
        fringes = [
            abs(
                power_fringes(
                    way * step,
                    aperture.radius_mm,
                    aperture.diameter_mm,
                    aperture.wavelength_nm,
                    aperture.work,
                )
            )
            for way in (1.0, -1.0)
        ]
        widths.append(min(fringes) * aperture.wavelength_nm / 2 / NM_PER_UM)
    return min(widths, default=None)
