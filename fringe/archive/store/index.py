"""The list of an archive's surfaces, without opening every file: the folder `.index`.

It holds one file a surface, and says nothing that the surface's own files do not say better.
With each entry stands a stamp of the surface's folder: names, sizes and times of all files in
it. An entry counts only while its stamp fits; any other is worked out again from the files. So
the folder may be deleted, lost, damaged or out of date, and every list is right all the same.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import heapq
import json
import os
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fringe.archive.store import layout
from fringe.archive.store.moves import finish_moves
from fringe.archive.store.surface import Surface, is_record, load_surface, surface_from_values
from fringe.errors import BadInput
from fringe.files import write_whole
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured, measured_from_values
from fringe.optics.feature import FormFeature

FOLDER = ".index"
SCHEMA = "fringe index"
# 2: what was measured counts the plate's form; 3: photographs' digests, names of the form
SCHEMA_VERSION = 3
_SUFFIX = ".json"
_MAX_BYTES = 20_000_000
# A file that is written twice within one tick of the disk's clock looks the same: what changed
# this shortly before it was read is not relied on.
_SETTLED_NS = 2_000_000_000
_HERE = "\0"  # stands for the surface's folder in stored messages


@dataclass(frozen=True)
class Entry:
    """What the list knows of one surface.

    Attributes
    ----------
    folder : Path
        Where it lies.
    surface : Surface or None
        Its record; None if it cannot be read.
    visits : tuple of VisitRecord
        The visits that count, in their order: a correction and what it corrects are one.
    sessions : int
        Session files that can be read.
    problems : tuple of str
        One line each.
    photographs : tuple of (str, int)
        Digest of each photograph of the visits that count, and the number of its visit.
    """

    folder: Path
    surface: Surface | None
    visits: tuple[VisitRecord, ...] = ()
    sessions: int = 0
    problems: tuple[str, ...] = ()
    photographs: tuple[tuple[str, int], ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return the entry as the index stores it."""
        visits = [dataclasses.asdict(v) | {"when": v.when.isoformat()} for v in self.visits]
        return {
            "record": None if self.surface is None else self.surface.to_json(),
            "visits": visits,
            "sessions": self.sessions,
            "problems": [line.replace(str(self.folder), _HERE) for line in self.problems],
            "photographs": [list(one) for one in self.photographs],
        }

    def listed_json(self) -> dict[str, object]:
        """Return the surface's keys in `fringe surface list --json`."""
        assert self.surface is not None
        last = self.visits[-1] if self.visits else None
        return {
            **self.surface.to_json_with_folder(),
            "visits": len(self.visits),
            "last_visit": None if last is None else last.when.isoformat(),
            "last_stage": None if last is None else last.work.stage,
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


@dataclass(frozen=True)
class _Stamp:
    """Names, sizes and times in a folder as a digest, and the newest of those times."""

    digest: str
    newest_ns: int


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
    entries, read = [], 0
    finish_moves(archive)
    for folder in _folders(archive):
        found = _looked_up(folder, now_ns)
        if found is not None:
            entries.append(found[0])
            read += found[1]
    known = {entry.folder.name + _SUFFIX for entry in entries}
    for path in _stored(archive):
        if path.name not in known:
            _remove(path)
    return Listing(tuple(entries), read)


def indexed_visits(folder: Path) -> tuple[VisitRecord, ...]:
    """Visits of a surface that count, from the index where that fits the files.

    Raises
    ------
    BadInput
        If the folder is not a surface.
    """
    found = _looked_up(folder, None)
    if found is None:
        raise BadInput(f"{folder}: this folder is not a surface")
    return found[0].visits


def own_entry(folder: Path) -> Entry | None:
    """A surface's entry, worked out where none is kept; None for a folder that is no surface."""
    found = _looked_up(folder, None)
    return None if found is None else found[0]


def other_entries(folder: Path, most: int) -> Iterator[Entry]:
    """Entries of the other surfaces of an archive, where they are kept and still fit.

    Nothing is worked out, and only so many surfaces are looked at, those first to which something
    was added last: whoever asks must not wait for a whole archive.
    """
    times = []
    with contextlib.suppress(OSError), os.scandir(folder.parent) as found:
        for one in found:
            if one.name[0] != "." and one.name != folder.name and one.is_dir():
                times.append((one.stat().st_mtime, one.name))
    for _, name in heapq.nlargest(most, times):
        entry = _kept_entry(folder.parent / name)
        if entry is not None:
            yield entry


def _kept_entry(folder: Path) -> Entry | None:
    """A surface's entry where it is kept and still fits."""
    try:
        stamp = _stamp(folder)
    except PermissionError:
        return None
    return None if stamp is None else _load(folder, stamp)


def _looked_up(folder: Path, now_ns: int | None) -> tuple[Entry, bool] | None:
    """A surface's entry, and whether it had to be worked out; None for another folder."""
    try:
        stamp = _stamp(folder)
    except PermissionError as error:
        line = f"{folder}: cannot be read: {error.strerror}; nothing is known of what it holds"
        return Entry(folder, None, problems=(line,)), True
    if stamp is None:
        return None
    entry = _load(folder, stamp)
    if entry is not None:
        return entry, False
    entry = entry_of(folder)
    if stamp.newest_ns + _SETTLED_NS < (time.time_ns() if now_ns is None else now_ns):
        _store(folder, stamp, entry)
    return entry, True


def entry_of(folder: Path) -> Entry:
    """Work a surface's entry out from its files."""
    from fringe.archive.store.order import survey

    surface, problems = None, []
    try:
        surface = load_surface(folder)
    except BadInput as error:
        problems.append(str(error))
    try:
        found = survey(folder)
    except BadInput as error:
        return Entry(folder, surface, problems=(*problems, str(error)))
    return Entry(
        folder=folder,
        surface=surface,
        visits=tuple(one.record for one in found.sessions),
        sessions=len(found.all_sessions),
        problems=(*problems, *found.problems),
        photographs=tuple((d, one.number) for one in found.sessions for d in one.digests),
    )


def index_problems(archive: Path) -> list[str]:
    """Compare what the index relies on with the files themselves; one line a contradiction."""
    problems = []
    for folder in _folders(archive):
        entry = _kept_entry(folder)
        # as text: what is not a number equals nothing, itself included
        if entry is not None and _text(entry) != _text(entry_of(folder)):
            problems.append(
                f"{_place(folder)}: it does not say what the files of {folder.name} say; remove it"
            )
    return problems


def _folders(archive: Path) -> Iterator[Path]:
    if not archive.is_dir():
        raise BadInput(f"{archive}: there is no such archive; `fringe surface add` makes one")
    with os.scandir(archive) as found:
        names = sorted(e.name for e in found if not e.name.startswith(".") and e.is_dir())
    yield from (archive / name for name in names)


def _stored(archive: Path) -> list[Path]:
    try:
        return [archive / FOLDER / name for name in os.listdir(archive / FOLDER)]
    except OSError:
        return []


def _place(folder: Path) -> Path:
    return folder.parent / FOLDER / (folder.name + _SUFFIX)


@cache
def _start() -> bytes:
    """Beginning of every entry that this program relies on, up to the digest of the rest.

    Another version may understand more of the files, so that it makes its own entries.
    """
    kinds = (VisitRecord, Work, Measured, FormFeature)
    names = [name for kind in kinds for name in kind.__dataclass_fields__]
    fields = hashlib.sha256(" ".join(names).encode()).hexdigest()[:16]
    return (
        f'{{"schema":"{SCHEMA}","schema_version":{SCHEMA_VERSION},'
        f'"software":{json.dumps("fringe " + version("fringe"))},'
        f'"session_schema_version":{layout.SCHEMA_VERSION},"fields":"{fields}","sha256":"'
    ).encode()


def _digest(rest: bytes) -> bytes:
    return hashlib.sha256(rest).hexdigest().encode()


def _load(folder: Path, stamp: _Stamp) -> Entry | None:
    """The stored entry, if it is whole, ours, makes sense and its stamp fits."""
    start = _start()
    try:
        with open(_place(folder), "rb") as file:
            data = file.read(_MAX_BYTES)
        digest, rest = data[len(start) : len(start) + 64], data[len(start) + 64 :]
        if not data.startswith(start) or digest != _digest(rest):
            return None
        values = json.loads(data)
        return _entry(folder, values) if values["stamp"] == stamp.digest else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, BadInput):
        return None


def _entry(folder: Path, values: dict[str, Any]) -> Entry:
    record = values["record"]
    return Entry(
        folder=folder,
        surface=None if record is None else surface_from_values(record, folder),
        visits=tuple(_visit(one) for one in values["visits"]),
        sessions=int(values["sessions"]),
        problems=tuple(line.replace(_HERE, str(folder)) for line in values["problems"]),
        photographs=tuple((str(d), int(number)) for d, number in values["photographs"]),
    )


def _visit(values: dict[str, Any]) -> VisitRecord:
    measured = tuple(measured_from_values(one) for one in values["measured"])
    when = datetime.fromisoformat(values["when"])
    work = Work(**values["work"])
    return VisitRecord(**(values | {"measured": measured, "when": when, "work": work}))


def _text(entry: Entry) -> str:
    return json.dumps(entry.to_json(), separators=(",", ":"))


def _store(folder: Path, stamp: _Stamp, entry: Entry) -> None:
    """Write an entry, whole or not at all; if that cannot be, the list is only slower."""
    rest = f'","stamp":"{stamp.digest}",{_text(entry)[1:]}\n'.encode()
    final = _place(folder)
    with contextlib.suppress(OSError, BadInput):
        final.parent.mkdir(exist_ok=True)
        write_whole(final, _start() + _digest(rest) + rest, durable=False)


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _stamp(folder: Path) -> _Stamp | None:
    """Take a folder's stamp; None if it is no surface, `PermissionError` if it may not be read."""
    try:
        with os.scandir(folder) as found:
            files = [(e.name, e.stat(follow_symlinks=False)) for e in found]
    except PermissionError:
        raise
    except OSError:
        return None
    if not any(is_record(name) for name, _ in files):
        return None
    sha = hashlib.sha256()
    for name, state in sorted(files):
        facts = (state.st_mode, state.st_size, state.st_mtime_ns, state.st_ctime_ns)
        sha.update(os.fsencode(name) + f"/{facts}\n".encode())
    newest = max(max(state.st_mtime_ns, state.st_ctime_ns) for _, state in files)
    return _Stamp(sha.hexdigest(), newest)
