"""`fringe plate`: a plate's own visits, and what is known of it by them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.asking import confirmed
from fringe.cli.params import (
    PATH,
    SAGITTAS,
    gathered,
    gauge_options,
    json_option,
    length,
    note_options,
    photo_options,
    uncertainty,
)
from fringe.cli.printing import answer, tell

if TYPE_CHECKING:
    from fringe.archive.views.plate_request import PlateRequest
    from fringe.orders.options import StatedOptions

PLATE = click.argument("plate", metavar="ARCHIVE/NAME")


@click.group("plate", short_help="Keep visits of a plate, and what follows from them.")
def command() -> None:
    """Keep visits of a plate: certificates, spherometer, contacts with plates, turning tests.

    Radius and form with their uncertainty follow from all of them. `fringe instrument add plate`
    puts a plate on record; each visit to it is then kept as those to a surface are.

    \b
    Example:
      fringe instrument add plate shop P7 --form convex --diameter 160mm \\
        --radius "3048.60 +- 0.40 mm (k=2)" --certified 2025-03-14 --recalibrate "2 years"
      fringe instrument add plate shop P8 --form concave --diameter 160mm --radius 3049mm
      fringe instrument add spherometer shop "three balls" --foot-circle 140mm \\
        --ball 6.35mm --size-u 20um --ball-u 1um --reading-u 0.3um
      fringe plate log shop/P7 --spherometer "three balls" --sag 802.8um,802.9um --zero 0um
      fringe plate show shop/P7
    """


@command.command("log", short_help="Log a visit of a plate.")
@PLATE
@click.argument("photos", nargs=-1, type=PATH, metavar="[PHOTO]...")
@click.option("--spherometer", metavar="NAME", help="On record; its sizes tell the radius.")
@click.option(
    "--sag", type=SAGITTAS, multiple=True, metavar="L,...", help="Its readings on the plate."
)
@gauge_options
@click.option("--against", metavar="PLATE", help="Plate on record that it lay on in the PHOTOs.")
@length("--aperture", "Of a circle smaller than both.")
@click.option("--burst", is_flag=True, help="The PHOTOs are frames of one contact: one reading.")
@click.option("--by-eye", metavar="TEXT", help='Fringes seen without a camera: "rings 3.5 centre".')
@click.option(
    "--turned",
    multiple=True,
    metavar="DEG",
    help="Turning test: by how much the other piece was turned, clockwise; once a PHOTO.",
)
@click.option(
    "--plate-turned",
    "plate_angles",
    multiple=True,
    metavar="DEG",
    help="The same of this plate, where that was turned.",
)
@click.option("--lamp", metavar="NAME", help="Lamp of the PHOTOs.")
@photo_options
@length("--radius", "Of a new certificate.", certified=True)
@uncertainty("--radius-u", "mm", "Its standard uncertainty.")
@click.option("--certified", metavar="DATE", help="Date of that certificate, as 2026-03-14.")
@click.option("--issued-by", metavar="TEXT", help="Who issued it.")
@click.option("--recalibrate", metavar="TIME", help="When the next is due: '24 months'.")
@length("--plate-diameter", "Where its record lacks it.")
@note_options
@click.option("--replaces", metavar="N", help="Correct visit N, see `fringe plate show`.")
@click.option("--strike", metavar="N", help="Take visit N out of every sum; --remark says why.")
@click.option("--yes", is_flag=True, help="Log what is hardly meant without being asked.")
@json_option
@gathered(
    request="fringe.archive.views.plate_request.PlateRequest",
    stated="fringe.orders.options.StatedOptions",
)
def log(
    plate: str,
    photos: tuple[Path, ...],
    request: PlateRequest,
    stated: StatedOptions,
    as_json: bool,
) -> None:
    """Log a visit of a plate: spherometer, contact with another plate, turning test, certificate.

    What a spherometer reads is taken from its zero on a flat. Contact with another plate on record
    tells the difference of both radii, and so counts for both. A turning test tells the form: put
    a mark on the rim, and let the plate lie as in the first test. A later certificate of the same
    issuer supersedes the one before. A correction takes over what it does not say.

    \b
    Example:
      fringe plate log shop/P7 --spherometer "three balls" --sag 802.8um,802.9um --zero 0um
      fringe plate log shop/P7 contact.png --against P8 --lamp sodium --sense centre
      fringe plate log shop/P7 t0.png t90.png --turned 0deg --turned 90deg --lamp sodium \\
        --sense centre
      fringe plate log shop/P7 --radius "3048.60 +- 0.30 mm (k=2)" --certified 2025-09-14
      fringe plate log shop/P7 --strike 2 --remark "dust under a foot"
    """
    from fringe.archive.views.plate_visit import log_plate_visit
    from fringe.cli._waiting import waiting
    from fringe.show.text.plate import logged_rows

    with waiting("reading", quiet=as_json or not photos):
        logged = confirmed(
            lambda yes: log_plate_visit(
                plate, photos, replace(request, yes=yes or request.yes), stated
            )
        )
    answer(as_json, logged.to_json, lambda: logged_rows(logged))
    if not as_json:
        tell(logged.warnings)


@command.command("show", short_help="Show what is known of a plate, and from which visits.")
@PLATE
@json_option
def show(plate: str, as_json: bool) -> None:
    """Show a plate's radius and form, the evidence for them, and all its visits.

    \b
    Example:
      fringe plate show shop/P7
    """
    from datetime import date

    from fringe.archive.plates.known import plate_state
    from fringe.archive.plates.visits import find_plate
    from fringe.show.text.plate import plate_rows

    archive, record = find_plate(plate)
    state, today = plate_state(archive, record.name), date.today()
    answer(as_json, lambda: state.to_json(today), lambda: plate_rows(state, today))
    if not as_json:
        tell(state.problems)


@command.command("surfaces", short_help="List the surfaces that hang on a plate.")
@PLATE
@json_option
def surfaces(plate: str, as_json: bool) -> None:
    """List the surfaces that hang on a plate, and what its radius of now makes of their verdicts.

    Nothing is written: what was logged keeps the radius that it was judged with.

    \b
    Example:
      fringe plate surfaces shop/P7
    """
    from fringe.archive.views.plate_surfaces import hanging_on
    from fringe.show.text.plate import hanging_rows

    found = hanging_on(plate)
    answer(as_json, found.to_json, lambda: hanging_rows(found))
    if not as_json:
        tell(found.problems)


@command.command("adopt", short_help="Judge surfaces with the plate's radius of now.")
@PLATE
@click.argument("names", nargs=-1, metavar="[SURFACE]...")
@json_option
def adopt(plate: str, names: tuple[str, ...], as_json: bool) -> None:
    """Write the plate's radius of now into the records of the surfaces that hang on it.

    Each gets a new version of its record; those before stay, and so does what was logged. Without
    a SURFACE, all whose record has another radius get it.

    \b
    Example:
      fringe plate adopt shop/P7
    """
    from fringe.archive.views.plate_surfaces import adopt_by
    from fringe.show.text.plate import adopted_rows

    found = adopt_by(plate, names)
    answer(as_json, found.to_json, lambda: adopted_rows(found))
