"""The plate's own form, which no reading of fringes on it can tell from the work's."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fringe.archive.store.surface import Surface
from fringe.judge.tolerance.verdict import Measured
from fringe.optics.spheres import fringes_from_nm, radius_difference_mm


def plate_form_u_nm(instruments: Mapping[str, Any]) -> float:
    """Standard uncertainty of the plate's form by the records that a session keeps [nm].

    It is the record's, which is that of the plate's whole diameter; over a smaller aperture it is
    taken to be as large, which is careful.
    """
    plate = instruments.get("plate")
    u_form = plate.get("u_form_nm") if isinstance(plate, Mapping) else None
    sound = isinstance(u_form, int | float) and math.isfinite(u_form) and u_form > 0
    return float(u_form) if sound and u_form is not None else 0.0


def with_plate_form(
    one: Measured, u_form_nm: float, surface: Surface, aperture_mm: float | None = None
) -> Measured:
    """Add the plate's form to what was measured on it.

    Parameters
    ----------
    one : Measured
        A reading of the work on its plate; that on another piece is left as it is.
    u_form_nm : float
        Standard uncertainty of the plate's form, as a height of power [nm].
    surface : Surface
        The work.
    aperture_mm : float, optional
        Diameter of the circle that was read; else the work's [mm].

    Returns
    -------
    Measured
    """
    power, u_power, wave = one.power_fringes, one.power_u_fringes, one.wavelength_nm
    if not u_form_nm or one.against is not None:
        return one
    if power is None or u_power is None or wave is None:
        return one
    u_form = fringes_from_nm(u_form_nm, wave)
    u_step = one.radius_difference_u_mm
    if u_step is not None:
        over = (surface.plate_radius_mm, aperture_mm or surface.diameter_mm, wave, surface.form)
        here, there = (radius_difference_mm(n, *over) for n in (power, power + u_form))
        u_step = math.hypot(u_step, there - here)
    return replace(one, power_u_fringes=math.hypot(u_power, u_form), radius_difference_u_mm=u_step)
