"""What a check found, and what no part of it vouches for."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fringe.archive.transfer.proved import Moved
from fringe.files import PARTIAL


@dataclass(frozen=True)
class Findings:
    """What a check found.

    Attributes
    ----------
    checked : int
        Files that were proven or found damaged.
    problems : tuple of str
        One line each; empty when all is as it was written.
    leftovers : tuple of Path
        Partial files: of writers that were killed, or that write just now.
    unknown : tuple of Path
        Files that are not the archive's.
    damaged : tuple of Path
        Sessions' files that are not as they were written.
    trusted : int
        Files among those checked that were proven before and have not changed since.
    digests : mapping of Path to str
        Of the files that are whole.
    moved : tuple of Moved
        Visits that came from other surfaces.
    """

    checked: int
    problems: tuple[str, ...] = ()
    leftovers: tuple[Path, ...] = ()
    unknown: tuple[Path, ...] = ()
    damaged: tuple[Path, ...] = ()
    trusted: int = 0
    digests: Mapping[Path, str] = field(default_factory=dict)
    moved: tuple[Moved, ...] = ()


def not_checked(folder: Path, error: OSError) -> str:
    """The line for what may not be looked into."""
    return f"{folder}: cannot be read: {error.strerror}; nothing in it was checked"


def other_files(folder: Path, known: set[Path]) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Partial files in a folder, and what else does not belong there."""
    paths = sorted(folder / name for name in os.listdir(folder))
    leftovers = tuple(p for p in paths if p.name.startswith(".") and p.name.endswith(PARTIAL))
    return leftovers, tuple(p for p in paths if p not in known and p not in leftovers)
