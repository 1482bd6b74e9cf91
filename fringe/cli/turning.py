"""`fringe turning`: whose error is it, the work's or the plate's?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    PATH,
    gathered,
    json_option,
    length,
    picture_option,
    surface_reading_options,
)
from fringe.cli.printing import answer, write_picture

if TYPE_CHECKING:
    from fringe.archive.views.turning import TurningRequest, TurningTest
    from fringe.orders.options import StatedOptions


@click.command(
    "turning", short_help="Tell the work's error from the plate's by turning one of them."
)
@click.argument("photos", nargs=-1, required=True, type=PATH, metavar="PHOTO...")
@click.option(
    "--turned",
    multiple=True,
    metavar="DEG",
    help="By how much the work was turned, clockwise; once a PHOTO.",
)
@click.option(
    "--plate-turned",
    "plate_angles",
    multiple=True,
    metavar="DEG",
    help="The same of the plate, where that was turned.",
)
@click.option("--surface", metavar="ARCHIVE/NAME", help="Take plate, lamp and diameter from it.")
@surface_reading_options
@length("--diameter", "Of the aperture.")
@click.option("--keep", metavar="ARCHIVE/PLATE", help="Keep the plate's map with its record.")
@picture_option
@json_option
@gathered(
    request="fringe.archive.views.turning.TurningRequest",
    stated="fringe.orders.options.StatedOptions",
)
def command(
    photos: tuple[Path, ...],
    request: TurningRequest,
    stated: StatedOptions,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Tell the work's error from the plate's by turning one of them.

    One contact shows the sum of both forms. Turn the work on the plate, camera and plate as they
    are, and photograph it again: what turns with the work is the work's, what stays is the
    plate's. Two positions do, five steps of 72 degrees do better. What is rotationally symmetric,
    as zones and power, turns into itself: no turning tells it apart. Where the plate is easier to
    turn, leave the work and say --plate-turned.

    --keep keeps the plate's form: put a mark on its rim, and let it lie as in these photographs.
    It is kept as the plate lies at 0deg, and with --plate-turned 0deg `fringe log` and `fringe
    watch` then take it out of readings of any work on that plate.

    \b
    Example:
      fringe synth --out t0.png --power 2 --tilt 2 --astigmatism 0.4 --angle 0 --size 500 --seed 1
      fringe synth --out t90.png --power 2 --tilt 2 --astigmatism 0.4 --angle 90 --size 500 --seed 2
      fringe turning t0.png t90.png --turned 0deg --turned 90deg --lamp sodium
    """
    from fringe.archive.views.turning import turning_test
    from fringe.cli._waiting import waiting
    from fringe.show.text.turning import turning_rows

    with waiting("reading", quiet=as_json):
        test = turning_test(photos, request, stated)
        write_picture(picture, lambda: _drawn(test))
    answer(as_json, test.to_json, lambda: turning_rows(test, picture))


def _drawn(test: TurningTest) -> bytes:
    from fringe.show.pictures import turning_picture

    return turning_picture(test)
