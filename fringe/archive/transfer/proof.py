"""The check of an archive: files checked, problems, and the parts that can still be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.transfer.check import Findings, Tell, check_archive
from fringe.archive.transfer.history import history_of, lacks
from fringe.archive.transfer.salvage import salvage


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
    """

    archive: Path
    findings: Findings
    readable: Mapping[Path, tuple[str, ...]]
    digest: str = ""
    left: tuple[str, ...] = ()

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
