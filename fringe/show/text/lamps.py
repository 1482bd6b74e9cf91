"""The lamp table, and one lamp, in rows of text."""

from __future__ import annotations

from fringe.optics.lamps import Lamp


def table_rows(lamps: list[Lamp]) -> list[str]:
    """The table, a row a lamp; wavelengths in air."""
    rows = [f"{'lamp':<15}{'air nm':>9}{'u nm':>8}  lines nm"]
    for one in lamps:
        lines = " + ".join(f"{line.wavelength_nm:.4f}" for line in one.lines)
        rows.append(f"{one.name:<15}{one.wavelength_nm:>9.3f}{one.u_wavelength_nm:>8.3f}  {lines}")
    rows.append("led:PEAK:FWHM  any light-emitting diode, as led:525:30 (nm)")
    return rows


def lamp_rows(one: Lamp) -> list[str]:
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
