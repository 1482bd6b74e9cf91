"""Bring a surface back into an archive, from what :mod:`fringe.archive.transfer.export` wrote.

Everything is proven before anything is kept, and nothing that is there is changed: a surface
that the archive does not have is added whole; of one that it has, the sessions that are missing
are added under their own names.
"""

from __future__ import annotations

import dataclasses
import io
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fringe.archive.plates.form import finish_form_of
from fringe.archive.plates.visits import restore_record
from fringe.archive.store import hdf5, layout
from fringe.archive.store.digest import seal, seal_problem
from fringe.archive.store.ledger import add_surface_files
from fringe.archive.store.names import plate_of_record
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session, said_content, session_files
from fringe.archive.store.record_text import read_text_record
from fringe.archive.store.surface import (
    Surface,
    find_surface,
    folder_by_name,
    list_folders,
    load_surface,
    make_archive,
    place_folder,
    record_versions,
)
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import Tell, chain_problems, check_session
from fringe.archive.transfer.export import (
    RECORD,
    RECORD_FOLDER,
    SCHEMA,
    SCHEMA_VERSION,
    SESSION,
    TABLE,
)
from fringe.archive.transfer.table import visits_from_table
from fringe.errors import BadInput
from fringe.files import (
    PARTIAL,
    claim,
    copy_whole,
    fill,
    publish,
    publish_if_new,
    random_suffix,
)

_MAX_TABLE_BYTES = 100_000_000


@dataclass(frozen=True)
class Imported:
    """What an import did.

    Attributes
    ----------
    surface : Surface
        The surface, with its folder.
    new : bool
        Whether the archive did not have it.
    added, present : int
        Sessions that were added, and that were there already.
    problems : tuple of str
        What the source was already lacking, one line each.
    """

    surface: Surface
    new: bool
    added: int
    present: int
    problems: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe import --json`."""
        return {
            "surface": self.surface.name,
            "folder": str(self.surface.folder),
            "new": self.new,
            "added": self.added,
            "present": self.present,
            "problems": list(self.problems),
        }


@dataclass(frozen=True)
class _Source:
    """A surface on its way: bytes of its records, and what writes each session to a path."""

    records: Mapping[int, bytes]
    sessions: Mapping[str, Callable[[Path], None]]


def import_surface(source: Path, archive: Path, tell: Tell | None = None) -> Imported:
    """Bring a surface back from one file, from a folder, or from another archive's folder.

    Parameters
    ----------
    source : Path
        What was exported, or a surface's own folder.
    archive : Path
        Where it is to go; it is made if it is not there.
    tell : callable or None
        Told how many sessions are proven, of how many.

    Raises
    ------
    BadInput
        If the source is not whole, or contradicts what the archive has. Nothing is kept then.
    """
    if source.suffix.lower() == TABLE:
        raise BadInput(f"{source}: a table goes to a surface; give ARCHIVE/NAME of one")
    if not source.exists():
        raise BadInput(f"{source}: there is no such file or folder")
    was_there = archive.exists()
    draft = archive / f".{random_suffix(10)}{PARTIAL}"
    try:
        make_archive(archive)
        draft.mkdir()
        name = _proven_draft(source, draft, tell)
        there = folder_by_name(archive, name)
        if there is not None:
            return _merge(source, draft, there)
        problems = chain_problems(draft)
        count = len(session_files(draft))
        folder = place_folder(archive, draft, name)
    except OSError as error:
        raise BadInput(f"{archive}: cannot write: {error.strerror}; nothing was kept") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        if not was_there and archive.is_dir() and not list_folders(archive):
            shutil.rmtree(archive, ignore_errors=True)
    add_surface_files(folder)
    restore_record(archive, folder)
    plate = plate_of_record(name)
    if plate is not None:
        finish_form_of(archive, plate)
    lacking = tuple(line.replace(str(draft), str(source)) for line in problems)
    return Imported(load_surface(folder), True, count, 0, lacking)


def import_into(source: Path, target: str, tell: Tell | None = None) -> Imported:
    """Bring a table's visits to a surface that is there, or a surface to an archive.

    Parameters
    ----------
    source : Path
        A table where its name ends in `.csv`, else what :func:`import_surface` takes.
    target : str
        The surface of a table, or the archive.
    tell : callable or None
        Told how many sessions are done, of how many.

    Raises
    ------
    BadInput
        As :func:`import_table` and :func:`import_surface`.
    """
    if source.suffix.lower() == ".csv":
        return import_table(source, find_surface(target), tell)
    return import_surface(source, Path(target), tell)


def import_table(source: Path, surface: Surface, tell: Tell | None = None) -> Imported:
    """Log the visits of a table to a surface, each once.

    A table has neither photographs nor forms, so the sessions are new ones; each keeps the
    identity of the session that it was, and the table's name, among its inputs. Visits that
    the surface has already are passed over.

    Parameters
    ----------
    source : Path
        Comma-separated values, see :mod:`fringe.archive.transfer.table`.
    surface : Surface
        A surface that was loaded.
    tell : callable or None
        Told how many visits are logged, of how many.

    Raises
    ------
    BadInput
        If the table makes no sense; nothing is logged then.
    """
    assert surface.folder is not None
    visits = visits_from_table(_text_of(source), str(source))
    known = _known_visits(surface.folder)
    now: dict[str, str] = dict(known)
    new = [(old, visit) for old, visit in visits if _key(old, visit) not in known]
    for old, visit in new:
        if visit.replaces is not None and visit.replaces not in {*now, *(o for o, _ in visits)}:
            raise BadInput(f"{source}: {old} replaces {visit.replaces}, which is not in it")
    for number, (old, visit) in enumerate(new, 1):
        origin = {"file": source.name, "session_id": old, "key": _key(old, visit)}
        replaces = None if visit.replaces is None else now.get(visit.replaces)
        logged = dataclasses.replace(visit, replaces=replaces, inputs={"imported_from": origin})
        now[_key(old, visit)] = log_visit(surface, logged).stem
        if tell is not None:
            tell(number, len(new))
    return Imported(surface, False, len(new), len(visits) - len(new))


def _key(old: str | None, visit: Any) -> str:
    return old or f"at {visit.when.isoformat()}"


def _known_visits(folder: Path) -> dict[str, str]:
    """Sessions by their own identity, and by that of the session that they were imported from."""
    known = {}
    for summary in survey(folder).all_sessions:
        known[summary.session_id] = summary.session_id
        origin = open_session(summary.place).visit.inputs.get("imported_from")
        if isinstance(origin, dict) and isinstance(origin.get("key"), str):
            known[origin["key"]] = summary.session_id
    return known


def _text_of(source: Path) -> str:
    try:
        if not source.is_file() or source.stat().st_size > _MAX_TABLE_BYTES:
            raise BadInput(f"{source}: no file, or too large for a table")
        return source.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise BadInput(f"{source}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise BadInput(f"{source}: is not text in UTF-8; save the table as such") from error


@contextmanager
def _opened(source: Path) -> Iterator[_Source]:
    with ExitStack() as stack:
        if source.is_dir():
            yield _folder_source(source)
        else:
            yield _file_source(source, stack.enter_context(hdf5.opened(source)))


def _folder_source(source: Path) -> _Source:
    folder = source / RECORD_FOLDER if (source / RECORD_FOLDER).is_dir() else source
    records = {}
    for number, path in record_versions(folder).items():
        read_text_record(path)
        records[number] = path.read_bytes()
    files = session_files(folder)
    return _Source(records, {path.stem: _copier(path) for path in files})


def _copier(path: Path) -> Callable[[Path], None]:
    def copy(to: Path) -> None:
        problem = seal_problem(path)
        if problem is not None:
            raise BadInput(f"{path}: {problem}")
        copy_whole(path, to)

    return copy


def _file_source(source: Path, file: Any) -> _Source:
    if hdf5.attribute(file, "schema") != SCHEMA:
        raise BadInput(f"{source}: not a surface that was exported (its schema is another)")
    version = hdf5.whole(file, "schema_version")
    if version is None or not 1 <= version <= SCHEMA_VERSION:
        raise BadInput(f"{source}: schema version {version} is not known; use a newer fringe")
    records = {
        int(match[1]): (hdf5.text(file, name) or "").encode()
        for name in file.attrs
        if (match := re.fullmatch(rf"{RECORD}(\d{{4,}})", name))
    }
    names = [name for name in file if name.startswith(SESSION)]
    return _Source(records, {n.removeprefix(SESSION): _unpacker(file, n) for n in names})


def _unpacker(file: Any, name: str) -> Callable[[Path], None]:
    def unpack(to: Path) -> None:
        import h5netcdf

        from fringe.archive.store.copy import copy_content

        buffer = io.BytesIO()
        with h5netcdf.File(buffer, "w", libver=layout.LIBVER) as new:
            copy_content(hdf5.member(file, name), new)
        image = buffer.getbuffer()
        fill(to, image, seal(image))

    return unpack


def _proven_draft(source: Path, draft: Path, tell: Tell | None) -> str:
    """Write a draft and prove it; return the surface's name."""
    refusal = None
    with _opened(source) as found:
        try:
            name = _write_draft(source, found, draft, tell)
        except BadInput as error:  # the open file would take it for damage of its own
            refusal = error
    if refusal is not None:
        raise refusal
    return name


def _write_draft(source: Path, found: _Source, draft: Path, tell: Tell | None) -> str:
    """Write records and sessions to a draft and prove each; return the surface's name."""
    for number, data in sorted(found.records.items()):
        fill(draft / f"surface-{number:04d}.json", data)
    if not found.records:
        raise BadInput(f"{source}: holds no surface's record, so it is not a surface")
    try:
        for path in record_versions(draft).values():
            read_text_record(path)
        name = load_surface(draft).name
        for number, (identity, write) in enumerate(found.sessions.items(), 1):
            path = draft / f"{identity}{layout.SUFFIX}"
            if layout.SESSION_FILE.match(path.name) is None:
                raise BadInput(f"{source}: {identity!r} is not the name of a session")
            write(path)
            problem = check_session(path, name)
            if problem is not None:
                raise BadInput(problem)
            if tell is not None:
                tell(number, len(found.sessions))
    except BadInput as error:
        raise BadInput(str(error).replace(str(draft), str(source))) from error
    return name


def _merge(source: Path, draft: Path, folder: Path) -> Imported:
    """Add what a surface is missing; refuse whatever contradicts what it has."""
    new_records = _missing_records(source, draft, folder)
    there = {path.stem: path for path in session_files(folder)}
    sequences = {_sequence(path): path.stem for path in there.values()}
    missing = []
    for path in session_files(draft):
        if path.stem in there:
            ours = _content(there[path.stem])
            if ours is None:
                raise BadInput(
                    f"{there[path.stem]}: is damaged; remove it, then import {source} again"
                )
            if said_content(path) != ours:
                raise BadInput(f"{source}: {path.stem} says something else than {there[path.stem]}")
        elif sequences.get(_sequence(path), path.stem) != path.stem:
            raise BadInput(
                f"{source}: {path.stem} and {sequences[_sequence(path)]} were logged apart from "
                "each other under one number; import into another archive"
            )
        else:
            missing.append(path)
    for path in new_records:
        publish_if_new(path, folder / path.name)
    for path in missing:
        _publish_session(path, folder)
    add_surface_files(folder)
    return Imported(load_surface(folder), False, len(missing), len(there), ())


def _missing_records(source: Path, draft: Path, folder: Path) -> list[Path]:
    """Records that a surface lacks; the first must be the same, and none may differ."""
    ours = record_versions(folder)
    missing = []
    for number, path in sorted(record_versions(draft).items()):
        if number not in ours:
            missing.append(path)
        elif ours[number].read_bytes() != path.read_bytes():
            name = load_surface(folder).name
            raise BadInput(
                f"{source}: {folder.parent} has another surface {name!r}, or the two were changed "
                "apart from each other; import into another archive"
            )
    return missing


def _sequence(path: Path) -> int:
    match = layout.SESSION_FILE.match(path.name)
    return -1 if match is None else int(match[1])


def _content(path: Path) -> str | None:
    """Digest of a session's content; None if the session is damaged."""
    try:
        return open_session(path).content_sha256
    except BadInput:
        return None


def _publish_session(path: Path, folder: Path) -> None:
    partial = folder / f".{_sequence(path):04d}{PARTIAL}"
    if not claim(partial):
        raise BadInput(f"{partial}: this number is being written; if no program does, remove it")
    try:
        with open(path, "rb") as file:
            fill(partial, file.read())
        publish(partial, folder / path.name)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise
