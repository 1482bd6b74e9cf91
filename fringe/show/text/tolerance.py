"""A tolerance in all its forms, and what a system allows, in rows of text."""

from __future__ import annotations

from fringe.format import figures
from fringe.judge.tolerance.system import SystemTolerance
from fringe.judge.tolerance.tolerance import FormTolerance
from fringe.show.text.lines import counted, line


def tolerance_rows(one: FormTolerance) -> list[str]:
    """The code first, then the limit in every form."""
    aperture = one.aperture

    def either_way(value: float | None, unit: str) -> str:
        return f"±{figures(value or 0.0)} {unit}"

    rows = [
        f"{one.iso10110}  over {aperture.diameter_mm:g} mm, radius {aperture.radius_mm:g} mm",
        line("in nanometres", one.iso10110_nm),
    ]
    if one.code is not None and one.code != one.iso10110:
        rows.append(line("as given", one.code))
    if one.power_fringes is not None:
        rows += [
            line(
                "power",
                f"±{counted(one.power_fringes, 'fringe')} at {aperture.wavelength_nm:.2f} nm",
            ),
            line(
                "radius",
                f"{either_way(one.radius_difference_mm, 'mm')} ({either_way(one.percent, '%')})",
            ),
            line("sagitta", either_way(one.sagitta_um, "µm")),
            line("gap", f"{figures(one.gap_nm or 0.0)} nm along the plate's normal"),
            line(
                "defocus",
                f"{counted(one.wavefront_waves or 0.0, 'wave')} of "
                f"{one.use_wavelength_nm:.2f} nm, peak to valley",
            ),
        ]
    if one.astigmatism_waves is not None:
        rows.append(
            line(
                "of it astigmatism",
                f"{counted(one.astigmatism_waves, 'wave')}: a sphere met obliquely is not a sphere",
            )
        )
    if one.focus_shift_mm is not None:
        rows.append(line("focus", either_way(one.focus_shift_mm, "mm")))
    if one.irregularity_fringes is not None:
        waves = f"{counted(one.irregularity_waves or 0.0, 'wave')} of wavefront"
        rows.append(line("irregularity", f"{counted(one.irregularity_fringes, 'fringe')}, {waves}"))
    for label, value, what in (
        ("its symmetric part", one.symmetric_irregularity_fringes, ""),
        ("rms, RMSt", one.rms_total_fringes, " of the whole deviation"),
        ("rms, RMSi", one.rms_irregularity_fringes, " of the irregularity"),
        ("rms, RMSa", one.rms_asymmetry_fringes, " of what is not symmetric in it"),
    ):
        if value is not None:
            rows.append(line(label, counted(value, "fringe") + what))
    return rows


def system_rows(result: SystemTolerance) -> list[str]:
    """How well the pair must match, what light comes through, what each surface may have."""
    system, match = result.system, result.match
    rows = []
    if match is not None:
        form = match.form
        rows += [
            f"{match.convex} and {match.concave} must match within "
            f"{counted(form.power_fringes or 0.0, 'fringe', 3)}",
            line(
                "counted",
                f"at {form.aperture.wavelength_nm:.2f} nm over {form.aperture.diameter_mm:g} mm",
            ),
            line("radii", f"{figures(match.radius_mm, 3)} mm apart at most"),
            line(
                "in common",
                "any error of both radii cancels"
                if match.common_radius_mm is None
                else f"both off by ±{figures(match.common_radius_mm)} mm at most",
            ),
        ]
    count = "1 error" if system.shares == 1 else f"{system.shares} errors"
    words = {"rss": "root sum square", "linear": "summed", "whole": "each the whole"}
    rows += [
        line("light", f"{100 * system.light:.1f} % comes through {len(system.surfaces)} surfaces"),
        line(
            "wavefront",
            f"{counted(system.wavefront_nm / system.wavelength_nm, 'wave')} of "
            f"{system.wavelength_nm:.0f} nm for {count}, {words[system.sharing]}",
        ),
    ]
    for name, one in result.surfaces.items():
        radius = figures(one.radius_difference_mm or 0.0, 3)
        fringes = counted(one.power_fringes or 0.0, "fringe", 3)
        rows.append(line(name, f"±{fringes} (radius ±{radius} mm)"))
    return rows
