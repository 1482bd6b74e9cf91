"""`fringe instrument`: records of plates, spherometers, cameras and lamps in an archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import LENGTHS, NUMBER, line
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.instruments import Instrument

ARCHIVE = click.argument("archive", type=click.Path(path_type=Path))
NAME = click.argument("name")
NOTE = click.option("--note", metavar="TEXT", help="Free text.")
REPLACE = click.option("--replace", is_flag=True, help="Write over a record of that name.")


@click.group("instrument", short_help="Keep records of plates, spherometers, cameras, lamps.")
def command() -> None:
    """Keep records of instruments in an archive: plates, spherometers, cameras and lamps.

    Each is one TOML file under ARCHIVE/instruments, plain to read. All -u options are standard
    uncertainties.

    \b
    Example:
      fringe instrument add plate bench/ "plate 7" --form concave --radius 3048mm
      fringe instrument list bench/
      fringe instrument show bench/ plate "plate 7"
    """


@command.group("add", short_help="Write a record.")
def add() -> None:
    """Write the record of an instrument.

    \b
    Example:
      fringe instrument add camera bench/ overhead --distance 900mm --scale 12
    """


@add.command("plate", short_help="A reference plate.")
@ARCHIVE
@NAME
@click.option(
    "--form", type=click.Choice(["convex", "concave"]), required=True, help="Form of the plate."
)
@click.option("--radius", type=LENGTH, required=True, metavar="L", help="Certified radius.")
@click.option("--radius-u", type=LENGTH, metavar="L", help="Its standard uncertainty.")
@click.option("--how", metavar="TEXT", help="How the radius is known: certificate, method, date.")
@click.option("--diameter", type=LENGTH, metavar="L", help="Of the plate.")
@click.option("--thickness", type=LENGTH, metavar="L", help="At the middle.")
@click.option("--glass", metavar="NAME", help="Glass, as in the table where it stands there.")
@click.option("--form-u", type=LENGTH, metavar="L", help="Standard uncertainty of its form.")
@click.option("--sphericity", metavar="TEXT", help="Evidence that it is a sphere.")
@NOTE
@REPLACE
@json_option
def plate(archive: Path, name: str, *, replace: bool, as_json: bool, **given: Any) -> None:
    """Write the record of a reference plate.

    \b
    Example:
      fringe instrument add plate bench/ "plate 7" --form concave --radius 3048mm \\
        --radius-u 0.3mm --how "bench, 2026" --diameter 160mm --glass borosilicate \\
        --sphericity "grating lines straight at the centre of curvature"
    """
    form_u = given["form_u"]
    values = {
        "form": given["form"],
        "radius_mm": given["radius"],
        "u_radius_mm": given["radius_u"],
        "how_known": given["how"],
        "diameter_mm": given["diameter"],
        "thickness_mm": given["thickness"],
        "glass": given["glass"],
        "u_form_nm": None if form_u is None else form_u * 1e6,
        "sphericity": given["sphericity"],
        "note": given["note"],
    }
    _add(archive, "plate", name, values, replace=replace, as_json=as_json)


@add.command("spherometer", short_help="A spherometer.")
@ARCHIVE
@NAME
@click.option("--ring", type=LENGTHS, metavar="L[,L]", help="Plain ring: inner, outer diameter.")
@click.option("--legs", type=LENGTHS, metavar="L[,L,L]", help="Three legs: their spacing.")
@click.option("--foot-circle", type=LENGTH, metavar="L", help="Feet on a circle this wide.")
@click.option("--ball", type=LENGTH, metavar="L", help="Ball feet of this diameter; else points.")
@click.option("--size-u", type=LENGTH, metavar="L", help="Uncertainty of ring, legs or circle.")
@click.option("--ball-u", type=LENGTH, metavar="L", help="Uncertainty of the balls' diameter.")
@click.option("--reading-u", type=LENGTH, metavar="L", help="Uncertainty of one reading.")
@click.option("--scale-u", type=NUMBER, metavar="X", help="Relative uncertainty of the scale.")
@NOTE
@REPLACE
@json_option
def spherometer(archive: Path, name: str, *, replace: bool, as_json: bool, **given: Any) -> None:
    """Write the record of a spherometer: its form, sizes and what a reading is good for.

    \b
    Example:
      fringe instrument add spherometer bench/ "three balls" --foot-circle 140mm --ball 6.35mm \\
        --size-u 20um --ball-u 1um --reading-u 0.5um
    """
    ring = [mm for mm, _ in given["ring"] or ()]
    if len(ring) > 2:
        raise BadInput("--ring takes an inner and an outer diameter")
    reading_u = given["reading_u"]
    values = {
        "ring_inner_mm": ring[0] if ring else None,
        "ring_outer_mm": ring[1] if len(ring) == 2 else None,
        "legs_mm": [mm for mm, _ in given["legs"]] if given["legs"] else None,
        "foot_circle_mm": given["foot_circle"],
        "ball_diameter_mm": given["ball"],
        "u_size_mm": given["size_u"],
        "u_ball_diameter_mm": given["ball_u"],
        "u_reading_um": None if reading_u is None else reading_u * 1000,
        "u_scale": given["scale_u"],
        "note": given["note"],
    }
    _add(archive, "spherometer", name, values, replace=replace, as_json=as_json)


@add.command("camera", short_help="A camera.")
@ARCHIVE
@NAME
@click.option("--distance", type=LENGTH, metavar="L", help="From the work to the camera.")
@click.option("--distance-u", type=LENGTH, metavar="L", help="Its standard uncertainty.")
@click.option("--scale", type=NUMBER, metavar="PX_PER_MM", help="Pixels a millimetre of the work.")
@click.option("--scale-u", type=NUMBER, metavar="PX_PER_MM", help="Its standard uncertainty.")
@NOTE
@REPLACE
@json_option
def camera(archive: Path, name: str, *, replace: bool, as_json: bool, **given: Any) -> None:
    """Write the record of a camera on its stand: how far away, and its scale.

    \b
    Example:
      fringe instrument add camera bench/ overhead --distance 900mm --distance-u 5mm --scale 12
    """
    values = {
        "distance_mm": given["distance"],
        "u_distance_mm": given["distance_u"],
        "scale_px_per_mm": given["scale"],
        "u_scale_px_per_mm": given["scale_u"],
        "note": given["note"],
    }
    _add(archive, "camera", name, values, replace=replace, as_json=as_json)


@add.command("lamp", short_help="A lamp that is not in the table.")
@ARCHIVE
@NAME
@click.option(
    "--line",
    "lines",
    multiple=True,
    required=True,
    metavar="NM[:WEIGHT[:FWHM]]",
    help="A line in air: nanometres, weight, width.",
)
@click.option("--wavelength-u", type=LENGTH, metavar="L", help="Uncertainty of the mean.")
@click.option("--source", required=True, metavar="TEXT", help="Where the numbers come from.")
@NOTE
@REPLACE
@json_option
def lamp(archive: Path, name: str, *, replace: bool, as_json: bool, **given: Any) -> None:
    """Write the record of a lamp that the shipped table does not have.

    \b
    Example:
      fringe instrument add lamp bench/ "filtered arc" --line 546.07:1:10 \\
        --wavelength-u 0.5nm --source "label of the filter"
    """
    from fringe.optics.lamps import lamp_names

    if name.strip().lower() in lamp_names():
        raise BadInput(f"{name} is a lamp of the shipped table; give yours a name of its own")
    wavelength_u = given["wavelength_u"]
    values = {
        "lines": [_line(text) for text in given["lines"]],
        "u_wavelength_nm": None if wavelength_u is None else wavelength_u * 1e6,
        "source": given["source"],
        "note": given["note"],
    }
    _add(archive, "lamp", name, values, replace=replace, as_json=as_json)


@command.command("list", short_help="List the records of an archive.")
@ARCHIVE
@json_option
def list_command(archive: Path, as_json: bool) -> None:
    """List the instruments on record.

    \b
    Example:
      fringe instrument list bench/
    """
    from fringe.archive.instruments import list_instruments

    found = list_instruments(archive)
    if as_json:
        print_json({"instruments": [one.record() for one in found]})
    elif not found:
        click.echo(f"{archive} has no instruments on record yet")
    else:
        click.echo("\n".join(line(one.kind, f"{one.name}  {_short(one)}") for one in found))


@command.command("show", short_help="Show one record.")
@ARCHIVE
@click.argument("kind", type=click.Choice(["plate", "spherometer", "camera", "lamp"]))
@NAME
@json_option
def show(archive: Path, kind: str, name: str, as_json: bool) -> None:
    """Show all that the record of one instrument says.

    \b
    Example:
      fringe instrument show bench/ plate "plate 7"
    """
    from fringe.archive.instruments import load_instrument

    found = load_instrument(archive, kind, name)
    if as_json:
        print_json(found.record())
        return
    rows = [f"{found.kind} {found.name}, on record since {found.added}: {_short(found)}"]
    rows += [line(key, _plain(value)) for key, value in found.values.items()]
    click.echo("\n".join([*rows, line("file", str(found.path))]))


def _add(
    archive: Path, kind: str, name: str, values: dict[str, Any], *, replace: bool, as_json: bool
) -> None:
    from fringe.archive.instruments import add_instrument

    made = add_instrument(archive, kind, name, values, replace=replace)
    if as_json:
        print_json({**made.record(), "path": str(made.path)})
    else:
        click.echo(f"{kind} {made.name}: {_short(made)}\n{line('file', str(made.path))}")


def _line(text: str) -> dict[str, float]:
    words = text.split(":")
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = []
    if not 1 <= len(numbers) <= 3:
        raise BadInput(f"--line: {text!r} is no line; write NM:WEIGHT:FWHM, as 546.07:1:10")
    return dict(
        zip(
            ("wavelength_nm", "weight", "fwhm_nm"),
            [*numbers, 1.0][: max(2, len(numbers))],
            strict=False,
        )
    )


def _short(one: Instrument) -> str:
    """What matters of an instrument, in a few words."""
    from fringe.format import figures, plus_minus

    values = one.values
    if one.kind == "plate":
        u = values.get("u_radius_mm")
        radius = plus_minus(values["radius_mm"], u and 1.96 * u, "mm", digits=7)
        return f"{values['form']}, radius {radius}"
    if one.kind == "spherometer":
        if "ring_inner_mm" in values:
            edges = [values["ring_inner_mm"], values.get("ring_outer_mm")]
            return f"ring {' / '.join(figures(one, 6) for one in edges if one)} mm"
        ball = values.get("ball_diameter_mm")
        feet = f"balls of {figures(ball, 5)} mm" if ball else "points"
        if "foot_circle_mm" in values:
            return f"{feet} on a circle of {figures(values['foot_circle_mm'], 6)} mm"
        return f"three {feet}, {' / '.join(figures(leg, 6) for leg in values['legs_mm'])} mm apart"
    if one.kind == "camera":
        parts = []
        for key, unit in (("distance_mm", "mm away"), ("scale_px_per_mm", "px/mm")):
            if key in values:
                u = values.get(f"u_{key}")
                parts.append(plus_minus(values[key], u and 1.96 * u, unit, digits=5))
        return ", ".join(parts)
    return " + ".join(f"{figures(each['wavelength_nm'], 7)} nm" for each in values["lines"])


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(_plain(one) for one in value)
    if isinstance(value, dict):
        return ", ".join(f"{key} {one:g}" for key, one in value.items())
    return f"{value:.10g}" if isinstance(value, float) else str(value)
