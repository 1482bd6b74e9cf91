"""`fringe import`: a surface back into an archive."""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import PATH, json_option
from fringe.cli.printing import answer, tell


@click.command("import", short_help="Bring an exported surface back into an archive.")
@click.argument("source", type=PATH)
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
    from fringe.archive.transfer.imports import import_into
    from fringe.cli._waiting import steps
    from fringe.show.text.transfer import imported_rows

    with steps("importing", quiet=as_json) as tell_done:
        done = import_into(source, target, tell_done)
    answer(as_json, done.to_json, lambda: imported_rows(done))
    if not as_json:
        tell(done.problems)
