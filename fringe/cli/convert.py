"""`fringe convert`: one sphere difference in all units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import (
    NM_PER_MM,
    NUMBER,
    PERCENT,
    counted,
    light_options,
    line,
    wavelength_nm,
)
from fringe.cli._options import LENGTH, SIGNED_LENGTH, json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.judge.tolerance.tolerance import Difference


@click.command("convert", short_help="Convert fringes, radius, sagitta and gap.")
@click.option("--fringes", type=NUMBER, metavar="N", help="Power; + is contact at the centre.")
@click.option("--radius-difference", type=SIGNED_LENGTH, metavar="L", help="R_work - R_plate.")
@click.option("--work-radius", type=LENGTH, metavar="L", help="The same, by the work's radius.")
@click.option("--percent", type=PERCENT, metavar="P", help="The same, in percent of the radius.")
@click.option("--sagitta", type=SIGNED_LENGTH, metavar="L", help="Work deeper than plate by L.")
@click.option("--gap", type=SIGNED_LENGTH, metavar="L", help="Gap at the rim less at the centre.")
@click.option("--radius", type=LENGTH, required=True, metavar="L", help="Radius of the plate.")
@click.option("--diameter", type=LENGTH, required=True, metavar="L", help="Aperture.")
@click.option(
    "--work",
    type=click.Choice(["convex", "concave"]),
    default="convex",
    show_default=True,
    help="Form of the work.",
)
@light_options
@click.option("--also", multiple=True, metavar="NAME", help="Show fringes in this lamp too.")
@json_option
def command(
    radius: float,
    diameter: float,
    work: str,
    lamp: str | None,
    wavelength: float | None,
    also: tuple[str, ...],
    as_json: bool,
    **given: float | None,
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
    from fringe.judge.tolerance.tolerance import Aperture, difference
    from fringe.optics.spheres import convert_fringes

    kind, value = _one(given, radius)
    light = wavelength_nm(lamp, wavelength)
    result = difference(kind, value, Aperture(radius, diameter, light, work))
    others = {
        name: convert_fringes(result.power_fringes, light, wavelength_nm(name, None))
        for name in also
    }
    if as_json:
        print_json(result.to_json() | ({"power_fringes_also": others} if also else {}))
    else:
        click.echo("\n".join(_text(result, others)))


def _one(given: dict[str, float | None], radius_mm: float) -> tuple[str, float]:
    """Kind and value of the one quantity that was given."""
    kinds = {
        "fringes": "fringes",
        "radius_difference": "radius",
        "work_radius": "work_radius",
        "percent": "percent",
        "sagitta": "sagitta",
        "gap": "gap",
    }
    found: dict[str, Any] = {kinds[key]: one for key, one in given.items() if one is not None}
    if len(found) != 1:
        names = ", ".join("--" + key.replace("_", "-") for key in kinds)
        raise BadInput(f"give one of {names}")
    kind, value = found.popitem()
    if kind == "work_radius":
        return "radius", value - radius_mm
    return kind, value * NM_PER_MM if kind == "gap" else value


def _text(result: Difference, others: dict[str, float]) -> list[str]:
    from fringe.format import figures

    one = result.aperture
    touch = {"centre": "contact at the centre", "edge": "contact at the edge"}
    rows = [
        f"{counted(result.power_fringes, 'fringe', signed=True)} at {one.wavelength_nm:.2f} nm "
        f"over {one.diameter_mm:g} mm: {touch.get(result.sense, 'contact everywhere')}"
    ]
    rows += [
        line(f"at {name}", counted(value, "fringe", signed=True)) for name, value in others.items()
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
