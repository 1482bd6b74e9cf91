"""`fringe settle`: where the power of a piece ends that comes to temperature, and when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    NUMBER,
    PATH,
    archive_option,
    gathered,
    json_option,
    length,
    picture_option,
    quantity,
    surface_reading_options,
)
from fringe.cli.printing import answer, write_picture

if TYPE_CHECKING:
    from fringe.archive.views.settling import SettleRequest
    from fringe.orders.options import StatedOptions


@click.command("settle", short_help="Tell from photographs whether the glass has settled.")
@click.argument("photos", nargs=-1, type=PATH, metavar="PHOTO...")
@click.option("--surface", metavar="ARCHIVE/NAME", help="Take plate, lamp and limits from it.")
@surface_reading_options
@archive_option
@length("--diameter", "Of the aperture.")
@click.option(
    "--by-eye",
    multiple=True,
    metavar="TEXT",
    help='Seen without a camera, once for each time: "rings 3.5 centre".',
)
@click.option(
    "--times", metavar="M,M,...", help="Minutes of each reading; else by the camera's clock."
)
@quantity("--tolerance-power", "fringes", "Power allowed, fringes.")
@click.option(
    "--share",
    type=NUMBER,
    default="0.1",
    show_default=True,
    metavar="S",
    help="Share of the tolerance that a drift may still move.",
)
@click.option(
    "--glass", metavar="NAME", help="Glass of the piece that was handled, as borosilicate."
)
@length("--thickness", "Thickness of that piece.")
@quantity("--difference", "k", "Temperature difference it started with.", "K")
@picture_option
@json_option
@gathered(
    request="fringe.archive.views.settling.SettleRequest",
    stated="fringe.orders.options.StatedOptions",
)
def command(
    photos: tuple[Path, ...],
    request: SettleRequest,
    stated: StatedOptions,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Tell from photographs over some minutes whether the glass has settled.

    Give three photographs or more of one contact, or a folder of them: the power is fitted by
    a settling curve, and its end is foretold with a 95 % interval. With a tolerance: how long
    still to wait until the change that is left falls under a share of it. The times are those
    that the camera noted, else the files', unless --times says them. With glass and thickness
    of the piece, its drift is held against what temperature can do to it.

    Without a camera: three times or more what you see, each with --by-eye as in `fringe read`,
    and the minutes of each with --times.

    \b
    Example:
      fringe settle t00.png t20.png t40.png --lamp sodium --times 0,20,40 --tolerance-power 2
      fringe settle t00.png t20.png t40.png --lamp sodium --times 0,20,40 --diameter 150mm \\
        --glass borosilicate --thickness 25mm
      fringe settle --by-eye "rings 6.5 edge" --by-eye "rings 4.5 edge" \\
        --by-eye "rings 3.8 edge" --times 0,20,40 --lamp sodium
    """
    from fringe.archive.views.settling import settle_series
    from fringe.cli._waiting import waiting
    from fringe.show.pictures import settling_picture
    from fringe.show.text.settle import settling_rows

    with waiting("reading", quiet=as_json or not photos):
        series = settle_series(photos, request, stated)
    write_picture(picture, lambda: settling_picture(series))
    answer(as_json, series.to_json, lambda: settling_rows(series, picture))
