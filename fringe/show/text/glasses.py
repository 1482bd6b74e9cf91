"""The glass table, and one glass, in rows of text."""

from __future__ import annotations

from fringe.format import figures
from fringe.optics.thermal import Glass


def table_rows(glasses: list[Glass]) -> list[str]:
    """The table, a row a glass."""
    rows = [f"{'glass':<16}{'1e-6/K':>8}{'mm2/s':>8}{'index':>8}  what it is"]
    for one in glasses:
        expansion, diffusivity = _expansion(one), figures(one.diffusivity_mm2_s, 3)
        rows.append(f"{one.name:<16}{expansion:>8}{diffusivity:>8}{one.index:>8.3f}  {one.note}")
    return [*rows, "expansion, thermal diffusivity, refractive index in green light"]


def glass_rows(one: Glass) -> list[str]:
    """Everything that is known of one glass."""
    low, high = (figures(1e6 * end, 3) for end in one.expansion_range_per_k)
    spread = "" if low == high else f", {low} to {high} by those that were found"
    return [
        f"{one.name}: {one.note}" if one.note else one.name,
        f"expansion     {_expansion(one)} 1e-6/K{spread}",
        f"diffusivity   {figures(one.diffusivity_mm2_s, 3)} mm2/s",
        f"conductivity  {one.conductivity_w_mk:g} W/(m K)",
        f"heat          {one.heat_j_kgk:g} J/(kg K)",
        f"density       {one.density_kg_m3:g} kg/m3",
        f"stiffness     {one.youngs_gpa:g} GPa (Young's modulus)",
        f"index         {one.index:g} in green light ({one.index_source})",
        f"source        {one.source} ({one.trust})",
    ]


def _expansion(one: Glass) -> str:
    return figures(1e6 * one.expansion_per_k, 3)
