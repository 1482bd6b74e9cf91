"""Prove that an archive is as it was written; every finding names its file and its reason."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from fringe.archive._atomic import PARTIAL
from fringe.archive.digest import seal_problem
from fringe.archive.index import INDEX, index_problems
from fringe.archive.order import in_order
from fringe.archive.read import open_session, read_summary, session_files
from fringe.archive.session import SessionSummary
from fringe.archive.surface import list_surfaces, read_text_record, record_versions
from fringe.errors import BadInput


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
    """

    checked: int
    problems: tuple[str, ...] = ()
    leftovers: tuple[Path, ...] = ()
    unknown: tuple[Path, ...] = ()


def check_session(path: Path) -> str | None:
    """Say in one line what is wrong with a session's file; None if nothing is.

    Its bytes are proven first and only then interpreted.
    """
    problem = seal_problem(path)
    if problem is not None:
        return f"{path}: {problem}"
    try:
        session = open_session(path)
    except BadInput as error:
        return str(error)
    if session.summary.session_id != path.stem:
        return f"{path}: the file is named otherwise than its session, {session.summary.session_id}"
    return None


def check_surface(folder: Path) -> Findings:
    """Check all of a surface's records and sessions, and how they hang together."""
    problems: list[str] = []
    versions = record_versions(folder)
    for number, path in sorted(versions.items()):
        try:
            if read_text_record(path).get("version") != number:
                problems.append(f"{path}: the record is numbered otherwise inside")
        except BadInput as error:
            problems.append(str(error))
    missing = set(range(1, max(versions, default=0))) - set(versions)
    problems += [f"{folder}: version {n} of the surface's record is missing" for n in missing]
    files = session_files(folder)
    sound: list[SessionSummary] = []
    for path in files:
        problem = check_session(path)
        if problem is None:
            sound.append(read_summary(path))
        else:
            problems.append(problem)
    problems += in_order(sound)[1]
    problems += _gone(folder, sound)
    leftovers, unknown = _other_files(folder, {*files, *versions.values()})
    return Findings(len(files) + len(versions), tuple(problems), leftovers, unknown)


def check_archive(archive: Path) -> Findings:
    """Check every surface of an archive."""
    folders = list_surfaces(archive)
    parts = [check_surface(folder) for folder in folders]
    known = {*folders, archive / "README.txt", archive / "instruments", archive / INDEX}
    leftovers, unknown = _other_files(archive, known)
    return Findings(
        sum(part.checked for part in parts),
        (*(line for part in parts for line in part.problems), *index_problems(archive)),
        (*leftovers, *(path for part in parts for path in part.leftovers)),
        (*unknown, *(path for part in parts for path in part.unknown)),
    )


def _gone(folder: Path, sound: list[SessionSummary]) -> list[str]:
    """Sessions that others saw before them, and that are not there in any state."""
    there = {path.stem for path in session_files(folder)} | {s.session_id for s in sound}
    return [
        f"{folder}: session {session.previous_session} is missing; it was there when "
        f"{session.session_id} was logged"
        for session in sound
        if session.previous_session is not None and session.previous_session not in there
    ]


def _other_files(folder: Path, known: set[Path]) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    paths = sorted(folder / name for name in os.listdir(folder))
    leftovers = tuple(p for p in paths if p.name.startswith(".") and p.name.endswith(PARTIAL))
    return leftovers, tuple(p for p in paths if p not in known and p not in leftovers)
