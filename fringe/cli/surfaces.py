"""`fringe surfaces`: what an archive holds, how far each surface is, and when it was last seen."""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import (
    PATH,
    json_option,
)
from fringe.cli.printing import print_json, show, tell


@click.command("surfaces", short_help="List an archive's surfaces with their state.")
@click.argument("archive", type=PATH)
@click.option("--open", "still_open", is_flag=True, help="Only those not proven inside.")
@click.option("--next", "steps", is_flag=True, help="Say what to do next with each, too.")
@json_option
def command(archive: Path, still_open: bool, steps: bool, as_json: bool) -> None:
    """List an archive's surfaces: state, last visit, work so far; the latest visit first.

    The state is the verdict of the last visit that read or worked, by today's tolerance; after
    work that was not read yet it is open.

    \b
    Example:
      fringe surfaces shop
      fringe surfaces shop --open --next
    """
    from fringe.archive.views.surface_list import surface_list
    from fringe.cli._waiting import waiting
    from fringe.show.text.surfaces import surfaces_view

    with waiting("looking through the archive", quiet=as_json):
        found = surface_list(archive, still_open=still_open, steps=steps)
    if as_json:
        print_json(found.to_json())
        return
    show(lambda width: surfaces_view(found, width, steps=steps))
    tell(found.problems)
