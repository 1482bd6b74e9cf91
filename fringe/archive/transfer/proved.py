"""What a check proved, kept in the archive's index, for a check of what changed since.

`.index/NAME.proved` has the stamp of a surface's folder and, of each file that was proven whole,
its size and times and its digest. It vouches for a file only while these are as they were, and
for a surface only while those of all its files are. A byte that a disk loses without changing
them is found by a full check alone, which believes nothing here.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from fringe.archive.store.index import stamp_if_readable
from fringe.archive.store.kept_file import keep, kept_rest
from fringe.archive.store.kept_summaries import FOLDER, State, settled, state_of

SUFFIX = ".proved"
# Raised by hand when a check looks at more than before: what was proven then is proven anew.
VERSION = 1
_MAX_BYTES = 100_000_000


@dataclass(frozen=True)
class Moved:
    """A visit that came from another surface, which must not have it any more.

    Attributes
    ----------
    place : str
        Path of the session.
    origin : str
        Name of the surface that it came from.
    session_id : str
        First session of the visit there.
    """

    place: str
    origin: str
    session_id: str


@dataclass(frozen=True)
class Proved:
    """What was proven of a surface.

    Attributes
    ----------
    stamp : str
        Of its folder, when nothing at all was wrong with it; empty otherwise.
    files : dict
        Of each file that is whole, by its name: size and times, and its digest.
    moved : tuple of Moved
        Visits that came from other surfaces.
    """

    stamp: str = ""
    files: dict[str, tuple[State, str]] = field(default_factory=dict)
    moved: tuple[Moved, ...] = ()

    def digest_of(self, path: Path) -> str | None:
        """Digest of a file that was proven and has not changed since; None of any other."""
        known = self.files.get(path.name)
        if known is None:
            return None
        try:
            return known[1] if state_of(path.lstat()) == known[0] else None
        except OSError:
            return None

    def all_of(self, folder: Path) -> bool:
        """Whether nothing of the surface has changed since all of it was proven."""
        stamp = stamp_if_readable(folder)
        return stamp is not None and stamp.digest == self.stamp


def proved_before(folder: Path) -> Proved:
    """What is kept of a surface; nothing where that is not whole, or of another version."""
    rest = kept_rest(_place(folder), _first, _MAX_BYTES)
    if rest is None:
        return Proved()
    try:
        values = json.loads(rest)
        files = {name: (state, digest) for name, (state, digest) in values["files"].items()}
        moved = tuple(Moved(str(folder / name), *more) for name, *more in values["moved"])
        return Proved(values["stamp"], files, moved)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Proved()


def states_now(paths: Iterable[Path]) -> dict[Path, State]:
    """Sizes and times of files that do not change just now, before they are read."""
    states = {}
    for path in paths:
        with contextlib.suppress(OSError):
            found = path.lstat()
            if settled(found):
                states[path] = state_of(found)
    return states


def keep_proved(folder: Path, proved: Proved) -> None:
    """Keep what was proven of a surface; where that cannot be, the next check takes longer."""
    values = {
        "stamp": proved.stamp,
        "files": proved.files,
        "moved": [(Path(one.place).name, one.origin, one.session_id) for one in proved.moved],
    }
    rest = json.dumps(values, separators=(",", ":")).encode()
    keep(_place(folder), _first, rest)


def _place(folder: Path) -> Path:
    return folder.parent / FOLDER / (folder.name + SUFFIX)


def _first(digest: str) -> bytes:
    return json.dumps({"schema": "fringe proved", "version": VERSION, "sha256": digest}).encode()
