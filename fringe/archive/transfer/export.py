"""Take a surface out of its archive: as a table, as one file, or as a folder of photographs.

One file (HDF5, and netCDF-4) holds::

    /                       the surface
      @schema               `fringe export`
      @schema_version       1
      @record_0001          the surface's record as its file says it, one attribute a version
    /readings               the readings of all sessions as one table
      time(reading)         of the visit, seconds since 1970, UTC
      sequence(reading)     of the session, and then the columns of a session's own table
    /session_ID             one session with all that it holds, see `fringe.archive`

A folder holds `visits.csv`, `photographs/` with the original files and what was read of each,
and `record/` with the files of the archive themselves, byte for byte. Both come back by
:mod:`fringe.archive.transfer.imports` without loss; a table brings back its numbers alone.
"""

from __future__ import annotations

import io
import json
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fringe.archive.store import layout
from fringe.archive.store.order import Survey, survey
from fringe.archive.store.read import open_session
from fringe.archive.store.record_text import read_text_record
from fringe.archive.store.session import LoggedReading, Session, SessionSummary
from fringe.archive.store.surface import Surface, record_versions
from fringe.archive.transfer.table import rows_of, table_text
from fringe.errors import BadInput
from fringe.files import (
    cannot_write,
    check_new,
    copy_whole,
    drafted,
    fill,
    publish_if_new,
    sync_file,
)
from fringe.parallel import run_apart

SCHEMA = "fringe export"
SCHEMA_VERSION = 1
SESSION = "session_"
RECORD = "record_"
RECORD_FOLDER = "record"
FILES = (".h5", ".nc")
TABLE = ".csv"
_MAX_MEMORY = 1 << 28
_EPOCH = "seconds since 1970-01-01T00:00:00Z"
_README = """A surface, written out by `fringe`.

visits.csv        every visit and reading; lengths are in the units that the names end with
photographs/      the original photographs, and beside each what was read of it (JSON)
record/           the files of the archive themselves; `fringe import` takes this folder back

The photographs are copies. What proves anything is in record/.
"""


@dataclass(frozen=True)
class Exported:
    """What was written out.

    Attributes
    ----------
    path : Path
        The file or folder.
    sessions, photographs : int
        How many of them are in it; a table holds no photographs.
    problems : tuple of str
        Sessions that cannot be read and are not in it, one line each.
    """

    path: Path
    sessions: int
    photographs: int
    problems: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe export --json`."""
        return {
            "path": str(self.path),
            "sessions": self.sessions,
            "photographs": self.photographs,
            "problems": list(self.problems),
        }


def export_surface(surface: Surface, out: Path) -> Exported:
    """Write a surface with all its sessions to a new file or folder.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    out : Path
        Ends in `.csv` for a table and in `.h5` or `.nc` for one file; else it is a folder.

    Returns
    -------
    Exported

    Raises
    ------
    BadInput
        If it exists already or cannot be written; nothing is left behind then.
    """
    assert surface.folder is not None
    check_new(out)
    found = survey(surface.folder)
    problems = list(found.problems)
    sessions: list[Path] = []
    for summary in found.all_sessions:
        try:
            open_session(summary.place)
            sessions.append(summary.place)
        except BadInput as error:
            problems.append(str(error))
    try:
        with drafted(out) as draft:
            photographs = _write(surface, sessions, found, draft, out.suffix.lower())
            _publish(draft, out)
    except OSError as error:
        raise cannot_write(out.absolute().parent, error) from error
    except RuntimeError as error:  # what HDF5 says of a full disk
        raise BadInput(f"{out}: cannot write: {error}") from error
    return Exported(out, len(sessions), photographs, tuple(problems))


def _write(
    surface: Surface, sessions: Sequence[Path], found: Survey, draft: Path, kind: str
) -> int:
    """Write a draft of one of the three kinds; return how many photographs it holds."""
    if kind == TABLE:
        fill(draft, _table(sessions, found).encode())
        return 0
    if kind in FILES:
        return _write_file(surface, sessions, draft)
    return _write_folder(surface, sessions, found, draft)


def _publish(draft: Path, out: Path) -> None:
    if draft.is_dir():
        os.rename(draft, out)
    elif not publish_if_new(draft, out):
        raise BadInput(f"{out}: is there already; choose another name")


def _table(sessions: Sequence[Path], found: Survey) -> str:
    rows = []
    counting = {summary.session_id for summary in found.sessions}
    numbers = {summary.session_id: summary.number for summary in found.all_sessions}
    for path in sessions:
        session = open_session(path)
        name = session.summary.session_id
        rows += list(rows_of(session, counts=name in counting, number=numbers.get(name)))
    return table_text(rows)


def _write_folder(surface: Surface, sessions: Sequence[Path], found: Survey, draft: Path) -> int:
    assert surface.folder is not None
    for folder in (draft, draft / "photographs", draft / RECORD_FOLDER):
        folder.mkdir()
    fill(draft / "README.txt", _README.encode())
    fill(draft / "visits.csv", _table(sessions, found).encode())
    for path in (*record_versions(surface.folder).values(), *sessions):
        copy_whole(path, draft / RECORD_FOLDER / path.name)
    return sum(_write_photographs(open_session(path), draft / "photographs") for path in sessions)


def _write_photographs(session: Session, folder: Path) -> int:
    for number, photograph in enumerate(session.visit.photographs, 1):
        name = f"{session.summary.sequence:04d}_{number}_{_safe(photograph.file_name)}"
        fill(folder / name, photograph.data)
        readings = [
            logged.reading.to_json()
            for logged in session.visit.readings
            if number in logged.photographs
        ]
        values = {
            "session": session.summary.session_id,
            "when": session.summary.when.isoformat(),
            "file_name": photograph.file_name,
            "sha256": photograph.sha256,
            "refusal": photograph.refusal,
            "readings": readings,
        }
        text = json.dumps(values, indent=2, ensure_ascii=False, default=str) + "\n"
        fill(folder / f"{name}.json", text.encode("utf-8", "replace"))
    return len(session.visit.photographs)


def _safe(name: str) -> str:
    """A file's name with nothing in it that a file system minds."""
    plain = re.sub(r"[^\w.-]+", "-", name, flags=re.ASCII).strip("-.") or "photograph"
    return plain[-80:]


def _write_file(surface: Surface, sessions: Sequence[Path], draft: Path) -> int:
    """Build the file in memory, so that a full disk meets one plain write."""
    if sum(path.stat().st_size for path in sessions) > _MAX_MEMORY:
        # HDF5 may crash when it cannot write, so that is left to another process
        (photographs,) = run_apart(partial(_build, surface, sessions), [draft])
        if photographs is None:
            raise BadInput(f"{draft.absolute().parent}: cannot write; is the disk full?")
        sync_file(draft)
        return photographs
    buffer = io.BytesIO()
    count = _build(surface, sessions, buffer)
    fill(draft, buffer.getbuffer())
    return count


def _build(surface: Surface, sessions: Sequence[Path], target: Path | io.BytesIO) -> int:
    """Write records, the table and all sessions; return how many photographs they hold."""
    import h5netcdf

    from fringe.archive.store import hdf5
    from fringe.archive.store.copy import copy_content, fixed_text

    assert surface.folder is not None
    photographs = 0
    with h5netcdf.File(target, "w", libver=layout.LIBVER) as file:
        texts = {
            "Conventions": "CF-1.8",
            "title": surface.name,
            "schema": SCHEMA,
            "software": f"fringe {version('fringe')}",
        }
        for number, path in sorted(record_versions(surface.folder).items()):
            read_text_record(path)  # proves it
            texts[f"{RECORD}{number:04d}"] = path.read_text(encoding="utf-8")
        for name, text in texts.items():
            file.attrs[name] = fixed_text(text)
        file.attrs["schema_version"] = SCHEMA_VERSION
        _write_readings(file.create_group("readings"), sessions)
        for path in sessions:
            with hdf5.opened(path) as source:
                copy_content(source, file.create_group(SESSION + path.stem))
                photographs += hdf5.whole(source, "photographs") or 0
    return photographs


def _write_readings(group: Any, sessions: Sequence[Path]) -> None:
    """One table of all readings, for whoever wants the numbers at once."""
    import numpy as np

    from fringe.archive.store.copy import fixed_text

    rows: list[tuple[SessionSummary, LoggedReading]] = []
    for path in sessions:  # one at a time, for the sake of their photographs
        session = open_session(path)
        rows += [(session.summary, logged) for logged in session.visit.readings]
    if not rows:
        return
    columns: dict[str, tuple[list[Any], str, str]] = {
        "time": ([summary.when.timestamp() for summary, _ in rows], _EPOCH, "time of the visit"),
        "sequence": ([summary.sequence for summary, _ in rows], "1", "number of the session"),
        "sense": (
            [layout.SENSES.index(logged.reading.sense) for _, logged in rows],
            "1",
            "0 unknown, 1 contact at the centre, 2 at the edge",
        ),
    }
    for column in layout.READING_COLUMNS:
        cells = [getattr(logged.reading, column.name) for _, logged in rows]
        columns[column.name] = cells, column.units, column.long_name
    group.dimensions["reading"] = len(rows)
    for name, (cells, units, what) in columns.items():
        whole = name in ("sequence", "sense")
        known = [np.nan if cell is None else cell for cell in cells]
        data = np.array(known, "i4" if whole else "f8")
        variable = group.create_variable(
            name,
            ("reading",),
            data.dtype,
            data=data,
            fillvalue=None if whole else np.nan,
            chunks=data.shape,
            fletcher32=True,
        )
        variable.attrs["units"], variable.attrs["long_name"] = fixed_text(units), fixed_text(what)
