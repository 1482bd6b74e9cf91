"""`fringe lamps`: the lamp table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fringe.cli._options import json_option, print_json

if TYPE_CHECKING:
    from fringe.optics.lamps import Lamp


@click.command("lamps", short_help="List the lamps and their wavelengths.")
@click.argument("name", required=False)
@json_option
def command(name: str | None, as_json: bool) -> None:
    """List the lamps and their wavelengths.

    With NAME, which may be led:PEAK_NM:FWHM_NM, show one lamp's lines, uncertainty and source.

    \b
    Example:
      fringe lamps
      fringe lamps sodium
      fringe lamps led:525:30 --json
    """
    from fringe.optics.lamps import lamp, lamp_names

    lamps = [lamp(word) for word in ([name] if name else lamp_names())]
    if as_json:
        print_json({"lamps": [one.to_json() for one in lamps]})
    else:
        click.echo("\n".join(_one(lamps[0]) if name else _table(lamps)))


def _table(lamps: list[Lamp]) -> list[str]:
    """Rows of the table; wavelengths in air."""
    rows = [f"{'lamp':<15}{'air nm':>9}{'u nm':>8}  lines nm"]
    for one in lamps:
        lines = " + ".join(f"{line.wavelength_nm:.4f}" for line in one.lines)
        rows.append(f"{one.name:<15}{one.wavelength_nm:>9.3f}{one.u_wavelength_nm:>8.3f}  {lines}")
    rows.append("led:PEAK:FWHM  any light-emitting diode, as led:525:30 (nm)")
    return rows


def _one(one: Lamp) -> list[str]:
    """Everything that is known of one lamp."""
    rows = [f"{one.name}: {one.note}" if one.note else one.name]
    rows.append(
        f"wavelength  {one.wavelength_nm:.3f} nm in air, standard uncertainty "
        f"{one.u_wavelength_nm:.3f} nm"
    )
    total = sum(line.weight for line in one.lines)
    for line in one.lines:
        share = f"{100 * line.weight / total:.0f} %"
        rows.append(f"line        {line.wavelength_nm:.4f} nm, width {line.fwhm_nm:g} nm, {share}")
    gap_um = one.coherence_length_nm / 2000
    gap = f"{gap_um / 1000:.3g} mm" if gap_um >= 1000 else f"{gap_um:.3g} um"
    rows.append(f"contrast    one half at a gap of {gap}, each line by itself")
    rows.append(f"source      {one.source} ({one.trust})")
    return rows
