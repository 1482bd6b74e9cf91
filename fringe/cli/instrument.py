"""`fringe instrument`: records of plates, spherometers, cameras and lamps in an archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    FORM,
    LENGTHS,
    NUMBER,
    PATH,
    gathered,
    json_option,
    length,
    quantity,
    uncertainty,
)
from fringe.cli.printing import answer

if TYPE_CHECKING:
    from fringe.archive.instrument_records import (
        CameraRecord,
        LampRecord,
        PlateRecord,
        Record,
        SpherometerRecord,
    )

ARCHIVE = click.argument("archive", type=PATH)
NAME = click.argument("name")
NOTE = click.option("--note", metavar="TEXT", help="Free text.")
REPLACE = click.option("--replace", is_flag=True, help="Write over a record of that name.")


@click.group("instrument", short_help="Keep records of plates, spherometers, cameras, lamps.")
def command() -> None:
    """Keep records of instruments in an archive: plates, spherometers, cameras and lamps.

    Each is one TOML file under ARCHIVE/instruments, plain to read. All -u options are standard
    uncertainties. An expanded one says its coverage, as a certificate does: '0.3mm (k=2)' or
    '0.3mm 95%', also behind a radius: --radius '3048.60 +- 0.30 mm (k=2)'; the record keeps
    the standard one and the text.

    \b
    Example:
      fringe instrument add plate bench/ "plate 7" --form concave \
        --radius '3048.60 +- 0.30 mm (k=2)'
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
@click.option("--form", type=FORM, required=True, help="Form of the plate.")
@length("--radius", "Certified radius.", required=True, certified=True)
@uncertainty("--radius-u", "mm", "Its standard uncertainty.")
@click.option("--how", metavar="TEXT", help="How the radius is known: certificate, method, date.")
@click.option("--certified", metavar="DATE", help="Date of its certificate, as 2026-03-14.")
@click.option("--issued-by", metavar="TEXT", help="Who issued it.")
@click.option("--recalibrate", metavar="TIME", help="When the next is due: '24 months'.")
@length("--diameter", "Of the plate.")
@length("--thickness", "At the middle.")
@click.option("--glass", metavar="NAME", help="Glass, as in the table where it stands there.")
@click.option(
    "--back",
    type=click.Choice(["flat", "concentric"]),
    help="Its back: through a flat one the rim of a steep plate is seen aslant.",
)
@uncertainty("--form-u", "nm", "Standard uncertainty of its form.")
@click.option("--sphericity", metavar="TEXT", help="Evidence that it is a sphere.")
@NOTE
@REPLACE
@json_option
@gathered(record="fringe.archive.instrument_records.PlateRecord")
def plate(archive: Path, name: str, record: PlateRecord, *, replace: bool, as_json: bool) -> None:
    """Write the record of a reference plate.

    \b
    Example:
      fringe instrument add plate bench/ "plate 7" --form concave --radius 3048mm \\
        --radius-u 0.3mm --how "bench, 2026" --diameter 160mm --glass borosilicate \\
        --sphericity "grating lines straight at the centre of curvature"
    """
    _add(archive, name, record, replace=replace, as_json=as_json)


@add.command("spherometer", short_help="A spherometer.")
@ARCHIVE
@NAME
@click.option("--ring", type=LENGTHS, metavar="L[,L]", help="Plain ring: inner, outer diameter.")
@click.option("--legs", type=LENGTHS, metavar="L[,L,L]", help="Three legs: their spacing.")
@length("--foot-circle", "Feet on a circle this wide.")
@length("--ball", "Ball feet of this diameter; else points.")
@uncertainty("--size-u", "mm", "Uncertainty of ring, legs or circle.")
@uncertainty("--ball-u", "mm", "Uncertainty of the balls' diameter.")
@uncertainty("--reading-u", "mm", "Uncertainty of one reading.")
@click.option("--calibrated", metavar="DATE", help="When its gauge was, as 2026-03-14.")
@uncertainty("--drift", "mm", "What a reading's uncertainty gains in a year since.")
@click.option("--scale-u", type=NUMBER, metavar="X", help="Relative uncertainty of the scale.")
@NOTE
@REPLACE
@json_option
@gathered(record="fringe.archive.instrument_records.SpherometerRecord")
def spherometer(
    archive: Path, name: str, record: SpherometerRecord, *, replace: bool, as_json: bool
) -> None:
    """Write the record of a spherometer: its form, sizes and what a reading is good for.

    \b
    Example:
      fringe instrument add spherometer bench/ "three balls" --foot-circle 140mm --ball 6.35mm \\
        --size-u 20um --ball-u 1um --reading-u 0.5um --calibrated 2026-03-14 --drift 0.3um
    """
    _add(archive, name, record, replace=replace, as_json=as_json)


@add.command("camera", short_help="A camera.")
@ARCHIVE
@NAME
@length("--distance", "From the work to the camera.", certified=True)
@uncertainty("--distance-u", "mm", "Its standard uncertainty.")
@quantity("--scale", "px_per_mm", "Pixels a millimetre of the work.", "PX_PER_MM")
@uncertainty("--scale-u", "px_per_mm", "Its standard uncertainty.")
@NOTE
@REPLACE
@json_option
@gathered(record="fringe.archive.instrument_records.CameraRecord")
def camera(archive: Path, name: str, record: CameraRecord, *, replace: bool, as_json: bool) -> None:
    """Write the record of a camera on its stand: how far away, and its scale.

    \b
    Example:
      fringe instrument add camera bench/ overhead --distance 900mm --distance-u 5mm --scale 12
    """
    _add(archive, name, record, replace=replace, as_json=as_json)


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
@uncertainty("--wavelength-u", "nm", "Uncertainty of the mean.")
@click.option("--source", required=True, metavar="TEXT", help="Where the numbers come from.")
@NOTE
@REPLACE
@json_option
@gathered(record="fringe.archive.instrument_records.LampRecord")
def lamp(archive: Path, name: str, record: LampRecord, *, replace: bool, as_json: bool) -> None:
    """Write the record of a lamp that the shipped table does not have.

    \b
    Example:
      fringe instrument add lamp bench/ "filtered arc" --line 546.07:1:10 \\
        --wavelength-u 0.5nm --source "label of the filter"
    """
    _add(archive, name, record, replace=replace, as_json=as_json)


@command.command("list", short_help="List the records of an archive.")
@ARCHIVE
@json_option
def list_command(archive: Path, as_json: bool) -> None:
    """List the instruments on record.

    \b
    Example:
      fringe instrument list bench/
    """
    from datetime import date

    from fringe.archive.instruments import list_instruments
    from fringe.archive.plates.known import known_plates
    from fringe.show.text.instrument import list_rows

    found, today = list_instruments(archive), date.today()
    plates = known_plates(archive)
    answer(
        as_json,
        lambda: {
            "instruments": [one.record() for one in found],
            "plates": [one.to_json(today) for one in plates.values()],
        },
        lambda: list_rows(archive, found, plates, today),
    )


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
    from fringe.archive.plate_maps import latest_file
    from fringe.archive.plates.notes import plate_as_known
    from fringe.show.text.instrument import record_rows

    found = load_instrument(archive, kind, name)
    known = latest_file(archive, name) if kind == "plate" else None
    state = plate_as_known(archive, name) if kind == "plate" else None
    more = {} if known is None else {"map": known.to_json()}
    answer(as_json, lambda: {**found.record(), **more}, lambda: record_rows(found, known, state))


def _add(archive: Path, name: str, record: Record, *, replace: bool, as_json: bool) -> None:
    from fringe.archive.instrument_records import add_record
    from fringe.show.text.instrument import added_rows

    made = add_record(archive, name, record, replace=replace)
    answer(as_json, lambda: {**made.record(), "path": str(made.path)}, lambda: added_rows(made))
