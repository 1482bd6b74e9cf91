"""Readings over a plate smaller than the work, extended to its whole aperture."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fringe.archive.store.surface import E_LINE_NM, Surface
from fringe.judge.placements import ZONES_U_FRINGES, Carried, Placement, carry
from fringe.judge.state.combine import in_fringes_of
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Measured

# a reading, the diameter of its circle [mm], and the circle's place on the work [mm]
Part = tuple[Measured, float, tuple[float, float] | None]


def surface_aperture(surface: Surface) -> Aperture:
    """The aperture that a surface's power is quoted over, in the light of its tolerance."""
    return Aperture(
        surface.plate_radius_mm,
        surface.diameter_mm,
        surface.tolerance.wavelength_nm or E_LINE_NM,
        surface.form,
    )


def carried(parts: Sequence[Part], surface: Surface) -> list[Measured]:
    """Power over the whole aperture, as one value of all placements of a visit on one piece.

    Readings without power or uncertainty are left out. Where no reading tells the sense, the
    magnitude is carried.
    """
    pieces = dict.fromkeys(one.against for one, _, _ in parts)
    found = [_on_one([p for p in parts if p[0].against == piece], surface) for piece in pieces]
    return [one for one in found if one is not None]


def _on_one(parts: Sequence[Part], surface: Surface) -> Measured | None:
    placed = carry_parts(parts, surface)
    if placed is None:
        return None
    found, sense = placed
    sign = -1.0 if sense == "unknown" and found.power_fringes < 0 else 1.0
    return Measured(
        power_fringes=sign * found.power_fringes,
        power_u_fringes=found.u_fringes,
        sense=sense if sense == "unknown" else "centre" if found.power_fringes >= 0 else "edge",
        radius_difference_mm=sign * found.radius_difference_mm,
        radius_difference_u_mm=found.u_radius_difference_mm,
        wavelength_nm=surface_aperture(surface).wavelength_nm,
        against=parts[0][0].against,
    )


def carry_parts(parts: Sequence[Part], surface: Surface) -> tuple[Carried, str] | None:
    """Carry placements to the whole aperture; the sense is `unknown` where none tells it."""
    aperture = surface_aperture(surface)
    read = [
        (in_fringes_of(one, aperture.wavelength_nm), diameter, place)
        for one, diameter, place in parts
        if one.power_fringes is not None and one.power_u_fringes
    ]
    if not read:
        return None
    senses = {one.sense for one, _, _ in read} - {"unknown"}
    sense = "unknown" if not senses else senses.pop() if len(senses) == 1 else "both"
    placements = []
    for one, diameter, place in read:
        power = one.power_fringes or 0.0
        if one.sense == "unknown":
            power = -abs(power) if sense == "edge" else abs(power)
        offset = math.hypot(*place) if place is not None else 0.0
        placements.append(Placement(power, one.power_u_fringes or 0.0, diameter, offset))
    allowed = surface.tolerance.irregularity_fringes or ZONES_U_FRINGES
    return carry(placements, aperture, allowed), sense
