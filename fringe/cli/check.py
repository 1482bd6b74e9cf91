"""`fringe check`: is every file of an archive as it was written?"""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import PATH, json_option
from fringe.cli.printing import answer

DAMAGED = 1  # exit status: the check was made, and found something


@click.command("check", short_help="Prove that an archive is as it was written.")
@click.argument("archive", type=PATH)
@click.option("--expect", metavar="DIGEST", help="A history that must still be contained.")
@click.option("--since-last", is_flag=True, help="Look only at what changed since it was proven.")
@click.option(
    "--moved-to",
    "elsewhere",
    multiple=True,
    type=PATH,
    metavar="DIR",
    help="Where an archive lies now that surfaces of this one moved to.",
)
@json_option
@click.pass_context
def command(
    context: click.Context,
    archive: Path,
    expect: str | None,
    since_last: bool,
    elsewhere: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Prove that an archive is as it was written.

    Every session and record is held against its digest, then its structure, its units and what
    it corrects, and against the archive's ledger. Of a damaged session it says what still
    reads. Nothing is changed; where all is sound, the ledger gets what it lacks. The exit status
    is 1 if there is any problem.

    The digest that is printed stands for the whole history. Written into the paper log, or sent
    to whoever gets the work, it proves later with --expect that nothing of that history was
    changed or taken away since.

    --since-last trusts what an earlier check proved of files whose size and times are as they
    were, and so goes on where one was interrupted. A byte that a disk lost by itself is found
    only without it. A surface that moved is looked for in the ledger of where it went.

    \b
    Example:
      fringe check shop
      fringe check shop --since-last
    """
    from fringe.archive.transfer.proof import prove_archive
    from fringe.cli._waiting import steps
    from fringe.show.text.check import proof_rows

    with steps("checking", quiet=as_json) as tell:
        proof = prove_archive(
            archive, expect, since_last=since_last, elsewhere=elsewhere, tell=tell
        )
    answer(as_json, proof.to_json, lambda: proof_rows(proof))
    context.exit(0 if proof.sound else DAMAGED)
