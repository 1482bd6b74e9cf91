"""The proof of an archive: what was checked, what is wrong, and what still reads of that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.transfer.check import Findings, check_archive
from fringe.archive.transfer.salvage import salvage


@dataclass(frozen=True)
class Proof:
    """What a check of an archive found.

    Attributes
    ----------
    archive : Path
    findings : Findings
        What was checked, and what is wrong.
    readable : mapping
        File of each damaged session: the parts of it that still read.
    """

    archive: Path
    findings: Findings
    readable: Mapping[Path, tuple[str, ...]]

    @property
    def sound(self) -> bool:
        """Whether all is as it was written."""
        return not self.findings.problems

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe check --json`."""
        found = self.findings
        return {
            "checked": found.checked,
            "problems": list(found.problems),
            "damaged": [
                {"file": str(path), "still_reads": list(parts)}
                for path, parts in self.readable.items()
            ],
            "leftovers": [str(path) for path in found.leftovers],
            "unknown": [str(path) for path in found.unknown],
        }


def prove_archive(archive: Path) -> Proof:
    """Hold every file of an archive against what was written, and look what damage left over.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    found = check_archive(archive)
    return Proof(archive, found, salvage(found.damaged))
