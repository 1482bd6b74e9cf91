"""`fringe sag`: plate and work on a spherometer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    LENGTHS,
    PATH,
    SAGITTAS,
    gathered,
    json_option,
    length,
    light_options,
    quantity,
    uncertainty,
    work_form,
)
from fringe.cli.printing import answer

if TYPE_CHECKING:
    from fringe.archive.views.spherometer_comparison import SagRequest, SpherometerSize


@click.command("sag", short_help="Compare plate and work on a spherometer.")
@click.option(
    "--plate",
    type=SAGITTAS,
    multiple=True,
    required=True,
    metavar="L,...",
    help="Readings on the plate.",
)
@click.option(
    "--work",
    type=SAGITTAS,
    multiple=True,
    required=True,
    metavar="L,...",
    help="Readings on the work.",
)
@click.option(
    "--zero",
    type=SAGITTAS,
    multiple=True,
    metavar="L,...",
    help="Readings on a flat; without it the gauge was set to zero there.",
)
@work_form("--form")
@click.option("--ring", type=LENGTHS, metavar="L[,L]", help="Plain ring: inner, outer diameter.")
@click.option("--legs", type=LENGTHS, metavar="L[,L,L]", help="Three legs: their spacing.")
@length("--foot-circle", "Feet on a circle this wide.")
@length("--ball", "Ball feet of this diameter; else points.")
@uncertainty("--size-u", "mm", "Standard uncertainty of that size.")
@uncertainty("--ball-u", "mm", "Standard uncertainty of the balls.")
@uncertainty("--reading-u", "mm", "Standard uncertainty of a reading; else a count of its digits.")
@length("--plate-radius", "Radius of the plate.", certified=True)
@uncertainty("--plate-radius-u", "mm", "Its standard uncertainty.")
@length("--diameter", "Aperture, for the gap in fringes.")
@light_options
@quantity("--scale", "px_per_mm", "Camera: pixels a millimetre.", "PX_PER_MM")
@click.option(
    "--archive",
    type=PATH,
    metavar="DIR",
    help="Archive with the records that the next three name.",
)
@click.option("--spherometer", metavar="NAME", help="Spherometer on record.")
@click.option("--plate-name", metavar="NAME", help="Plate on record.")
@click.option("--camera", metavar="NAME", help="Camera on record.")
@click.option("--budget", is_flag=True, help="Show where the uncertainties come from.")
@json_option
@gathered(
    request="fringe.archive.views.spherometer_comparison.SagRequest",
    size="fringe.archive.views.spherometer_comparison.SpherometerSize",
)
def command(request: SagRequest, size: SpherometerSize, as_json: bool) -> None:
    """Say which is deeper, the plate or the work, by how much, and what radius the work has.

    Read plate and work in turn, and repeat. Readings may carry signs, as a gauge shows them
    on a convex and a concave piece, or none. Grind the two forms on two separate tools, not on
    each other: between two that were ground together stays the size of a grain (common
    practice). With --diameter and a lamp: the gap in fringes, and whether it is near enough
    to go on with fringes. ± is the 95 % interval.
    The -u options are standard uncertainties; an expanded one says its coverage: '3um (k=2)'.

    \b
    Example:
      fringe sag --plate 808um,807.5um --work 793um,793um --plate-radius 3048mm
      fringe sag --plate=-1.957mm --work 2.088mm --form concave --foot-circle 40mm --ball 6.35mm
      fringe sag --plate 808um --work 793um --plate-radius 120in --diameter 6in --lamp sodium
    """
    from fringe.archive.views.spherometer_comparison import compare_readings
    from fringe.show.text.sag import sag_rows

    result = compare_readings(request, size)
    answer(as_json, result.to_json, lambda: sag_rows(result, budgets=request.budget))
