"""The list of an archive's surfaces, without opening every file: the folder `.index`.

It holds one file a surface, and says nothing that the surface's own files do not say better.
With each entry stands a stamp of the surface's folder: names, sizes and times of all files in
it. An entry counts only while its stamp fits; any other is worked out again from the files. So
the folder may be deleted, lost, damaged or out of date, and every list is right all the same.
"""

from __future__ import annotations

import dataclasses
import hashlib
import heapq
import json
import os
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

from fringe.archive.store import layout
from fringe.archive.store.kept_file import digest_of, header, keep_bytes, read_at_most
from fringe.archive.store.kept_summaries import (
    FOLDER,
    SCHEMA_VERSION,
    SETTLED_NS,
    fields_digest,
)
from fringe.archive.store.moves import finish_moves
from fringe.archive.store.names import PLATE_SUFFIX
from fringe.archive.store.surface import (
    Surface,
    is_of_plate,
    is_record,
    load_surface,
    surface_from_values,
)
from fringe.errors import BadInput
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import measured_from_values
from fringe.parallel import WorkerKilled, run_many

SCHEMA = "fringe index"
_SUFFIX = ".json"
LISTED = "surfaces.list"  # of all surfaces
_OF_A_SURFACE = (_SUFFIX, ".sessions", ".belief", ".proved")
_MAX_BYTES = 20_000_000
_MANY_FILES = 400  # to read, from which on other cores are worth their start
_AT_ONCE = 25  # surfaces that a core reads before it asks for more
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
    closed : bool
        Whether this account may not look into the folder.
    """

    folder: Path
    surface: Surface | None
    visits: tuple[VisitRecord, ...] = ()
    sessions: int = 0
    problems: tuple[str, ...] = ()
    photographs: tuple[tuple[str, int], ...] = ()
    closed: bool = False

    def to_json(self) -> dict[str, object]:
        """Return the entry as the index stores it."""
        visits = [dataclasses.asdict(v) | {"when": v.when.isoformat()} for v in self.visits]
        return {
            "record": None if self.surface is None else self.surface.to_json(),
            "visits": visits,
            "sessions": self.sessions,
            "problems": stored_problems(self.problems, self.folder),
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
class Stamp:
    """All names, sizes and times in a folder as a digest; the newest time; how many files."""

    digest: str
    newest_ns: int
    files: int

    def settled(self, now_ns: int | None) -> bool:
        """Whether the last change is long enough ago for the next one to show."""
        now = time.time_ns() if now_ns is None else now_ns
        return self.newest_ns + SETTLED_NS < now


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
    finish_moves(archive)
    found = list(look_up(list(folders_of(archive)), now_ns))
    forget_others(archive, [entry.folder.name for entry, _ in found])
    return Listing(tuple(entry for entry, _ in found), sum(read for _, read in found))


def forget_others(archive: Path, names: Iterable[str]) -> None:
    """Remove from the index what is of none of these folders."""
    with suppress(OSError):
        plates = [name for name in os.listdir(archive) if name.endswith(PLATE_SUFFIX)]
        known = {name + suffix for name in (*names, *plates) for suffix in _OF_A_SURFACE} | {LISTED}
        for name in os.listdir(archive / FOLDER):
            if name not in known:
                _remove(archive / FOLDER / name)


def indexed_visits(folder: Path) -> tuple[VisitRecord, ...]:
    """Visits of a surface that count, from the index where that fits the files.

    Raises
    ------
    BadInput
        If the folder is not a surface.
    """
    entry = own_entry(folder)
    if entry is None:
        raise BadInput(f"{folder}: this folder is not a surface")
    return entry.visits


def own_entry(folder: Path) -> Entry | None:
    """A surface's entry, worked out where none is kept; None for a folder that is no surface."""
    return next((entry for entry, _ in look_up([folder])), None)


def other_entries(folder: Path, most: int) -> Iterator[Entry]:
    """Entries of the other surfaces of an archive, where they are kept and still fit.

    Nothing is worked out, and only so many surfaces are looked at, those first to which something
    was added last: whoever asks must not wait for a whole archive.
    """
    times = []
    with suppress(OSError), os.scandir(folder.parent) as found:
        for one in found:
            if one.name[0] != "." and one.name != folder.name and one.is_dir():
                times.append((one.stat().st_mtime, one.name))
    for _, name in heapq.nlargest(most, times):
        entry = kept_entry(folder.parent / name)
        if entry is not None:
            yield entry


def kept_entry(folder: Path) -> Entry | None:
    """A surface's entry where it is kept and still fits."""
    stamp = stamp_if_readable(folder)
    return None if stamp is None else _load(folder, stamp)


def look_up(folders: Sequence[Path], now_ns: int | None = None) -> Iterator[tuple[Entry, bool]]:
    """Each surface's entry, and whether it had to be worked out; other folders are passed over.

    Where many files are to be read, all cores read them.
    """
    found: dict[Path, Entry | Stamp] = {}
    for folder in folders:
        known = _kept_or_stamp(folder)
        if known is not None:
            found[folder] = known
    missing = [(folder, one) for folder, one in found.items() if isinstance(one, Stamp)]
    worked_out = iter(_all_worked_out(missing, now_ns))
    for known in found.values():
        if isinstance(known, Stamp):
            yield next(worked_out), True
        else:
            yield known, known.closed


def _kept_or_stamp(folder: Path) -> Entry | Stamp | None:
    """A surface's entry where it is kept, its stamp where it is not; None for another folder."""
    try:
        stamp = _stamp(folder)
    except PermissionError as error:
        line = f"{folder}: cannot be read: {error.strerror}; nothing is known of what it holds"
        return Entry(folder, None, problems=(line,), closed=True)
    return None if stamp is None else _load(folder, stamp) or stamp


def _all_worked_out(missing: Sequence[tuple[Path, Stamp]], now_ns: int | None) -> Sequence[Entry]:
    work_out = partial(_worked_out, now_ns)
    if sum(stamp.files for _, stamp in missing) >= _MANY_FILES:
        parts = [missing[i : i + _AT_ONCE] for i in range(0, len(missing), _AT_ONCE)]
        with suppress(WorkerKilled):  # what it wrote is found again below, one by one
            return [entry for part in run_many(work_out, parts) for entry in part]
    return work_out(missing)


def _worked_out(now_ns: int | None, missing: Sequence[tuple[Path, Stamp]]) -> list[Entry]:
    """Entries of surfaces from their files; they are kept where these have settled."""
    found = []
    for folder, stamp in missing:
        entry = _load(folder, stamp) or entry_of(folder)
        if stamp.settled(now_ns):
            _store(folder, stamp, entry)
        found.append(entry)
    return found


def entry_of(folder: Path, *, anew: bool = False) -> Entry:
    """Work a surface's entry out from its files; `anew`: whatever the index says of sessions."""
    from fringe.archive.store.order import survey

    surface, problems = None, []
    try:
        surface = load_surface(folder)
    except BadInput as error:
        problems.append(str(error))
    try:
        found = survey(folder, anew=anew)
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


def stored_problems(problems: Iterable[str], folder: Path) -> list[str]:
    """Messages as they are stored: without the place of the surface's folder."""
    return [line.replace(str(folder), _HERE) for line in problems]


def shown_problems(stored: Iterable[str], folder: Path) -> tuple[str, ...]:
    """Undo :func:`stored_problems`."""
    return tuple(line.replace(_HERE, str(folder)) for line in stored)


def folders_of(archive: Path) -> Iterator[Path]:
    """Folders of an archive in the order of their names, but for plates' own visits.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    if not archive.is_dir():
        raise BadInput(f"{archive}: there is no such archive; `fringe surface add` makes one")
    with os.scandir(archive) as found:
        names = sorted(e.name for e in found if not e.name.startswith(".") and e.is_dir())
    yield from (one for one in map(archive.joinpath, names) if not is_of_plate(one))


def entry_place(folder: Path) -> Path:
    """Where a surface's entry is kept."""
    return folder.parent / FOLDER / (folder.name + _SUFFIX)


@cache
def _start() -> bytes:
    """Beginning of every entry that this program relies on, up to the digest of the rest."""
    return header(
        SCHEMA,
        schema_version=SCHEMA_VERSION,
        session_schema_version=layout.SCHEMA_VERSION,
        fields=fields_digest(),
    )


def _load(folder: Path, stamp: Stamp) -> Entry | None:
    """The stored entry, if it is whole, ours, makes sense and its stamp fits."""
    start = _start()
    data = read_at_most(entry_place(folder), _MAX_BYTES) or b""
    digest, rest = data[len(start) : len(start) + 64], data[len(start) + 64 :]
    if not data.startswith(start) or digest != digest_of(rest).encode():
        return None
    try:
        values = json.loads(data)
        return _entry(folder, values) if values["stamp"] == stamp.digest else None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, BadInput):
        return None


def _entry(folder: Path, values: dict[str, Any]) -> Entry:
    record = values["record"]
    return Entry(
        folder=folder,
        surface=None if record is None else surface_from_values(record, folder),
        visits=tuple(_visit(one) for one in values["visits"]),
        sessions=int(values["sessions"]),
        problems=shown_problems(values["problems"], folder),
        photographs=tuple((str(d), int(number)) for d, number in values["photographs"]),
    )


def _visit(values: dict[str, Any]) -> VisitRecord:
    measured = tuple(measured_from_values(one) for one in values["measured"])
    when = datetime.fromisoformat(values["when"])
    work = Work(**values["work"])
    return VisitRecord(**(values | {"measured": measured, "when": when, "work": work}))


def text_of(entry: Entry) -> str:
    """An entry as the index stores it."""
    return json.dumps(entry.to_json(), separators=(",", ":"))


def _store(folder: Path, stamp: Stamp, entry: Entry) -> None:
    """Write an entry, whole or not at all; if that cannot be, the list is only slower."""
    rest = f'","stamp":"{stamp.digest}",{text_of(entry)[1:]}\n'.encode()
    keep_bytes(entry_place(folder), _start() + digest_of(rest).encode() + rest)


def stamp_if_readable(folder: Path) -> Stamp | None:
    """A surface's stamp; None for another folder, and where it may not be read."""
    try:
        return _stamp(folder)
    except PermissionError:
        return None


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _stamp(folder: Path) -> Stamp | None:
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
    return Stamp(sha.hexdigest(), newest, len(files))
