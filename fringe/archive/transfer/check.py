"""Check that an archive is as it was written; every finding names its file and its reason."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

from fringe.archive.instruments import FOLDER as INSTRUMENTS
from fringe.archive.instruments import KINDS, read_instrument
from fringe.archive.plate_maps import map_files, map_folder, read_map
from fringe.archive.store import hdf5
from fringe.archive.store.digest import objects
from fringe.archive.store.heads import index_problems
from fringe.archive.store.kept_summaries import FOLDER as INDEX
from fringe.archive.store.layout import BENCH_FOLDER, SUFFIX
from fringe.archive.store.ledger import LEDGER
from fringe.archive.store.moves import finish_moves, folder_name, interrupted_moves
from fringe.archive.store.order import in_order, survey
from fringe.archive.store.read import prove_in_parts, read_summary, said_content, session_files
from fringe.archive.store.session import SessionSummary
from fringe.archive.store.surface import list_surfaces, read_text_record, record_versions
from fringe.archive.transfer.history import ledger_problems
from fringe.errors import BadInput
from fringe.files import PARTIAL

Tell = Callable[[int, int], None]

# The unit that the end of a variable's name promises.
_UNITS = {"_nm": "nm", "_mm": "mm", "_px": "pixel", "_px2": "pixel2", "_deg": "degree"}


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
    """

    checked: int
    problems: tuple[str, ...] = ()
    leftovers: tuple[Path, ...] = ()
    unknown: tuple[Path, ...] = ()
    damaged: tuple[Path, ...] = ()


def check_session(path: Path, surface: str | None = None) -> str | None:
    """Say in one line what is wrong with a session's file; None if nothing is.

    Its bytes are proven first and only then interpreted.

    Parameters
    ----------
    path : Path
        The file.
    surface : str or None
        Name of the surface that it must belong to; None for any.
    """
    try:
        session = prove_in_parts(path)
        with hdf5.opened(path) as file:
            problem = _units_problem(file)
    except BadInput as error:
        return str(error)
    problem = _name_problem(path, session.summary) or problem
    if session.summary.session_id != path.stem:
        return f"{path}: the file is named otherwise than its session, {session.summary.session_id}"
    if surface is not None and session.surface.name != surface:
        return f"{path}: belongs to another surface, {session.surface.name!r}"
    return None if problem is None else f"{path}: {problem}"


def _name_problem(path: Path, one: SessionSummary) -> str | None:
    """Compare number and times of a session with its file's name, which others saw as well."""
    number, _, rest = path.stem.partition("_")
    if number.isdecimal() and int(number) != one.sequence:
        return f"it says that it is number {one.sequence} in the order of logging"
    if rest[:16] != f"{one.logged_at.astimezone(UTC):%Y%m%dT%H%M%SZ}":
        return f"it says that it was written at {one.logged_at:%Y-%m-%d %H:%M:%S} UTC"
    by_clock = not one.when_given and one.replaces is None
    if by_clock and abs((one.when - one.logged_at).total_seconds()) > 1:
        return f"it says that the clock showed {one.when:%Y-%m-%d %H:%M:%S}, and not when written"
    return None


def _units_problem(file: Any) -> str | None:
    """Compare the units of all variables with what their names promise."""
    for where, item in objects(file):
        name = where.rpartition("/")[2]
        promised = next((u for end, u in _UNITS.items() if name.endswith(end)), None)
        if promised is not None and hasattr(item, "shape"):
            units = hdf5.text(item, "units")
            if units != promised:
                return f"{where} is in {units or 'no unit'}, not in {promised}"
    return None


def check_surface(folder: Path, one_done: Callable[[], None] | None = None) -> Findings:
    """Check all of a surface's records and sessions, and how they hang together.

    `one_done` is called after each session.
    """
    problems: list[str] = []
    versions = record_versions(folder)
    names = set()
    for number, path in sorted(versions.items()):
        try:
            record = read_text_record(path)
        except BadInput as error:
            problems.append(str(error))
            continue
        names.add(str(record.get("name")))
        if record.get("version") != number:
            problems.append(f"{path}: the record is numbered otherwise inside")
    if len(names) > 1:
        problems.append(f"{folder}: its records are of different surfaces: {', '.join(names)}")
    missing = set(range(1, max(versions, default=0))) - set(versions)
    problems += [f"{folder}: version {n} of the surface's record is missing" for n in missing]
    name = next(iter(names)) if len(names) == 1 else None
    files = session_files(folder)
    sound: list[SessionSummary] = []
    damaged: list[Path] = []
    for path in files:
        problem = check_session(path, name)
        if problem is None:
            sound.append(read_summary(path))
        else:
            problems.append(problem)
            damaged.append(path)
        if one_done is not None:
            one_done()
    problems += _chain_problems(folder, sound)
    leftovers, unknown = _other_files(folder, {*files, *versions.values()})
    count = len(files) + len(versions)
    return Findings(count, tuple(problems), leftovers, unknown, tuple(damaged))


def chain_problems(folder: Path) -> list[str]:
    """Say how a surface's sessions fail to hang together, be each of them as it may."""
    return _chain_problems(folder, list(survey(folder, anew=True).all_sessions))


def _chain_problems(folder: Path, sessions: list[SessionSummary]) -> list[str]:
    return [*in_order(sessions)[1], *_gone(folder, sessions), *_altered(folder, sessions)]


def _altered(folder: Path, sessions: list[SessionSummary]) -> list[str]:
    """Sessions that are not what a later one saw, digests and all."""
    now = {path.stem: said_content(path) for path in session_files(folder)}
    return [
        f"{folder / name}{SUFFIX}: it says something else than what was there when "
        f"{one.session_id} was logged"
        for one in sessions
        for name, digest in one.seen
        if name in now and now[name] != digest
    ]


def check_archive(archive: Path, tell: Tell | None = None) -> Findings:
    """Check every surface of an archive, its instruments' records, and its index.

    `tell` is told how many sessions are checked, of how many.
    """
    list_surfaces(archive)  # says so where there is no such archive
    finish_moves(archive)
    closed = _closed_folders(archive)
    folders = [one for one in list_surfaces(archive) if one not in closed]
    one_done = None if tell is None else _counter(folders, tell)
    parts = [_surface_findings(folder, one_done) for folder in folders]
    parts.append(_instrument_findings(archive))
    moving = interrupted_moves(archive)
    history = [] if closed else ledger_problems(archive, folders)
    known = {*folders, archive / "README.txt", archive / INSTRUMENTS, archive / INDEX, *moving}
    known |= {archive / LEDGER, archive / BENCH_FOLDER}
    known |= set(closed)
    leftovers, unknown = _other_files(archive, known)
    return Findings(
        sum(part.checked for part in parts),
        (
            *closed.values(),
            *(line for part in parts for line in part.problems),
            *map(_interrupted, moving),
            *index_problems(archive),
            *history,
        ),
        (*leftovers, *(path for part in parts for path in part.leftovers)),
        (*unknown, *(path for part in parts for path in part.unknown)),
        tuple(path for part in parts for path in part.damaged),
    )


def _counter(folders: Sequence[Path], tell: Tell) -> Callable[[], None]:
    """What is to be called after each session of all of these surfaces."""
    total, done = sum(len(session_files(folder)) for folder in folders), itertools.count(1)
    return lambda: tell(next(done), total)


def _closed_folders(archive: Path) -> dict[Path, str]:
    """Folders that this account may not look into, with a line each: what they hold is unknown."""
    closed = {}
    for one in sorted(archive.iterdir()):
        if one.is_symlink() or not one.is_dir():
            continue
        try:
            names = os.listdir(one)
            for name in names[:1]:
                os.lstat(one / name)  # a folder may be listed and yet not be entered
        except OSError as error:
            closed[one] = _not_checked(one, error)
    return closed


def _not_checked(folder: Path, error: OSError) -> str:
    return f"{folder}: cannot be read: {error.strerror}; nothing in it was checked"


def _surface_findings(folder: Path, one_done: Callable[[], None] | None) -> Findings:
    """What :func:`check_surface` finds; a folder that goes or closes meanwhile is named."""
    try:
        return check_surface(folder, one_done)
    except OSError as error:
        return Findings(0, (_not_checked(folder, error),))
    except BadInput as error:
        return Findings(0, (str(error),))


def _instrument_findings(archive: Path) -> Findings:
    try:
        return _check_instruments(archive)
    except OSError as error:
        return Findings(0, (_not_checked(Path(error.filename or archive / INSTRUMENTS), error),))


def _interrupted(folder: Path) -> str:
    """Say what to do with a surface's folder that never arrived in another archive."""
    return (
        f"{folder}: a move to another archive was interrupted, or is under way; if nobody moves "
        f"it, name it {folder_name(folder)}, or another name where that is taken"
    )


def _check_instruments(archive: Path) -> Findings:
    """Read every instrument's record; they may be mended by hand and carry no digest."""
    problems: list[str] = []
    leftovers: list[Path] = []
    unknown: list[Path] = []
    checked = 0
    root = archive / INSTRUMENTS
    folders = {root / kind for kind in KINDS if (root / kind).is_dir()}
    for kind in sorted(folder.name for folder in folders):
        paths = {p for p in (root / kind).glob("*.toml") if not p.name.startswith(".")}
        for path in sorted(paths):
            checked += 1
            try:
                read_instrument(path, kind)
            except BadInput as error:
                problems.append(str(error))
        maps = {map_folder(path): map_files(path) for path in paths if map_folder(path).is_dir()}
        for path in (path for files in maps.values() for path in files):
            checked += 1
            try:
                read_map(path)
            except BadInput as error:
                problems.append(str(error))
        for folder, known in (*maps.items(), (root / kind, {*paths, *maps})):
            more, others = _other_files(folder, set(known))
            leftovers += more
            unknown += others
    if root.is_dir():
        unknown += _other_files(root, folders)[1]
    return Findings(checked, tuple(problems), tuple(leftovers), tuple(unknown))


def _gone(folder: Path, sound: list[SessionSummary]) -> list[str]:
    """Sessions that others saw before them, and that are not there in any state."""
    there = {path.stem for path in session_files(folder)} | {s.session_id for s in sound}
    found = []
    for one in sound:
        seen = [name for name, _ in one.seen]
        if one.previous_session is not None:
            seen.append(one.previous_session)
        found += [(name, one) for name in dict.fromkeys(seen) if name not in there]
    return [
        f"{folder}: session {name} is missing; it was there when {one.session_id} was logged"
        for name, one in found
    ]


def _other_files(folder: Path, known: set[Path]) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    paths = sorted(folder / name for name in os.listdir(folder))
    leftovers = tuple(p for p in paths if p.name.startswith(".") and p.name.endswith(PARTIAL))
    return leftovers, tuple(p for p in paths if p not in known and p not in leftovers)
