"""`fringe plan`: visits, hours and days that surfaces still take."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import PositiveNumber, gathered, json_option, picture_option
from fringe.cli.printing import print_json, show, write_picture

if TYPE_CHECKING:
    from fringe.archive.views.planning import PlanRequest


@click.command("plan", short_help="Foretell the visits, hours and days still to go.")
@click.argument("surfaces", nargs=-1, required=True, metavar="SURFACE...")
@click.option(
    "--minutes",
    type=PositiveNumber(),
    metavar="M",
    help="What if the next spell lasts so long.",
)
@click.option(
    "--hours",
    default="9:00-17:00",
    show_default=True,
    metavar="FROM-TO",
    help="When there is somebody at the bench.",
)
@click.option("--start", metavar="TIME", help="When to begin, as 2026-03-14T09:30; else now.")
@click.option(
    "--reading-minutes",
    type=PositiveNumber(),
    default=10.0,
    show_default=True,
    metavar="M",
    help="That a reading takes, cleaning included.",
)
@click.option("--pair", is_flag=True, help="Lay the two on each other at the end.")
@click.option("--alone", is_flag=True, help="Learn nothing from the archive's other surfaces.")
@picture_option
@json_option
@gathered(request="fringe.archive.views.planning.PlanRequest")
def command(
    surfaces: tuple[str, ...], request: PlanRequest, picture: Path | None, as_json: bool
) -> None:
    """Foretell the visits, hours and days that surfaces still take.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder; several share one pair of
    hands, and while one rests another is worked. Ranges hold in 90 of 100 cases, as far as the
    work goes on as it did, each next step is followed, and irregularity comes with power.

    \b
    Example:
      fringe plan 'shop/concave 1'
      fringe plan 'shop/concave 1' --minutes 60 --hours 18:00-22:00
    """
    from fringe.archive.views.planning import planned_surfaces
    from fringe.cli._waiting import waiting
    from fringe.show.pictures import plan_picture
    from fringe.show.text.plan import plan_view

    with waiting("living it through", quiet=as_json):
        found = planned_surfaces(surfaces, request)
        write_picture(picture, lambda: plan_picture(found))
    if as_json:
        print_json({**found.to_json(), "picture": None if picture is None else str(picture)})
        return
    show(lambda width: plan_view(found, width))
    if picture is not None:
        click.echo(f"Picture: {picture}")
