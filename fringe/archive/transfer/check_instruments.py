"""Check the records of an archive's instruments, and the maps of its plates."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.instruments import FOLDER as INSTRUMENTS
from fringe.archive.instruments import KINDS, read_instrument
from fringe.archive.plate_maps import map_files, map_folder, read_version
from fringe.archive.plates.form import is_behind
from fringe.archive.plates.visits import plate_log
from fringe.archive.transfer.findings import Findings, not_checked, other_files
from fringe.errors import BadInput


def instrument_findings(archive: Path) -> Findings:
    """What a check finds in the records of an archive's instruments."""
    try:
        return _check_instruments(archive)
    except OSError as error:
        return Findings(0, (not_checked(Path(error.filename or archive / INSTRUMENTS), error),))


def _behind(archive: Path, record: Path) -> str | None:
    """Say that a plate's map is not that of its turning tests; what cannot be read others name."""
    try:
        log = plate_log(archive, read_instrument(record, "plate"))
        if log is None or log.problems or not is_behind(archive, log):
            return None
    except BadInput:
        return None
    name = log.plate.name
    return (
        f"{record}: the map of plate {name} is not that of its turning tests; a writer was "
        f"interrupted, or is at it; `fringe plate show {archive}/{name}` finishes that"
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
                read_version(path)
            except BadInput as error:
                problems.append(str(error))
        if kind == "plate":
            problems += [line for path in paths if (line := _behind(archive, path)) is not None]
        for folder, known in (*maps.items(), (root / kind, {*paths, *maps})):
            more, others = other_files(folder, set(known))
            leftovers += more
            unknown += others
    if root.is_dir():
        unknown += other_files(root, folders)[1]
    return Findings(checked, tuple(problems), tuple(leftovers), tuple(unknown))
