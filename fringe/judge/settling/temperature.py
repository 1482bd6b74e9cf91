"""The effect of temperature on a piece of glass, to compare a settling with."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.format import figures
from fringe.optics.spheres import fringes_from_nm
from fringe.optics.thermal import Glass, bending_nm, slab_time_constant_s

if TYPE_CHECKING:
    from fringe.judge.settling.settle import Settled

# Heat given off by still air on one face [W/(m^2 K)]; common practice, no source: 5 to 10
_STILL_AIR = 5.0


@dataclass(frozen=True)
class ThermalCheck:
    """What temperature can do to a piece, to hold a settling against.

    Attributes
    ----------
    slab_min : float
        Time constant of the glass alone, its faces held at one temperature [min]: no piece
        settles faster.
    air_min : float
        Time constant in still air on one face [min], within a factor of about two.
    bending_fringes_k : float
        Power for a difference of 1 K between the faces of a free disc [fringe/K].
    difference_k : float or None
        Difference that the drift's size stands for [K].
    notes : tuple of str
        Where the settling is none that temperature makes.
    """

    slab_min: float
    air_min: float
    bending_fringes_k: float
    difference_k: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def time_constants_min(self) -> tuple[float, float]:
        """Time constants to be thought of for this piece [min].

        Half the slab's, up to once and a half that in still air on one face, which is the slowest
        way to lose heat: a second face or moving air only hasten it.
        """
        return self.slab_min / 2, max(1.5 * self.air_min, 10 * self.slab_min)

    def to_json(self) -> dict[str, object]:
        """Return the numbers under their names."""
        return {
            "slab_time_constant_min": self.slab_min,
            "air_time_constant_min": self.air_min,
            "bending_fringes_k": self.bending_fringes_k,
            "difference_k": self.difference_k,
            "notes": list(self.notes),
        }


def thermal_check(
    glass: Glass, thickness_mm: float, diameter_mm: float, wavelength_nm: float
) -> ThermalCheck:
    """What temperature does to a disc of this glass: how much, and how slowly.

    Parameters
    ----------
    glass : Glass
        Of the table.
    thickness_mm, diameter_mm : float
        Of the piece that was handled [mm].
    wavelength_nm : float
        That fringes are counted in [nm].

    Returns
    -------
    ThermalCheck
        Without a settling held against it yet.

    Notes
    -----
    Bending alpha dT D^2 / 8t of a free disc; slab constant t^2 / (pi^2 a), a lower bound; in
    air rho c t / h with h = 5 W/(m^2 K) (common practice, no source).
    """
    bending = fringes_from_nm(
        bending_nm(glass.expansion_per_k, 1.0, diameter_mm, thickness_mm), wavelength_nm
    )
    heat = glass.density_kg_m3 * glass.heat_j_kgk * thickness_mm / 1e3
    return ThermalCheck(
        slab_min=slab_time_constant_s(thickness_mm, glass.diffusivity_mm2_s) / 60,
        air_min=heat / _STILL_AIR / 60,
        bending_fringes_k=abs(bending),
    )


def held_against(
    check: ThermalCheck, found: Settled, difference_k: float | None = None
) -> ThermalCheck:
    """Hold a settling against what temperature can do.

    Parameters
    ----------
    check : ThermalCheck
        Of the piece.
    found : Settled
        The settling.
    difference_k : float, optional
        Temperature difference that the piece started with, as far as known [K].

    Returns
    -------
    ThermalCheck
        With the difference that the drift stands for, and with notes.
    """
    notes = []
    stands_for = None
    tau = found.time_constant_min
    if tau is not None:
        if check.bending_fringes_k:
            stands_for = abs(found.remaining_fringes.value) / check.bending_fringes_k
        if tau.high is not None and tau.high < check.slab_min:
            notes.append(
                f"it settles faster ({figures(tau.value, 2)} min) than this glass can "
                f"({figures(check.slab_min, 2)} min at least): air or dust between the pieces, "
                "not temperature"
            )
        if stands_for is not None and difference_k and stands_for > 3 * difference_k:
            notes.append(
                f"what is left would take {figures(stands_for, 2)} K between the faces, more than "
                f"the {figures(difference_k, 2)} K told"
            )
    return dataclasses.replace(check, difference_k=stands_for, notes=tuple(notes))
