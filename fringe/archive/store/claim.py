"""One writer at a time: a surface's folder is held, and a sequence number claimed, by who writes.

A visit's number counts the visits before it, so it can only be settled while nobody else writes.
The lock is the system's own on the folder: it leaves no file, and goes with the process, however
that ends. Where a file system has none (network shares), it is a file that only one writer can
make, on whichever machine; what a process of this machine left of it, it takes away itself. Where
that cannot be made either, or a share has locks that hold on one machine alone, two writers at the
same moment may count alike; :mod:`fringe.archive.store.order` gives the later one the next number.
"""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from fringe.archive.store import layout
from fringe.errors import BadInput
from fringe.files import PARTIAL, claim, fill

try:
    import fcntl
except ImportError:  # Windows, which opens no folders either
    fcntl = None  # type: ignore[assignment]

PATIENCE_S = 120.0
LOCK_FILE = f".writing{PARTIAL}"
_PAUSE_S = 0.01


@contextmanager
def held(folder: Path, *, patience_s: float = PATIENCE_S) -> Iterator[bool]:
    """Keep other writers out of a folder, or of a file; yields False where they cannot be.

    Raises
    ------
    BadInput
        If the folder cannot be opened, or another writer holds it for longer than `patience_s`.
    """
    if fcntl is None:
        with _held_by_file(folder, None, patience_s) as alone:
            yield alone
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be read: {error.strerror}") from error
    try:
        if _locked(handle, folder, patience_s):
            yield True
        else:
            with _held_by_file(folder, handle, patience_s) as alone:
                yield alone
    finally:
        os.close(handle)


def _locked(handle: int, folder: Path, patience_s: float) -> bool:
    until = time.monotonic() + patience_s
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if time.monotonic() > until:
                raise _busy(folder, patience_s) from error
            time.sleep(_PAUSE_S)
        except OSError:  # no locks on this file system
            return False
        else:
            return True


def _busy(folder: Path, patience_s: float, more: str = "") -> BadInput:
    return BadInput(
        f"{folder}: another program has been writing here for {patience_s:.0f} s; "
        f"nothing was kept; try again when it is done{more}"
    )


@contextmanager
def _held_by_file(folder: Path, handle: int | None, patience_s: float) -> Iterator[bool]:
    """The same by a file that one writer alone can make, which it takes away at the end."""
    of_folder = folder.is_dir()
    place = folder / LOCK_FILE if of_folder else folder.with_name(f".{folder.name}{PARTIAL}")
    until = time.monotonic() + patience_s
    try:
        while not claim(place):
            if _left_over(place):
                with suppress(OSError):
                    place.unlink()
            elif time.monotonic() > until:
                more = f"; if none is, remove {place.name} there, which {_owner(place)} left"
                raise _busy(folder, patience_s, more)
            else:
                time.sleep(_PAUSE_S)
        fill(place, f"{platform.node()} process {os.getpid()}\n".encode())
    except OSError:
        yield False
        return
    except BadInput as error:
        if isinstance(error.__cause__, OSError):  # nothing can be made there
            yield False
            return
        raise
    try:
        yield True
    finally:
        with suppress(OSError):
            if of_folder and handle is not None:  # which may have another name by now
                os.unlink(LOCK_FILE, dir_fd=handle)
            else:
                place.unlink()


def _owner(place: Path) -> str:
    try:
        return " ".join(place.read_text(errors="replace").split()) or "somebody"
    except OSError:
        return "somebody"


def _left_over(place: Path) -> bool:
    """Whether a process of this machine made a lock file, and ended without taking it away."""
    host, _, number = _owner(place).rpartition(" process ")
    if host != platform.node() or not number.isdecimal():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


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
