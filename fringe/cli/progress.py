"""`fringe progress`: the visits to a surface, what they prove, and what to do next."""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import (
    PositiveNumber,
    json_option,
    picture_option,
)
from fringe.cli.printing import print_json, show, tell, write_picture


@click.command("progress", short_help="Show a surface's visits, verdicts and next step.")
@click.argument("surface")
@picture_option
@click.option("--alone", is_flag=True, help="Learn nothing from the archive's other surfaces.")
@click.option(
    "--pit-factor",
    type=PositiveNumber(),
    metavar="F",
    help="Depth of a grit's pits over its grains; else 3.",
)
@json_option
def command(
    surface: str, picture: Path | None, alone: bool, pit_factor: float | None, as_json: bool
) -> None:
    """Show a surface's visits, verdicts and next step.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. All visits are judged by the
    tolerance of today's record. A visit that was corrected is passed over. How fast each kind
    of work moves the surface is learned from its own visits, and from those of like surfaces
    of the archive; forecasts hold in 90 of 100 cases.

    \b
    Example:
      fringe progress 'shop/concave 1'
      fringe progress 'shop/concave 1' --picture progress.png
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.views.surface_state import surface_state
    from fringe.cli._waiting import waiting
    from fringe.show.pictures import course_picture
    from fringe.show.text.progress import progress_view

    found = find_surface(surface)
    with waiting("judging the visits", quiet=as_json):
        state = surface_state(found, alone=alone, pit_factor=pit_factor)
        write_picture(picture, lambda: course_picture(state))
    if as_json:
        print_json({**state.to_json(), "picture": None if picture is None else str(picture)})
        return
    show(lambda width: progress_view(state, width))
    if picture is not None:
        click.echo(f"Picture: {picture}")
    tell(state.problems)
