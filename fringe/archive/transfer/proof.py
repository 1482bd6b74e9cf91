"""The check of an archive: files checked, problems, and the parts that can still be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from fringe.archive.store.ledger import START
from fringe.archive.transfer.check import Tell, check_archive
from fringe.archive.transfer.findings import Findings
from fringe.archive.transfer.history import history_of, lacks
from fringe.archive.transfer.salvage import salvage
from fringe.archive.transfer.signing import SignedHistory, sign_history
from fringe.errors import BadInput
from fringe.signatures import AnySigningKey


@dataclass(frozen=True)
class ArchiveProof:
    """What a check of an archive found.

    Attributes
    ----------
    archive : Path
    findings : Findings
        What was checked, and what is wrong.
    readable : mapping
        File of each damaged session: the parts of it that still read.
    digest : str
        Stands for the whole history, see :mod:`fringe.archive.store.ledger`.
    left : tuple of str
        Surfaces that moved to another archive, by the ledger.
    signed : SignedHistory or None
        The history that was signed now, or whose signature was verified.
    """

    archive: Path
    findings: Findings
    readable: Mapping[Path, tuple[str, ...]]
    digest: str = ""
    left: tuple[str, ...] = ()
    signed: SignedHistory | None = None

    @property
    def sound(self) -> bool:
        """Whether all is as it was written."""
        return not self.findings.problems

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe check --json`."""
        found = self.findings
        return {
            "checked": found.checked,
            "trusted": found.trusted,
            "digest": self.digest,
            "left": list(self.left),
            "signed": self.signed and self.signed.to_json(),
            "problems": list(found.problems),
            "damaged": [
                {"file": str(path), "still_reads": list(parts)}
                for path, parts in self.readable.items()
            ],
            "leftovers": [str(path) for path in found.leftovers],
            "unknown": [str(path) for path in found.unknown],
        }


def prove_archive(
    archive: Path,
    expected: str | None = None,
    *,
    since_last: bool = False,
    elsewhere: Sequence[Path] = (),
    tell: Tell | None = None,
) -> ArchiveProof:
    """Hold every file of an archive against what was written, and look what damage left over.

    Parameters
    ----------
    archive : Path
    expected : str or None
        Digest of a history that must still be contained.
    since_last, elsewhere, tell
        As in :func:`fringe.archive.transfer.check.check_archive`.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    found = check_archive(archive, since_last=since_last, elsewhere=elsewhere, tell=tell)
    ledger = history_of(archive, sound=not found.problems)
    lacking = None if expected is None else lacks(ledger, expected, archive)
    if lacking is not None:
        found = replace(found, problems=(*found.problems, lacking))
    return ArchiveProof(archive, found, salvage(found.damaged), ledger.digest, tuple(ledger.left()))


def sign_proof(proof: ArchiveProof, key: AnySigningKey, folder: Path) -> ArchiveProof:
    """Sign the history of an archive that was found sound, now; the files go into a folder.

    Raises
    ------
    BadInput
        If the archive has no history yet, or the files cannot be written.
    """
    if proof.digest == START:
        raise BadInput(f"{proof.archive}: has no history to sign yet; log a visit first")
    now = datetime.now().astimezone()
    signed = sign_history(proof.archive, proof.digest, key, folder, now)
    return replace(proof, signed=signed)
