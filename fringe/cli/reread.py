"""`fringe reread`: what today's code makes of the photographs that were logged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import json_option, print_json
from fringe.cli._workers import worker_options

if TYPE_CHECKING:
    from fringe.archive.views.reread import Change, Reread

UNITS = {
    "radius_difference_mm": "mm",
    "ring_step_px2": "px²",
    "power_fringes": "fringes",
    "irregularity_fringes": "fringes",
}
NAMES = {
    "radius_difference_mm": "radius difference",
    "ring_step_px2": "ring step",
    "power_fringes": "power",
    "irregularity_fringes": "irregularity",
}


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
    from fringe.cli._waiting import waiting

    found = find_surface(surface)
    with waiting("computing again", quiet=as_json):
        result = reread_surface(found, workers=workers, scheduler=scheduler)
    if as_json:
        print_json({"surface": found.name, **_json(result)})
        return
    click.echo("\n".join(_text(found.name, result)))
    for problem in result.problems:
        click.echo(f"fringe: {problem}", err=True)


def _json(result: Reread) -> dict[str, Any]:
    import dataclasses

    return {
        "sessions": result.sessions,
        "computed": result.computed,
        "changes": [dataclasses.asdict(change) for change in result.changes],
        "left_out": list(result.left_out),
        "problems": list(result.problems),
        "software": result.software,
    }


def _text(name: str, result: Reread) -> list[str]:
    readings = "1 reading" if result.computed == 1 else f"{result.computed} readings"
    sessions = "1 session" if result.sessions == 1 else f"{result.sessions} sessions"
    rows = [f"{name}: {readings} of {sessions} computed again by {result.software}"]
    if result.changes:
        rows.append("Changed by more than its uncertainty:")
        rows += [f"  {_change(change)}" for change in result.changes]
    elif result.computed:
        rows.append("Nothing changed by more than its uncertainty.")
    if result.left_out:
        rows.append("Left out:")
        rows += [f"  {line}" for line in result.left_out]
    return rows


def _change(change: Change) -> str:
    from fringe.format import plus_minus

    shown = []
    for value, u95 in ((change.before, change.u95_before), (change.now, change.u95_now)):
        if isinstance(value, float):
            signed = change.quantity != "ring_step_px2"
            shown.append(plus_minus(value, u95, UNITS[change.quantity], signed=signed))
        else:
            shown.append("none" if value is None else str(value))
    quantity = NAMES.get(change.quantity, change.quantity)
    return f"{change.session_id}, {change.source}: {quantity} {shown[0]} → {shown[1]}"
