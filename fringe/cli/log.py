"""`fringe log`: one visit to the bench, written once and for good."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.asking import confirmed
from fringe.cli.params import (
    NUMBER,
    PATH,
    SAGITTAS,
    SIGNED_LENGTHS,
    gathered,
    gauge_options,
    json_option,
    length,
    note_options,
    plate_turned_option,
    quantity,
    surface_reading_options,
    typed_options,
    worker_options,
)
from fringe.cli.printing import answer, tell

if TYPE_CHECKING:
    from fringe.archive.views.visit_request import VisitRequest
    from fringe.orders.options import StatedOptions


@click.command("log", short_help="Log a visit to the bench: photographs, readings, remarks.")
@click.argument("surface")
@click.argument("photos", nargs=-1, type=PATH, metavar="[PHOTO]...")
@surface_reading_options
@plate_turned_option
@click.option(
    "--sense-after",
    type=PATH,
    metavar="PHOTO",
    help="A second PHOTO that tells where the contact is; it is kept, too.",
)
@click.option(
    "--change", metavar="WHAT", help="Done before it: pressed-centre, lower-eye, 'lamp NAME2'."
)
@click.option("--against", metavar="PIECE", help="Laid on this surface, not on the plate.")
@length("--aperture", "Of a plate smaller than the work.")
@click.option(
    "--place",
    type=SIGNED_LENGTHS,
    multiple=True,
    metavar="L,L",
    help="Where that plate lay: across, down from the work's centre; once for each PHOTO.",
)
@click.option("--burst", is_flag=True, help="The PHOTOs are frames of one contact: one reading.")
@click.option("--by-eye", metavar="TEXT", help='Fringes seen without a camera: "rings 3.5 centre".')
@click.option(
    "--spherometer", metavar="NAME", help="On record; else that of last time, or point feet."
)
@click.option(
    "--sag-plate",
    type=SAGITTAS,
    multiple=True,
    metavar="L,...",
    help="Spherometer readings on the plate.",
)
@click.option(
    "--sag-work",
    type=SAGITTAS,
    multiple=True,
    metavar="L,...",
    help="Spherometer readings on the work.",
)
@gauge_options
@click.option("--stage", metavar="NAME", help="Work since the last visit: '#400', 9um, polish.")
@click.option(
    "--stage-is",
    type=click.Choice(["grit", "polish"]),
    help="What a stage is that has a name of your own.",
)
@click.option(
    "--minutes",
    type=NUMBER,
    multiple=True,
    metavar="M",
    help="How long that work was; with --on-top once for each part of a split spell.",
)
@click.option(
    "--on-top",
    type=click.Choice(["work", "tool"]),
    multiple=True,
    help="Which was the upper piece.",
)
@click.option("--stroke", metavar="TEXT", help="Stroke of that work.")
@click.option("--lap", metavar="TEXT", help="Lap of that work.")
@click.option("--pressure", metavar="TEXT", help="Pressure of that work.")
@click.option("--slurry", metavar="TEXT", help="Slurry of that work.")
@length("--removed", "Glass it took off, by a gauge.")
@click.option(
    "--pits", type=click.Choice(["gone", "left"]), help="The last grit's pits, by a loupe."
)
@click.option(
    "--rested",
    "rested_minutes",
    type=NUMBER,
    metavar="M",
    help="Minutes since the lap when it was read; 0 straight from it.",
)
@quantity("--temperature", "c", "At the bench, degrees Celsius.", "C")
@note_options
@click.option("--replaces", metavar="N", help="Correct visit N, see `fringe progress`.")
@click.option("--strike", metavar="N", help="Take visit N out of every sum; --remark says why.")
@click.option("--move", metavar="N", help="Move visit N to the surface that --to names.")
@click.option("--to", "to_surface", metavar="NAME", help="Of the same archive, for --move.")
@click.option(
    "--newest",
    is_flag=False,
    flag_value="",
    metavar="[DIR]",
    help="The newest photograph of this folder; it is watched from then on.",
)
@click.option("--keep-refused", is_flag=True, help="Keep photographs that cannot be read, too.")
@click.option("--yes", is_flag=True, help="Log what is hardly meant without being asked.")
@worker_options
@json_option
@gathered(
    request="fringe.archive.views.visit_request.VisitRequest",
    stated="fringe.orders.options.StatedOptions",
)
def command(
    surface: str,
    photos: tuple[Path, ...],
    request: VisitRequest,
    stated: StatedOptions,
    as_json: bool,
) -> None:
    """Log a visit to the bench: photographs, readings, remarks.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Each PHOTO is read with the
    plate, diameter and lamp of the surface's record, and kept with its original bytes. If one
    of them cannot be read, nothing is written unless --keep-refused. A correction takes over
    what it does not say from the visit that it replaces, and keeps that visit's number; a new
    lamp, edge, sense or circle reads the kept photographs anew. Copies of the instruments'
    records are kept with what they measured.

    What is not said is as the last time: camera, spherometer, and with --minutes alone stage and
    piece on top; a surface without a plate lies on the piece that it lay on. `none` is no
    camera or spherometer. The time is that of the photograph where its camera noted it.

    \b
    Example:
      fringe log 'shop/concave 1' --newest incoming
      fringe log 'shop/concave 1' --stage '#400' --minutes 25 --on-top tool \\
        --sag-plate 808um,808um --sag-work 793um --zero 0um
      fringe log 'shop/concave 1' rings.jpg --stage polish --minutes 40 --on-top tool \\
        --rested 90
      fringe log 'shop/concave 1' --stage 9um --minutes 30 --on-top work \\
        --minutes 40 --on-top tool
      fringe log 'shop/concave 1' next.jpg
      fringe log 'shop/concave 1' small.jpg --aperture 80mm --place 30mm,0mm
      fringe log 'shop/concave 1' --replaces 3 --sense centre
      fringe log 'shop/concave 1' --strike 4 --remark 'another piece lay there'
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.views.changed_visits import log_or_change
    from fringe.cli._waiting import waiting
    from fringe.show.text.log import logged_rows

    found = find_surface(surface)
    request = replace(request, said=typed_options(stated))
    with waiting("reading", quiet=as_json or not (photos or request.replaces or request.move)):
        logged = confirmed(
            lambda yes: log_or_change(
                found, photos, replace(request, yes=yes or request.yes), stated
            )
        )
    answer(as_json, logged.to_json, lambda: logged_rows(logged))
    if not as_json:
        tell(logged.warnings)
