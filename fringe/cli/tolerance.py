"""`fringe tolerance`: one tolerance in all its forms, or what a system allows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    NUMBER,
    PATH,
    PERCENT,
    WAVELENGTH_NM,
    gathered,
    json_option,
    length,
    light_options,
    quantity,
    work_form,
)
from fringe.cli.printing import answer

if TYPE_CHECKING:
    from fringe.judge.tolerance.stated import StatedAperture, StatedTolerance, StatedUse


@click.command("tolerance", short_help="Turn a tolerance into all its forms.")
@length("--radius", "Nominal radius.")
@length("--diameter", "Aperture.")
@work_form("--form")
@light_options
@quantity("--power", "fringes", "Power allowed, fringes.")
@length("--radius-tolerance", "Radius allowed, either way.")
@click.option("--percent", type=PERCENT, metavar="P", help="The same, percent of the radius.")
@length("--sagitta", "Sagitta allowed, either way.")
@length("--gap", "Power allowed, as a height.", nm=True)
@quantity("--irregularity", "fringes", "Irregularity allowed, fringes.")
@click.option("--iso", "iso10110", metavar="CODE", help="ISO 10110-5 code, as '3/ 2(0.5)'.")
@quantity("--wavefront", "waves", "Defocus allowed, peak to valley.", "WAVES")
@click.option("--quarter-wave", is_flag=True, help="The same: a quarter wave (Rayleigh).")
@length("--focus-shift", "Shift of the focus allowed.")
@click.option("--f-number", type=NUMBER, metavar="F", help="Focal ratio at the focus.")
@click.option(
    "--use-wavelength",
    "use_wavelength_nm",
    type=WAVELENGTH_NM,
    metavar="L",
    help="Wavelength of the use.",
)
@length("--footprint", "Beam on the surface, its longer way.")
@length("--beam", "Round beam before the surface; its footprint is longer by 1/cos.")
@quantity("--incidence", "deg", "Angle of incidence.", "DEG")
@quantity("--index", "after", "Refracts into this index, instead of a mirror.")
@click.option(
    "--passes", type=click.IntRange(1), metavar="N", help="How often the light meets the surface."
)
@click.option("--system", type=PATH, metavar="FILE", help="System (TOML).")
@json_option
@gathered(
    limits="fringe.judge.tolerance.stated.StatedTolerance",
    over="fringe.judge.tolerance.stated.StatedAperture",
    use="fringe.judge.tolerance.stated.StatedUse",
)
def command(
    limits: StatedTolerance,
    over: StatedAperture,
    use: StatedUse,
    system: Path | None,
    as_json: bool,
) -> None:
    """Turn a tolerance, however it is stated, into all its forms on one aperture.

    Give one limit on power, or an ISO 10110-5 code, and --irregularity if you like. Wavefront and
    focus are those of a mirror over its whole aperture unless --index, --incidence,
    --footprint or --beam, --passes and --use-wavelength say otherwise.

    With --system FILE: what the train of surfaces allows each, how well its pair must match,
    and the light that comes through.

    \b
    Example:
      fringe tolerance --power 3 --radius 3048mm --diameter 150mm --lamp sodium
      fringe tolerance --iso '3/ 2(0.5)' --radius 3048mm --diameter 150mm --lamp mercury-green
      fringe tolerance --quarter-wave --radius 3048mm --diameter 150mm --wavelength 546.07nm
      fringe tolerance --system examples/train.toml --lamp sodium
    """
    from fringe.judge.tolerance.stated import stated_system, stated_tolerance
    from fringe.show.text.tolerance import system_rows, tolerance_rows

    if system is not None:
        train = stated_system(system, limits, over, use)
        answer(as_json, train.to_json, lambda: system_rows(train))
    else:
        result = stated_tolerance(limits, over, use)
        answer(as_json, result.to_json, lambda: tolerance_rows(result))
