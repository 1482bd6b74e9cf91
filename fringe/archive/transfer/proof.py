"""The check of an archive: files checked, problems, and the parts that can still be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.transfer.check import Findings, check_archive
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


def prove_archive(archive: Path) -> ArchiveProof:
    """Hold every file of an archive against what was written, and look what damage left over.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    found = check_archive(archive)
    return ArchiveProof(archive, found, salvage(found.damaged))
