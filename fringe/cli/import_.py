"""`fringe import`: a surface back into an archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli._options import json_option, print_json

if TYPE_CHECKING:
    from fringe.archive.transfer.imports import Imported


@click.command("import", short_help="Bring an exported surface back into an archive.")
@click.argument("source", type=click.Path(path_type=Path))
@click.argument("target")
@json_option
def command(source: Path, target: str, as_json: bool) -> None:
    """Bring an exported surface back into an archive.

    SOURCE is a file or folder that `fringe export` wrote, or a surface's own folder; TARGET is
    the archive. Every session is proven first; nothing that is there is changed, and what is
    there already is passed over. A table (.csv) goes to a surface, ARCHIVE/NAME, that is there;
    its visits are logged as new ones, without photographs. Of its columns only `when` is
    needed, so that older records can be brought in, too.

    \b
    Example:
      fringe import concave-1.nc other-shop
    """
    from fringe.cli._waiting import waiting

    with waiting("importing", quiet=as_json):
        done = _imported(source, target)
    name = done.surface.name
    if as_json:
        print_json(
            {
                "surface": name,
                "folder": str(done.surface.folder),
                "new": done.new,
                "added": done.added,
                "present": done.present,
                "problems": list(done.problems),
            }
        )
        return
    added = "1 session" if done.added == 1 else f"{done.added} sessions"
    there = f", {done.present} were there already" if done.present else ""
    click.echo(f"{name}: {added} added{there}")
    for problem in done.problems:
        click.echo(f"fringe: {problem}", err=True)


def _imported(source: Path, target: str) -> Imported:
    from fringe.archive.transfer.imports import import_surface, import_table

    if source.suffix.lower() == ".csv":
        from fringe.archive.store.surface import find_surface

        return import_table(source, find_surface(target))
    return import_surface(source, Path(target))
