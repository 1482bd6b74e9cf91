"""Summaries of a surface's sessions as the index keeps them, so that each file is opened once.

A surface that has many sessions has a file `.index/NAME.sessions`: a line with a digest of the
rest, then a line for each session file with its name, its size and times, and what was read of
it. A line counts only while the file has these size and times still; any other file is read.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import time
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from fringe.archive.store.kept_file import digest_of, header, keep, kept_rest
from fringe.archive.store.read import read_summary, session_files
from fringe.archive.store.session import SessionSummary
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.measured import Measured, measured_from_values
from fringe.optics.feature import FormFeature

FOLDER = ".index"
SUFFIX = ".sessions"
# Raised by hand with every change of what is taken from a session's file; a test holds it to that.
# So an upgrade that reads the files as before leaves the whole index as it is.
# 2: what was measured counts the plate's form; 3: photographs' digests, names of the form
# 4: the program's version is no part of it; 5: the form's names as they are told since
SCHEMA_VERSION = 5
MANY = 24  # sessions of a surface; fewer are read as quickly as they are looked up
# A file that is written twice within one tick of the disk's clock looks the same: what changed
# this shortly before it was read is not relied on.
SETTLED_NS = 2_000_000_000
_MAX_BYTES = 200_000_000

State = list[int]


def state_of(found: os.stat_result) -> State:
    """What tells a file from another one of its name, or from what it was before."""
    return [found.st_mode, found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino]


def settled(found: os.stat_result, now_ns: int | None = None) -> bool:
    """Whether a file changed long enough ago for its times to tell the next change."""
    now = time.time_ns() if now_ns is None else now_ns
    return max(found.st_mtime_ns, found.st_ctime_ns) + SETTLED_NS < now


@cache
def fields_digest() -> str:
    """Stands for the names of all that is kept of a session."""
    kinds = (SessionSummary, Work, Measured, FormFeature)
    names = [name for kind in kinds for name in kind.__dataclass_fields__]
    return digest_of(" ".join(names).encode())[:16]


def read_summaries(folder: Path, *, anew: bool = False) -> tuple[list[SessionSummary], list[str]]:
    """Read the summaries of all of a surface's sessions, from the index as far as that fits.

    Parameters
    ----------
    folder : Path
        The surface's.
    anew : bool
        Open every file, whatever the index says, and leave the index alone.

    Returns
    -------
    summaries : list of SessionSummary
        Of the files that can be read, in the order of their names.
    problems : list of str
        One line for each of the others.

    Raises
    ------
    BadInput
        If the folder itself cannot be read.
    """
    paths = session_files(folder)
    many = len(paths) >= MANY and not anew
    lines = dict(_kept_lines(folder)) if many else {}
    found, problems, kept, fresh = [], [], [], 0
    for path in paths:
        state = None
        if many:
            with contextlib.suppress(OSError):
                state = path.lstat()
        known = None if state is None else _known(lines.get(path.name), state, path)
        if known is not None:
            found.append(known)
            kept.append(lines[path.name])
            continue
        try:
            found.append(read_summary(path))
        except BadInput as error:
            problems.append(str(error))
            continue
        if state is not None and settled(state):
            kept.append(_line(path.name, state, found[-1]))
            fresh += 1
    if many and (fresh or len(kept) < len(lines)):
        _keep(folder, kept)
    return found, problems


def summaries_hold(folder: Path) -> bool:
    """Whether what is kept of a surface's sessions is what their files say."""
    kept, truth = (
        [json.dumps(to_json(one)) for one in read_summaries(folder, anew=anew)[0]]
        for anew in (False, True)
    )
    return kept == truth


def summaries_place(folder: Path) -> Path:
    """Where the summaries of a surface are kept."""
    return folder.parent / FOLDER / (folder.name + SUFFIX)


def _first(digest: str) -> bytes:
    facts: dict[str, str | int] = {"schema_version": SCHEMA_VERSION, "fields": fields_digest()}
    return header("fringe sessions", **facts) + digest.encode() + b'"}'


def _kept_lines(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Name and line of each session that is kept; nothing where the file is not whole or ours."""
    rest = kept_rest(summaries_place(folder), _first, _MAX_BYTES)
    for line in (rest or b"").splitlines():
        name, _, _ = line[2:].partition(b'"')  # of letters, digits and _ alone
        yield name.decode("ascii", "replace"), line


def _known(line: bytes | None, state: os.stat_result, path: Path) -> SessionSummary | None:
    """What is kept of a file, where it is still the same."""
    if line is None:
        return None
    try:
        name, kept, values = json.loads(line)
        return _summary(values, path) if (name, kept) == (path.name, state_of(state)) else None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, BadInput):
        return None


def _line(name: str, state: os.stat_result, one: SessionSummary) -> bytes:
    return json.dumps([name, state_of(state), to_json(one)], separators=(",", ":")).encode()


def _keep(folder: Path, lines: list[bytes]) -> None:
    """Write what is kept, whole or not at all; if that cannot be, the next reader is slower."""
    keep(summaries_place(folder), _first, b"".join(line + b"\n" for line in lines))


def to_json(one: SessionSummary) -> dict[str, Any]:
    """A summary as it is kept: all but where its file lies."""
    values = {
        field.name: getattr(one, field.name)
        for field in dataclasses.fields(one)
        if field.name != "place"
    }
    return values | {
        "when": one.when.isoformat(),
        "logged_at": one.logged_at.isoformat(),
        "work": dataclasses.asdict(one.work),
        "measured": [dataclasses.asdict(each) for each in one.measured],
        "told_step": dict(one.told_step),
    }


def _summary(values: dict[str, Any], path: Path) -> SessionSummary:
    """Undo :func:`to_json`."""
    made = {
        "place": path,
        "when": datetime.fromisoformat(values["when"]),
        "logged_at": datetime.fromisoformat(values["logged_at"]),
        "work": Work(**values["work"]),
        "measured": tuple(measured_from_values(each) for each in values["measured"]),
        "also_replaces": tuple(values["also_replaces"]),
        "digests": tuple(values["digests"]),
        "seen": tuple((name, digest) for name, digest in values["seen"]),
    }
    return SessionSummary(**(values | made))
