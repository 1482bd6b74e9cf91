"""`fringe check`: is every file of an archive as it was written?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import PATH, json_option
from fringe.cli.printing import answer
from fringe.cli.printing import tell as say
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.transfer.signing import SignedHistory
    from fringe.signatures import AnySigningKey

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
@click.option("--sign", "key", type=PATH, metavar="KEY", help="Sign the history by an SSH key.")
@click.option("--signed", type=PATH, metavar="FILE", help="A signed history to verify.")
@click.option("--by", type=PATH, metavar="PUBKEY", help="Public key of who signed it.")
@json_option
@click.pass_context
def command(
    context: click.Context,
    archive: Path,
    expect: str | None,
    since_last: bool,
    elsewhere: tuple[Path, ...],
    key: Path | None,
    signed: Path | None,
    by: Path | None,
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

    --sign KEY writes into this folder a text that names archive, digest and time, and its
    signature by an Ed25519 key of OpenSSH (.sig) or minisign (.minisig); only where all is sound.
    --signed FILE --by PUBKEY verifies both later: that the key signed this text, and that its
    history is still contained. Who holds the key signed it; when, the signature does not prove.

    \b
    Example:
      fringe check shop
      fringe check shop --since-last
    """
    from fringe.archive.transfer.proof import prove_archive, sign_proof
    from fringe.cli._waiting import steps
    from fringe.show.text.check import proof_rows

    if signed is not None and (expect is not None or key is not None):
        raise BadInput("--signed goes with neither --expect nor --sign; call the check for each")
    signing, history = _signing_key(key), _verified(signed, by)
    expect = history.digest if history else expect
    with steps("checking", quiet=as_json) as tell:
        proof = prove_archive(
            archive, expect, since_last=since_last, elsewhere=elsewhere, tell=tell
        )
    proof = replace(proof, signed=history)
    if signing is not None and proof.sound:
        proof = sign_proof(proof, signing, Path())
    answer(as_json, proof.to_json, lambda: proof_rows(proof))
    if signing is not None and not (proof.sound or as_json):
        say(["nothing was signed: a history is signed only where all is as it was written"])
    context.exit(0 if proof.sound else DAMAGED)


def _signing_key(key: Path | None) -> AnySigningKey | None:
    """The key to sign with; None where nothing is to be signed."""
    if key is None:
        return None
    from fringe.cli.asking import passphrase
    from fringe.signatures import load_signing_key

    return load_signing_key(key, passphrase)


def _verified(signed: Path | None, by: Path | None) -> SignedHistory | None:
    """The signed history that was asked for, verified; None where none was."""
    if signed is None and by is None:
        return None
    if signed is None or by is None:
        raise BadInput("--signed and --by belong together: a signed history, and the signer's key")
    from fringe.archive.transfer.signing import signed_history
    from fringe.signatures import load_public_key

    return signed_history(signed, load_public_key(by))
