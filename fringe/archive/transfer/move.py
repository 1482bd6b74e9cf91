"""Move a surface from one archive to another, with every session as it was written."""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

from fringe.archive.instruments import FOLDER
from fringe.archive.plate_maps import map_files, map_folder
from fringe.archive.plates.visits import plate_folder
from fringe.archive.store.claim import held
from fringe.archive.store.ledger import add_leaving, add_surface_files, surface_id
from fringe.archive.store.moves import finish_moves
from fringe.archive.store.names import folder_names, plate_of_record, plate_record_name
from fringe.archive.store.read import session_files
from fringe.archive.store.surface import (
    Surface,
    folder_by_name,
    load_surface,
    make_archive,
    place_folder,
    record_versions,
)
from fringe.errors import BadInput
from fringe.files import MOVING, PARTIAL, copy_whole, random_suffix, sync_folder


def move_surface(surface: Surface, archive: Path) -> Surface:
    """Move a surface's folder to another archive.

    The folder takes a hidden name first, so that nobody logs to it meanwhile; it gets it back
    if anything fails. On another disk the files are copied, and held against the originals
    byte by byte, before those go. Records of the surface's plate and lamp are copied along if
    the other archive has none of their name.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    archive : Path
        Where to; it is made if it is not there.

    Returns
    -------
    Surface
        At its new place.

    Raises
    ------
    BadInput
        If it is there already, one of its name is, or a file cannot be moved; it is where it
        was then.
    """
    source = surface.folder
    if source is None:
        raise BadInput(f"surface {surface.name!r}: it is in no archive yet; add it first")
    make_archive(archive)
    finish_moves(archive)
    if archive.resolve() == source.parent.resolve():
        raise BadInput(f"{archive}: {surface.name!r} is in this archive already")
    if folder_by_name(archive, surface.name) is not None:
        raise BadInput(f"{archive}: there is a surface {surface.name!r} already; use another name")
    hidden = source.with_name(f".{source.name}.{random_suffix()}{MOVING}")
    try:
        with held(source):  # whoever writes there is waited for
            # said first: killed later, its files are missed by nobody, and one that comes back
            # is told of again
            identity = surface_id(source)
            if identity is not None:
                add_leaving(source.parent, identity, surface.name, archive)
            os.rename(source, hidden)
            try:
                final = _bring(hidden, archive, surface.name)
            except BaseException:
                os.rename(hidden, source)
                add_surface_files(source)
                raise
    except OSError as error:
        reason = f"cannot be moved: {error.strerror}; it is where it was"
        raise BadInput(f"{source}: {reason}") from error
    sync_folder(source.parent)
    _copy_instruments(surface, source.parent, archive)
    add_surface_files(final)
    return load_surface(final)


def _bring(hidden: Path, archive: Path, name: str) -> Path:
    """Take the folder to the archive and give it a name there; copied from another disk."""
    draft = archive / hidden.name
    try:
        os.rename(hidden, draft)
    except OSError as error:
        if error.errno not in _OTHER_DISK:
            raise
        return _copy_over(hidden, archive, name)
    try:
        return place_folder(archive, draft, name)
    except BaseException:
        os.rename(draft, hidden)
        raise


# EXDEV of POSIX, and what Windows says of another drive
_OTHER_DISK = (18, 17)


def _copy_over(hidden: Path, archive: Path, name: str) -> Path:
    paths = [path for path in sorted(hidden.iterdir()) if not path.name.endswith(PARTIAL)]
    for path in paths:  # the originals go in the end, and nothing must go with them
        if path.is_symlink() or not path.is_file():
            raise BadInput(f"{path.name} in the surface's folder is not a file; take it out first")
    draft = archive / f".{random_suffix(10)}{PARTIAL}"
    draft.mkdir()
    try:
        for path in paths:
            _copy_file(path, draft / path.name)
        final = place_folder(archive, draft, name)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise
    # from here on the surface is there, and what is left here must not become one again
    gone = hidden.with_name(hidden.name.removesuffix(MOVING) + PARTIAL)
    os.rename(hidden, gone)
    shutil.rmtree(gone, ignore_errors=True)
    return final


def _copy_file(source: Path, target: Path) -> None:
    copy_whole(source, target)
    if _digest(source) != _digest(target):
        raise OSError(5, f"{source.name} came out otherwise on the other disk")


def _digest(path: Path) -> bytes:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").digest()


def _copy_instruments(surface: Surface, old: Path, new: Path) -> None:
    """Copy the records of plate and lamp; what cannot be copied stands in the sessions anyway.

    With a plate that is new there go its maps and its own visits.
    """
    # what moves may be a plate itself
    plate = plate_of_record(surface.name) or surface.plate.name
    for kind, name in (("plate", plate), ("lamp", surface.lamp)):
        if name is None:
            continue
        for stem in folder_names(name):
            source = old / FOLDER / kind / f"{stem}.toml"
            target = new / FOLDER / kind / f"{stem}.toml"
            if source.is_file() and not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                copy_whole(source, target)
                if kind == "plate":
                    _copy_plate(name, source, target, old, new)


def _copy_plate(name: str, source: Path, target: Path, old: Path, new: Path) -> None:
    """Copy what an archive holds of a plate besides its record: maps of its form, own visits."""
    for path in map_files(source):
        folder = map_folder(target)
        folder.mkdir(parents=True, exist_ok=True)
        copy_whole(path, folder / path.name)
    record = plate_record_name(name)
    visits = plate_folder(old, name)
    if visits is None or plate_folder(new, name) is not None:
        return
    draft = new / f".{random_suffix(10)}{PARTIAL}"
    try:
        draft.mkdir()
        with held(visits):
            for path in (*record_versions(visits).values(), *session_files(visits)):
                _copy_file(path, draft / path.name)
        add_surface_files(place_folder(new, draft, record))
    finally:
        shutil.rmtree(draft, ignore_errors=True)
