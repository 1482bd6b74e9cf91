"""`fringe check`: is every file of an archive as it was written?"""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import PATH, json_option
from fringe.cli.printing import answer

DAMAGED = 1  # exit status: the check was made, and found something


@click.command("check", short_help="Prove that an archive is as it was written.")
@click.argument("archive", type=PATH)
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
    from fringe.archive.transfer.proof import prove_archive
    from fringe.cli._waiting import waiting
    from fringe.show.text.check import proof_rows

    with waiting("checking", quiet=as_json):
        proof = prove_archive(archive)
    answer(as_json, proof.to_json, lambda: proof_rows(proof))
    context.exit(0 if proof.sound else DAMAGED)
