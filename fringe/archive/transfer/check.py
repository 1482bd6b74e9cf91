"""Check that an archive is as it was written; every finding names its file and its reason."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC
from pathlib import Path
from typing import Any

from fringe.archive.instruments import FOLDER as INSTRUMENTS
from fringe.archive.store import hdf5
from fringe.archive.store.digest import objects
from fringe.archive.store.heads import index_problems, kept_heads
from fringe.archive.store.index import stamp_if_readable
from fringe.archive.store.kept_summaries import FOLDER as INDEX
from fringe.archive.store.layout import BENCH_FOLDER, SUFFIX
from fringe.archive.store.ledger import LEDGER, file_digest
from fringe.archive.store.moves import finish_moves, folder_name, interrupted_moves
from fringe.archive.store.order import in_order, survey, visits_of
from fringe.archive.store.read import prove_in_parts, read_summary, said_content, session_files
from fringe.archive.store.record_text import read_text_record
from fringe.archive.store.session import Session, SessionSummary
from fringe.archive.store.surface import (
    folder_by_name,
    list_folders,
    record_versions,
)
from fringe.archive.transfer.check_instruments import instrument_findings
from fringe.archive.transfer.findings import Findings, not_checked, other_files
from fringe.archive.transfer.history import ledger_problems
from fringe.archive.transfer.proved import Moved, Proved, keep_proved, proved_before, states_now
from fringe.archive.views.decided import decided_problems
from fringe.errors import BadInput
from fringe.parallel import WorkerKilled, run_apart
from fringe.parallel import in_order as in_order_of

_MANY = 12  # surfaces from which on other cores are worth their start
# The unit that the end of a variable's name promises.
_UNITS = {"_nm": "nm", "_mm": "mm", "_px": "pixel", "_px2": "pixel2", "_deg": "degree"}


# Told how many sessions are checked, of how many.
Tell = Callable[[int, int], None]


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
    found = _proven(path, surface)
    return found if isinstance(found, str) else None


def _proven(path: Path, surface: str | None) -> Session | str:
    """A session that is as it was written, without its photographs; or what is wrong with it."""
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
    return session if problem is None else f"{path}: {problem}"


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


def check_surface(
    folder: Path, proved: Proved | None = None, one_done: Callable[[], None] | None = None
) -> Findings:
    """Check all of a surface's records and sessions, and how they hang together.

    Parameters
    ----------
    folder : Path
    proved : Proved or None
        What was proven before, and is trusted where nothing changed.
    one_done : callable or None
        Called after each session that is read.
    """
    stamp = stamp_if_readable(folder)
    stamped = stamp.digest if stamp is not None and stamp.settled(None) else ""
    versions = record_versions(folder)
    files = session_files(folder)
    if proved is not None and proved.stamp == stamped != "":
        count = len(files) + len(versions)
        digests = {folder / name: digest for name, (_, digest) in proved.files.items()}
        return Findings(count, trusted=count, digests=digests, moved=proved.moved)
    states = states_now([*files, *versions.values()])
    problems, name = _record_problems(folder, versions)
    sessions = _sessions_findings(files, name, proved or Proved(), one_done)
    problems += sessions.problems
    leftovers, unknown = other_files(folder, {*files, *versions.values()})
    records = {} if problems else {path: file_digest(path) for path in versions.values()}
    digests = {**sessions.digests, **{path: d for path, d in records.items() if d is not None}}
    if problems or leftovers or unknown:
        stamped = ""
    whole = {path.name: (states[path], d) for path, d in digests.items() if path in states}
    keep_proved(folder, Proved(stamped, whole, sessions.moved))
    return replace(
        sessions,
        checked=len(files) + len(versions),
        problems=tuple(problems),
        leftovers=leftovers,
        unknown=unknown,
        digests=digests,
    )


def _record_problems(folder: Path, versions: Mapping[int, Path]) -> tuple[list[str], str | None]:
    """What is wrong with the versions of a surface's record, and its name if they have one."""
    problems: list[str] = []
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
    return problems, next(iter(names)) if len(names) == 1 else None


def _sessions_findings(
    files: Sequence[Path], name: str | None, proved: Proved, one_done: Callable[[], None] | None
) -> Findings:
    """What a check finds in a surface's sessions, those that were proven before trusted."""
    problems: list[str] = []
    sound: list[SessionSummary] = []
    damaged: list[Path] = []
    digests: dict[Path, str] = {}
    origins: dict[str, Any] = {}
    trusted = 0
    for path in files:
        if one_done is not None:
            one_done()
        digest = proved.digest_of(path)
        if digest is not None:
            try:
                summary = read_summary(path)
            except BadInput as error:  # it went, or its rights did, since its state was taken
                problems.append(str(error))
                damaged.append(path)
                continue
            for one in proved.moved:
                if one.place == str(path):
                    origins[summary.session_id] = one
            trusted += 1
        else:
            found = _proven(path, name)
            if isinstance(found, str):
                problems.append(found)
                damaged.append(path)
                continue
            summary, digest = found.summary, found.content_sha256
            origin = found.visit.inputs.get("moved_from")
            if isinstance(origin, dict) and found.visit.replaces is None:
                words = str(origin.get("surface")), str(origin.get("session_id"))
                origins[summary.session_id] = Moved(str(path), *words)
        sound.append(summary)
        digests[path] = digest
    if files:
        problems += _chain_problems(files[0].parent, sound, digests)
    counting = {visit.sessions[0].session_id for visit in visits_of(sound)[0] if not visit.struck}
    return Findings(
        0,
        tuple(problems),
        damaged=tuple(damaged),
        trusted=trusted,
        digests=digests,
        moved=tuple(one for session, one in origins.items() if session in counting),
    )


def chain_problems(folder: Path) -> list[str]:
    """Say how a surface's sessions fail to hang together, be each of them as it may."""
    sessions = list(survey(folder, anew=True).all_sessions)
    return _chain_problems(folder, sessions, {})


def _chain_problems(
    folder: Path, sessions: list[SessionSummary], digests: Mapping[Path, str]
) -> list[str]:
    problems = [*in_order(sessions)[1], *_gone(folder, sessions)]
    return [*problems, *_altered(folder, sessions, digests)]


def _altered(
    folder: Path, sessions: list[SessionSummary], digests: Mapping[Path, str]
) -> list[str]:
    """Sessions that are not what a later one saw, digests and all."""
    now = {path.stem: digests.get(path) or said_content(path) for path in session_files(folder)}
    return [
        f"{folder / name}{SUFFIX}: it says something else than what was there when "
        f"{one.session_id} was logged"
        for one in sessions
        for name, digest in one.seen
        if name in now and now[name] != digest
    ]


@dataclass(frozen=True)
class _Job:
    """A surface to check: its folder, its head in the index, and whether proofs are trusted."""

    folder: Path
    head: Mapping[str, Any]
    since_last: bool


def check_archive(
    archive: Path,
    *,
    since_last: bool = False,
    elsewhere: Sequence[Path] = (),
    tell: Tell | None = None,
) -> Findings:
    """Check every surface of an archive, its instruments' records, and its index.

    What is proven is kept in the index, surface by surface, so that a check that was interrupted
    is gone on with by `since_last`.

    Parameters
    ----------
    archive : Path
    since_last : bool
        Trust what was proven before of files that have not changed since.
    elsewhere : sequence of Path
        Archives that surfaces of this one may have moved to.
    tell : callable or None
        Told how many surfaces are checked.
    """
    list_folders(archive)  # says so where there is no such archive
    finish_moves(archive)
    closed = _closed_folders(archive)
    folders = [one for one in list_folders(archive) if one not in closed]
    parts = [*_all_surfaces(archive, folders, tell, since_last=since_last)]
    parts.append(instrument_findings(archive))
    moving = interrupted_moves(archive)
    digests = {path: digest for part in parts for path, digest in part.digests.items()}

    def digest_of(path: Path) -> str | None:
        return digests.get(path) or file_digest(path)

    history = [] if closed else ledger_problems(archive, folders, digest_of, elsewhere)
    known = {*folders, archive / "README.txt", archive / INSTRUMENTS, archive / INDEX, *moving}
    known |= {archive / LEDGER, archive / BENCH_FOLDER}
    known |= set(closed)
    leftovers, unknown = other_files(archive, known)
    return Findings(
        sum(part.checked for part in parts),
        (
            *closed.values(),
            *(line for part in parts for line in part.problems),
            *map(_interrupted, moving),
            *_half_moved(archive, [one for part in parts for one in part.moved]),
            *history,
            *([] if since_last else decided_problems(archive)),
        ),
        (*leftovers, *(path for part in parts for path in part.leftovers)),
        (*unknown, *(path for part in parts for path in part.unknown)),
        tuple(path for part in parts for path in part.damaged),
        sum(part.trusted for part in parts),
    )


def _all_surfaces(
    archive: Path, folders: Sequence[Path], tell: Tell | None, *, since_last: bool
) -> Iterator[Findings]:
    """Check surfaces, on all cores where there are many."""
    heads = kept_heads(archive)
    jobs = [_Job(folder, heads.get(folder.name, {}), since_last) for folder in folders]
    counts = [_count(folder) for folder in folders]
    told, total = itertools.count(1), sum(counts)
    if len(jobs) < _MANY:
        one_done = None if tell is None else lambda: tell(next(told), total)
        yield from (_surface_findings(job, one_done) for job in jobs)
        return
    done = itertools.accumulate(counts)
    for part, so_many in zip(_on_all_cores(jobs), done, strict=True):
        if tell is not None:
            tell(so_many, total)
        yield part


def _on_all_cores(jobs: Sequence[_Job]) -> Iterator[Findings]:
    """Check surfaces side by side; where a process dies of one, that surface is named."""
    count = 0
    try:
        for part in in_order_of(_surface_findings, jobs):
            count += 1
            yield part
    except WorkerKilled:
        rest = jobs[count:]
        for job, found in zip(rest, run_apart(_surface_findings, rest), strict=True):
            yield found or Findings(0, (_died(job.folder),))


def _died(folder: Path) -> str:
    return (
        f"{folder}: nothing in it was checked: the process that did was killed, probably for want "
        "of memory; check again with nothing else running, --since-last goes on from here"
    )


def _count(folder: Path) -> int:
    """Sessions of a surface, for the progress that is shown; 0 where it goes meanwhile."""
    try:
        return len(session_files(folder))
    except BadInput:
        return 0


def _half_moved(archive: Path, moved: Sequence[Moved]) -> Iterator[str]:
    """Visits that are on two surfaces, because their move was cut off in between."""
    for one in moved:
        origin = folder_by_name(archive, one.origin)
        visits = () if origin is None else survey(origin, anew=True).visits
        for visit in visits:
            if not visit.struck and one.session_id in {s.session_id for s in visit.sessions}:
                yield (
                    f"{one.place}: it was moved from {one.origin}, where it is still visit "
                    f"{visit.number}; the same `fringe log ... --move {visit.number}` finishes "
                    "that, or --strike one of them"
                )


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
            closed[one] = not_checked(one, error)
    return closed


def _surface_findings(job: _Job, one_done: Callable[[], None] | None = None) -> Findings:
    """What :func:`check_surface` finds; a folder that goes or closes meanwhile is named."""
    folder = job.folder
    try:
        before = proved_before(folder) if job.since_last else None
        found = check_surface(folder, before, one_done)
    except OSError as error:
        return Findings(0, (not_checked(folder, error),))
    except BadInput as error:
        return Findings(0, (str(error),))
    if found.trusted and found.trusted == found.checked:
        return found
    return replace(found, problems=(*found.problems, *index_problems(folder, job.head)))


def _interrupted(folder: Path) -> str:
    """Say what to do with a surface's folder that never arrived in another archive."""
    return (
        f"{folder}: a move to another archive was interrupted, or is under way; if nobody moves "
        f"it, name it {folder_name(folder)}, or another name where that is taken"
    )


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
