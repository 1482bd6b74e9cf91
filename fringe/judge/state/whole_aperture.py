"""Readings over a plate smaller than the work, carried to its whole aperture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fringe.judge.state.combine import in_fringes_of
from fringe.judge.state.placements import ZONES_U_FRINGES, Carried, Placement, carry
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture


@dataclass(frozen=True)
class Placed:
    """A reading over a circle smaller than the work's aperture.

    Attributes
    ----------
    measured : Measured
        What was read over the circle.
    diameter_mm : float
        Its diameter [mm].
    place_mm : (float, float) or None
        Where it lay on the work, from its centre [mm].
    """

    measured: Measured
    diameter_mm: float
    place_mm: tuple[float, float] | None = None


def carried(
    parts: Sequence[Placed], aperture: Aperture, zones_u_fringes: float | None = None
) -> list[Measured]:
    """Power over the whole aperture, as one value of all placements of a visit on one piece.

    Readings without power or uncertainty are left out. Where no reading tells the sense, the
    magnitude is carried.

    Parameters
    ----------
    parts : sequence of Placed
        Readings of one visit.
    aperture : Aperture
        That of the work.
    zones_u_fringes : float, optional
        What zones may hide, else a careful value [fringe].
    """
    pieces = dict.fromkeys(one.measured.against for one in parts)
    groups = [[one for one in parts if one.measured.against == piece] for piece in pieces]
    found = [_on_one(group, aperture, zones_u_fringes) for group in groups]
    return [one for one in found if one is not None]


def _on_one(
    parts: Sequence[Placed], aperture: Aperture, zones_u_fringes: float | None
) -> Measured | None:
    placed = carry_parts(parts, aperture, zones_u_fringes)
    if placed is None:
        return None
    found, sense = placed
    power, step = found.power_fringes, found.radius_difference_mm
    if sense == "unknown":  # both are magnitudes then, whatever sign a convex work has
        power, step = abs(power), abs(step)
    return Measured(
        power_fringes=power,
        power_u_fringes=found.u_fringes,
        sense=sense if sense == "unknown" else "centre" if found.power_fringes >= 0 else "edge",
        radius_difference_mm=step,
        radius_difference_u_mm=found.u_radius_difference_mm,
        wavelength_nm=aperture.wavelength_nm,
        against=parts[0].measured.against,
    )


def carry_parts(
    parts: Sequence[Placed], aperture: Aperture, zones_u_fringes: float | None = None
) -> tuple[Carried, str] | None:
    """Carry placements to the whole aperture; the sense is `unknown` where none tells it."""
    read = [
        replace(one, measured=in_fringes_of(one.measured, aperture.wavelength_nm))
        for one in parts
        if one.measured.power_fringes is not None and one.measured.power_u_fringes
    ]
    if not read:
        return None
    senses = {one.measured.sense for one in read} - {"unknown"}
    sense = "unknown" if not senses else senses.pop() if len(senses) == 1 else "both"
    placements = []
    for one in read:
        power = one.measured.power_fringes or 0.0
        if one.measured.sense == "unknown":
            power = -abs(power) if sense == "edge" else abs(power)
        offset = math.hypot(*one.place_mm) if one.place_mm is not None else 0.0
        u = one.measured.power_u_fringes or 0.0
        placements.append(Placement(power, u, one.diameter_mm, offset))
    return carry(placements, aperture, zones_u_fringes or ZONES_U_FRINGES), sense
