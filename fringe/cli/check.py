"""`fringe check`: is every file of an archive as it was written?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import json_option, print_json

if TYPE_CHECKING:
    from fringe.archive.transfer.check import Findings

DAMAGED = 1  # exit status: the check was made, and found something


@click.command("check", short_help="Prove that an archive is as it was written.")
@click.argument("archive", type=click.Path(path_type=Path))
@json_option
@click.pass_context
def command(context: click.Context, archive: Path, as_json: bool) -> None:
    """Prove that an archive is as it was written.

    Every session and record is held against its digest, then its structure, its units and what
    it corrects. Of a damaged session it says what still reads. Nothing is changed. The exit
    status is 1 if there is any problem.

    \b
    Example:
      fringe check shop
    """
    from fringe.archive.transfer.check import check_archive
    from fringe.archive.transfer.salvage import salvage
    from fringe.cli._waiting import waiting

    with waiting("checking", quiet=as_json):
        found = check_archive(archive)
        readable = salvage(found.damaged)
    if as_json:
        print_json(_json(found, readable))
    else:
        click.echo("\n".join(_text(archive, found, readable)))
    context.exit(DAMAGED if found.problems else 0)


def _json(found: Findings, readable: dict[Path, tuple[str, ...]]) -> dict[str, Any]:
    return {
        "checked": found.checked,
        "problems": list(found.problems),
        "damaged": [
            {"file": str(path), "still_reads": list(parts)} for path, parts in readable.items()
        ],
        "leftovers": [str(path) for path in found.leftovers],
        "unknown": [str(path) for path in found.unknown],
    }


def _text(archive: Path, found: Findings, readable: dict[Path, tuple[str, ...]]) -> list[str]:
    files = "1 file" if found.checked == 1 else f"{found.checked} files"
    state = "all as written" if not found.problems else f"{len(found.problems)} problems"
    if len(found.problems) == 1:
        state = "1 problem"
    rows = [f"{archive}: {files} checked, {state}"]
    for problem in found.problems:
        rows.append(f"  {problem}")
        path = next((p for p in readable if problem.startswith(f"{p}: ")), None)
        if path is not None:
            parts = "; ".join(readable[path]) or "nothing"
            rows.append(f"    still reads: {parts}")
    if found.leftovers:
        rows.append("Left behind by writers that were stopped, or being written now; no loss:")
        rows += [f"  {path}" for path in found.leftovers]
    if found.unknown:
        rows.append("Not the archive's:")
        rows += [f"  {path}" for path in found.unknown]
    return rows
