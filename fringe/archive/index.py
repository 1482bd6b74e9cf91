"""The list of an archive's surfaces, without opening every file: `index.json`.

The index says nothing that the files do not say better. Beside each surface's entry it keeps a
stamp of the folder: names, sizes and times of all files in it. An entry counts only while its
stamp fits; any other is worked out again from the files. So it may be deleted, lost, damaged
or out of date, and the list is right all the same.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fringe.archive import _layout as layout
from fringe.archive._atomic import PARTIAL, claim, fill, publish, random_suffix
from fringe.archive.surface import Surface, is_record, load_surface, surface_from_values
from fringe.errors import BadInput

INDEX = "index.json"
SCHEMA = "fringe index"
SCHEMA_VERSION = 1
_MAX_BYTES = 200_000_000
# A file that is written twice within one tick of the disk's clock looks the same: what changed
# this shortly before it was read is not relied on.
_SETTLED_NS = 2_000_000_000
_HERE = "\0"  # stands for the surface's folder in stored messages


@dataclass(frozen=True)
class Entry:
    """What the list says of one surface.

    Attributes
    ----------
    folder : Path
        Where it lies.
    surface : Surface or None
        Its record; None if it cannot be read.
    visits : int
        Visits that count: a correction and what it corrects are one.
    sessions : int
        Session files that can be read.
    last_visit : datetime or None
        Time of the last visit.
    last_stage : str or None
        Work that was done before the last visit.
    problems : tuple of str
        One line each.
    """

    folder: Path
    surface: Surface | None
    visits: int = 0
    sessions: int = 0
    last_visit: datetime | None = None
    last_stage: str | None = None
    problems: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the entry as the index stores it."""
        return {
            "record": None if self.surface is None else self.surface.to_json(),
            "visits": self.visits,
            "sessions": self.sessions,
            "last_visit": None if self.last_visit is None else self.last_visit.isoformat(),
            "last_stage": self.last_stage,
            "problems": [line.replace(str(self.folder), _HERE) for line in self.problems],
        }


@dataclass(frozen=True)
class Listing:
    """All surfaces of an archive.

    Attributes
    ----------
    entries : tuple of Entry
        In the order of their folders' names.
    read : int
        How many of them had to be worked out from their files.
    """

    entries: tuple[Entry, ...]
    read: int


def list_archive(archive: Path, *, now_ns: int | None = None) -> Listing:
    """List an archive's surfaces from its index, and bring the index up to date.

    Where the index cannot be written, on a read-only disk for example, the list is right all
    the same and only takes longer.

    Parameters
    ----------
    archive : Path
        The archive's folder.
    now_ns : int or None
        What the clock shows, in nanoseconds since 1970; None asks it.

    Raises
    ------
    BadInput
        If the archive is not a folder.
    """
    now = time.time_ns() if now_ns is None else now_ns
    stored = stored_entries(archive)
    kept: dict[str, Any] = {}
    entries, read = [], 0
    for folder, stamp, newest_ns in _stamped(archive):
        values = stored.get(folder.name, {})
        entry = _entry(folder, values) if values.get("stamp") == stamp else None
        if entry is None:
            entry = entry_of(folder)
            values = {"stamp": stamp, **entry.to_json()}
            read += 1
        if newest_ns + _SETTLED_NS < now:
            kept[folder.name] = values
        entries.append(entry)
    if kept != stored:
        _store(archive, kept)
    return Listing(tuple(entries), read)


def entry_of(folder: Path) -> Entry:
    """Work a surface's entry out from its files."""
    from fringe.archive.order import survey

    surface, problems = None, []
    try:
        surface = load_surface(folder)
    except BadInput as error:
        problems.append(str(error))
    try:
        found = survey(folder)
    except BadInput as error:
        return Entry(folder, surface, problems=(*problems, str(error)))
    last = found.sessions[-1] if found.sessions else None
    return Entry(
        folder=folder,
        surface=surface,
        visits=len(found.sessions),
        sessions=len(found.all_sessions),
        last_visit=None if last is None else last.when,
        last_stage=None if last is None else last.work.stage,
        problems=(*problems, *found.problems),
    )


def index_problems(archive: Path) -> list[str]:
    """Compare what the index relies on with the files themselves; one line a contradiction."""
    stored = stored_entries(archive)
    problems = []
    for folder, stamp, _ in _stamped(archive):
        values = stored.get(folder.name, {})
        if values.get("stamp") == stamp and _entry(folder, values) != entry_of(folder):
            problems.append(
                f"{archive / INDEX}: it does not say what the files of {folder.name} say; remove it"
            )
    return problems


def stored_entries(archive: Path) -> dict[str, dict[str, Any]]:
    """Read the index as it stands; empty if there is none, it is not whole, or not ours."""
    path, start = archive / INDEX, _start()
    try:
        if not path.is_file() or path.stat().st_size > _MAX_BYTES:
            return {}
        data = path.read_bytes()
        digest, rest = data[len(start) : len(start) + 64], data[len(start) + 64 :]
        if not data.startswith(start) or digest != _digest(rest):
            return {}
        surfaces = json.loads(data)["surfaces"]
    except (OSError, ValueError, KeyError, RecursionError, MemoryError):
        return {}
    return surfaces if isinstance(surfaces, dict) else {}


def _start() -> bytes:
    """Beginning of the index that this program relies on, up to the digest of what follows.

    Another version may understand more of the files, so that it makes its own.
    """
    software = json.dumps(f"fringe {version('fringe')}")
    return (
        f'{{"schema":"{SCHEMA}","schema_version":{SCHEMA_VERSION},"software":{software},'
        f'"session_schema_version":{layout.SCHEMA_VERSION},"sha256":"'
    ).encode()


def _digest(data: bytes) -> bytes:
    return hashlib.sha256(data).hexdigest().encode()


def _store(archive: Path, surfaces: dict[str, Any]) -> None:
    text = json.dumps(surfaces, separators=(",", ":"))
    rest = f'","surfaces":{text}}}\n'.encode()
    partial = archive / f".index.{random_suffix()}{PARTIAL}"
    try:
        claim(partial)
        fill(partial, _start(), _digest(rest), rest)
        publish(partial, archive / INDEX)
    except BadInput:  # a list must not fail because it could not be made quicker
        partial.unlink(missing_ok=True)


def _stamped(archive: Path) -> Iterable[tuple[Path, str, int]]:
    """Each surface's folder, the stamp of its files, and when the newest of them changed."""
    if not archive.is_dir():
        raise BadInput(f"{archive}: there is no such archive; `fringe surface add` makes one")
    with os.scandir(archive) as found:
        names = sorted(e.name for e in found if not e.name.startswith(".") and e.is_dir())
    for name in names:
        stamp = _stamp(archive / name)
        if stamp is not None:
            yield archive / name, *stamp


def _stamp(folder: Path) -> tuple[str, int] | None:
    """Digest of names, sizes and times in a folder, and the newest time; None if no surface."""
    try:
        with os.scandir(folder) as found:
            files = [(e.name, e.stat(follow_symlinks=False)) for e in found]
    except OSError:
        return None
    if not any(is_record(name) for name, _ in files):
        return None
    sha = hashlib.sha256()
    for name, state in sorted(files):
        facts = (state.st_mode, state.st_size, state.st_mtime_ns, state.st_ctime_ns)
        sha.update(os.fsencode(name) + f"/{facts}\n".encode())
    newest = max(max(state.st_mtime_ns, state.st_ctime_ns) for _, state in files)
    return sha.hexdigest(), newest


def _entry(folder: Path, values: dict[str, Any]) -> Entry | None:
    """A stored entry; None if it makes no sense."""
    try:
        record, last = values["record"], values["last_visit"]
        return Entry(
            folder=folder,
            surface=None if record is None else surface_from_values(record, folder),
            visits=int(values["visits"]),
            sessions=int(values["sessions"]),
            last_visit=None if last is None else datetime.fromisoformat(last),
            last_stage=values["last_stage"],
            problems=tuple(str(line).replace(_HERE, str(folder)) for line in values["problems"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError, BadInput):
        return None
