"""What temperature does to a piece of glass: bending, settling, and the radius itself.

Formulas for the checks at the bench, from a linear temperature profile along the axis and a
disc that is free to bend; real pieces lose heat through air and settle far more slowly than a
slab held at a fixed surface temperature, so its time constant is a lower bound.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

from fringe.errors import BadInput, did_you_mean

NM_PER_MM = 1e6


@dataclass(frozen=True)
class Glass:
    """Thermal data of a glass, as in `calibration/glasses.toml`.

    Attributes
    ----------
    name, source, note, trust, index_source : str
        Name in the table; where the data are from; what it is; whether they were `read` there or
        are from `memory`; where the index is from.
    expansion_per_k : float
        Linear expansion [1/K].
    conductivity_w_mk, heat_j_kgk, density_kg_m3 : float
        Thermal conductivity [W/(m K)], specific heat [J/(kg K)], density [kg/m^3].
    youngs_gpa : float
        Young's modulus [GPa].
    index : float
        Refractive index in green light.
    expansion_range_per_k : (float, float)
        Lowest and highest reading of the expansion that was found [1/K].
    """

    name: str
    expansion_per_k: float
    conductivity_w_mk: float
    heat_j_kgk: float
    density_kg_m3: float
    youngs_gpa: float
    index: float
    source: str
    expansion_range_per_k: tuple[float, float]
    note: str = ""
    trust: str = ""
    index_source: str = ""

    def to_json(self) -> dict[str, object]:
        """Return all of it under its names, and the diffusivity."""
        return {**asdict(self), "diffusivity_mm2_s": self.diffusivity_mm2_s}

    @property
    def diffusivity_mm2_s(self) -> float:
        """Thermal diffusivity k / (rho c) [mm^2/s]."""
        return 1e6 * self.conductivity_w_mk / (self.density_kg_m3 * self.heat_j_kgk)


@cache
def glass_table() -> dict[str, dict[str, Any]]:
    """Return the glass table as it stands in `calibration/glasses.toml`, by name."""
    import tomllib
    from importlib.resources import files

    return tomllib.loads((files("fringe.calibration") / "glasses.toml").read_text("utf-8"))


def glass_names() -> list[str]:
    """Names in the glass table, in its order."""
    return list(glass_table())


def glass(name: str) -> Glass:
    """Look a glass up by its name in the table; BadInput names the glasses otherwise."""
    entry = glass_table().get(name.strip().lower())
    if entry is None:
        raise BadInput(
            f"no glass named {name!r}; {did_you_mean(name, glass_names())}the glasses are "
            f"{', '.join(glass_names())}"
        )
    expansion = float(entry["expansion_per_k"])
    low, high = entry.get("spread", {}).get("expansion_per_k", (expansion, expansion))
    return Glass(
        name=name.strip().lower(),
        expansion_per_k=expansion,
        conductivity_w_mk=float(entry["conductivity_w_mk"]),
        heat_j_kgk=float(entry["heat_j_kgk"]),
        density_kg_m3=float(entry["density_kg_m3"]),
        youngs_gpa=float(entry["youngs_gpa"]),
        index=float(entry["index"]),
        source=str(entry["source"]),
        expansion_range_per_k=(float(low), float(high)),
        note=str(entry.get("note", "")),
        trust=str(entry.get("trust", "")),
        index_source=str(entry.get("index_source", "")),
    )


def bending_nm(
    expansion_per_k: float, difference_k: float, diameter_mm: float, thickness_mm: float
) -> float:
    """Sagitta by which an axial temperature difference bends a free disc.

    Parameters
    ----------
    expansion_per_k : float
        Linear expansion [1/K].
    difference_k : float
        Temperature of the face measured minus that of the other face [K].
    diameter_mm, thickness_mm : float
        Of the disc [mm].

    Returns
    -------
    float
        alpha dT D^2 / (8 t) [nm]; positive: the face measured bulges, more convex.

    Notes
    -----
    A linear profile gives the curvature alpha dT / t; the sagitta is curvature times D^2/8.
    """
    if not (diameter_mm > 0 and thickness_mm > 0):
        raise BadInput("bending of a disc needs a diameter and a thickness greater than zero")
    sagitta_mm = expansion_per_k * difference_k * diameter_mm**2 / (8 * thickness_mm)
    return sagitta_mm * NM_PER_MM


def slab_time_constant_s(thickness_mm: float, diffusivity_mm2_s: float) -> float:
    """Slowest time constant of a slab with both faces held at one temperature.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the slab [mm].
    diffusivity_mm2_s : float
        Thermal diffusivity [mm^2/s].

    Returns
    -------
    float
        t^2 / (pi^2 a) [s]: the least that a piece in water or on metal takes to lose 63 % of
        its temperature difference; in air it takes far longer.
    """
    if not (thickness_mm > 0 and diffusivity_mm2_s > 0):
        raise BadInput("a time constant needs a thickness and a diffusivity greater than zero")
    return thickness_mm**2 / (math.pi**2 * diffusivity_mm2_s)
