"""One writer at a time: a surface's folder is held, and a sequence number claimed, by who writes.

A visit's number counts the visits before it, so it can only be settled while nobody else writes.
The lock is the system's own on the folder: it leaves no file, and goes with the process, however
that ends. Where a file system has none (some network shares), two writers at the same moment may
count alike; :mod:`fringe.archive.store.order` then gives the later one the next free number.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fringe.archive.store import layout
from fringe.errors import BadInput
from fringe.files import claim

try:
    import fcntl
except ImportError:  # Windows, which opens no folders either
    fcntl = None  # type: ignore[assignment]

PATIENCE_S = 120.0
_PAUSE_S = 0.01


@contextmanager
def held(folder: Path, *, patience_s: float = PATIENCE_S) -> Iterator[bool]:
    """Keep other writers out of a folder; yields False where the system has no such lock.

    Raises
    ------
    BadInput
        If the folder cannot be opened, or another writer holds it for longer than `patience_s`.
    """
    if fcntl is None:
        yield False
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be read: {error.strerror}") from error
    try:
        yield _locked(handle, folder, patience_s)
    finally:
        os.close(handle)


def _locked(handle: int, folder: Path, patience_s: float) -> bool:
    until = time.monotonic() + patience_s
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if time.monotonic() > until:
                raise BadInput(
                    f"{folder}: another program has been writing here for {patience_s:.0f} s; "
                    "nothing was kept; try again when it is done"
                ) from error
            time.sleep(_PAUSE_S)
        except OSError:  # no locks on this file system
            return False
        else:
            return True


def claim_sequence(folder: Path) -> tuple[int, Path]:
    """Take the next number, which no other writer gets even if it asks at the same time."""
    sequence = last_sequence(folder) + 1
    while True:
        partial = folder / f".{sequence:04d}.partial"
        if claim(partial):
            # whoever held this number until now has published it, and it shows by now
            if sequence not in published(folder):
                return sequence, partial
            partial.unlink(missing_ok=True)
        sequence += 1


def last_sequence(folder: Path) -> int:
    """The highest sequence number in use or claimed; zero where there is none."""
    return max(_used(folder), default=0)


def _used(folder: Path) -> set[int]:
    claims = {int(m[1]) for n in _names(folder) if (m := layout.CLAIM_FILE.match(n))}
    return claims | set(published(folder))


def published(folder: Path) -> dict[int, str]:
    """Map each sequence number in use to a session's identity."""
    found = {}
    for name in sorted(_names(folder)):
        match = layout.SESSION_FILE.match(name)
        if match:
            found[int(match[1])] = name.removesuffix(layout.SUFFIX)
    return found


def last_before(folder: Path, sequence: int) -> str | None:
    """Identity of the session with the highest sequence number below one."""
    there = published(folder)
    last = max((number for number in there if number < sequence), default=None)
    return None if last is None else there[last]


def _names(folder: Path) -> list[str]:
    try:
        return os.listdir(folder)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be read: {error.strerror}") from error
