"""`fringe convert`: one sphere difference in all units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    NUMBER,
    PERCENT,
    gathered,
    json_option,
    length,
    light_options,
    work_form,
)
from fringe.cli.printing import answer

if TYPE_CHECKING:
    from fringe.judge.tolerance.stated import StatedDifference


@click.command("convert", short_help="Convert fringes, radius, sagitta and gap.")
@click.option("--fringes", type=NUMBER, metavar="N", help="Power; + is contact at the centre.")
@length("--radius-difference", "R_work - R_plate.", signed=True)
@length("--work-radius", "The same, by the work's radius.")
@click.option("--percent", type=PERCENT, metavar="P", help="The same, in percent of the radius.")
@length("--sagitta", "Work deeper than plate by L.", signed=True)
@length("--gap", "Gap at the rim less at the centre.", signed=True, nm=True)
@length("--radius", "Radius of the plate.", required=True)
@length("--diameter", "Aperture.", required=True)
@work_form("--work")
@light_options
@click.option("--also", multiple=True, metavar="NAME", help="Show fringes in this lamp too.")
@json_option
@gathered(stated="fringe.judge.tolerance.stated.StatedDifference")
def command(
    stated: StatedDifference,
    radius_mm: float,
    diameter_mm: float,
    work: str,
    lamp: str | None,
    wavelength_nm: float | None,
    also: tuple[str, ...],
    as_json: bool,
) -> None:
    """Convert one difference of work and plate into all its units.

    Give one of --fringes, --radius-difference, --work-radius, --percent, --sagitta or --gap,
    with its sign: power is positive when the contact is at the centre, so that the gap opens
    toward the edge. Wavefront is that of a mirror at normal incidence.

    \b
    Example:
      fringe convert --fringes -3 --radius 3048mm --diameter 150mm --lamp sodium
      fringe convert --radius-difference 5mm --radius 120in --diameter 6in --lamp sodium
      fringe convert --gap 546nm --radius 100mm --diameter 50mm --wavelength 546.07nm --json
    """
    from fringe.judge.tolerance.stated import convert
    from fringe.judge.tolerance.tolerance import Aperture
    from fringe.optics.lamps import light_nm
    from fringe.show.text.convert import conversion_rows

    aperture = Aperture(radius_mm, diameter_mm, light_nm(lamp, wavelength_nm), work)
    result = convert(stated, aperture, also)
    answer(as_json, result.to_json, lambda: conversion_rows(result))
