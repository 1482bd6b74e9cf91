"""`fringe reread`: what today's code makes of the photographs that were logged."""

from __future__ import annotations

import click

from fringe.cli.params import json_option, worker_options
from fringe.cli.printing import answer, tell


@click.command("reread", short_help="Compute logged sessions again and list what changed.")
@click.argument("surface")
@worker_options
@json_option
def command(surface: str, workers: int | None, scheduler: str | None, as_json: bool) -> None:
    """Compute logged sessions again and list what changed.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Every session is computed
    from the photographs and readings that it keeps, with the options that it was logged with.
    Listed is what changed by more than its uncertainty. Nothing is rewritten: where the new
    figure is the better one, log a correction.

    \b
    Example:
      fringe reread 'shop/concave 1'
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.views.reread import reread_surface
    from fringe.cli._waiting import steps
    from fringe.show.text.reread import reread_rows

    found = find_surface(surface)
    with steps("computing again", quiet=as_json) as done:
        result = reread_surface(found, workers=workers, scheduler=scheduler, tell=done)
    answer(
        as_json,
        lambda: {"surface": found.name, **result.to_json()},
        lambda: reread_rows(found.name, result),
    )
    if not as_json:
        tell(result.problems)
