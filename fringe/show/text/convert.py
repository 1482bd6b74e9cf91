"""A sphere difference in all units, in rows of text."""

from __future__ import annotations

from fringe.format import figures
from fringe.judge.tolerance.stated import Conversion
from fringe.show.text.lines import counted, line

_TOUCH = {"centre": "contact at the centre", "edge": "contact at the edge"}


def conversion_rows(conversion: Conversion) -> list[str]:
    """The power first, then the same in every other unit."""
    result = conversion.difference
    one = result.aperture
    rows = [
        f"{counted(result.power_fringes, 'fringe', signed=True)} at {one.wavelength_nm:.2f} nm "
        f"over {one.diameter_mm:g} mm: {_TOUCH.get(result.sense, 'contact everywhere')}"
    ]
    rows += [
        line(f"at {name}", counted(value, "fringe", signed=True))
        for name, value in conversion.also_fringes.items()
    ]
    step, plate_um = result.radius_difference_mm, result.plate_sagitta_um
    rows += [
        line(
            "radius difference",
            f"{figures(step, signed=True)} mm ({figures(result.percent, signed=True)} %)",
        ),
        line("work radius", f"{figures(one.radius_mm + step, 7)} mm, {one.work}"),
        line("sagitta", f"{figures(result.sagitta_um, signed=True)} µm, work less plate"),
        line(
            "",
            f"plate {figures(plate_um, 7)} µm, work {figures(plate_um + result.sagitta_um, 7)} µm",
        ),
        line("gap", f"{figures(abs(result.gap_nm))} nm along the plate's normal"),
        line(
            "wavefront",
            f"{counted(abs(result.power_fringes), 'wave')}, peak to valley, by one reflection",
        ),
    ]
    return rows
