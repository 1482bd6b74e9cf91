"""`fringe watch`: read each photograph that arrives in a folder."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    FORM,
    PATH,
    archive_option,
    gathered,
    json_option,
    length,
    photo_options,
    plate_turned_option,
)
from fringe.cli.printing import print_json

if TYPE_CHECKING:
    from fringe.archive.views.watching import Answered
    from fringe.orders.options import StatedOptions


@click.command("watch", short_help="Read each photograph that arrives in a folder.")
@click.argument("folder", type=PATH)
@click.option(
    "--surface", metavar="ARCHIVE/NAME", help="Read for this surface, and judge by its tolerance."
)
@click.option("--lamp", metavar="NAME", help="Lamp; without it the surface's usual one.")
@photo_options
@plate_turned_option
@archive_option
@length("--diameter", "Diameter, without a surface.")
@length("--plate-radius", "Of the plate, without a surface.")
@click.option("--work", type=FORM, help="Form of the work, without a surface.")
@click.option(
    "--still",
    type=click.FloatRange(0.0, 600.0),
    default=2.0,
    show_default=True,
    metavar="S",
    help="Seconds that a file must stand still to be whole.",
)
@click.option("--once", is_flag=True, help="Read the photographs that are there, then stop.")
@json_option
@gathered(stated="fringe.orders.options.StatedOptions")
def command(
    folder: Path,
    surface: str | None,
    stated: StatedOptions,
    archive: Path | None,
    still: float,
    once: bool,
    as_json: bool,
) -> None:
    """Read each photograph that arrives in a folder, and print its power large.

    For a tethered camera or a synced phone. Photographs that are there already are passed
    over, except with --once. One that is still being written is waited for; one that cannot
    be read is told, and the next is waited for. Nothing is logged. Ctrl-C ends it. With
    --json each photograph is one line with one object: `photo`, and `error` or the keys of
    `fringe read`.

    \b
    Example:
      fringe watch incoming --lamp sodium --diameter 150mm --once
    """
    from fringe.archive.views.watching import watched
    from fringe.cli._waiting import waiting

    reading = partial(waiting, quiet=as_json)
    answers = watched(folder, surface, stated, reading, still_s=still, once=once, archive=archive)
    count = 0
    try:
        if not once:
            click.echo(f"watching {folder}; Ctrl-C ends it", err=True)
        for one in answers:
            _show(one, as_json=as_json)
            count += 1
    except KeyboardInterrupt:
        click.echo("stopped watching", err=True)
        return
    if count == 0 and not as_json:
        click.echo(f"{folder}: no photograph is there (names that end in .jpg, .png or .tif)")


def _show(one: Answered, *, as_json: bool) -> None:
    """Print an answer so that it is read from across the room, or as a line of JSON."""
    if as_json:
        print_json(one.to_json())
        return
    from rich.console import Console

    from fringe.show.text.watch import answered_texts

    screen = Console(highlight=False)
    for text in answered_texts(one, screen):
        screen.print(text)
