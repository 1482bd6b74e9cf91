"""Maps of plates' own forms, beside the records of the plates.

They lie in a folder beside the plate's record, a file a version; the highest number counts::

    instruments/plate/NAME.toml
    instruments/plate/NAME-maps/0001.toml
    instruments/plate/NAME-maps/0002.toml

None is ever written over, and each carries its own SHA-256. One that follows from the plate's own
visits names them; where those were struck out and no other map is there, the next version says
that none counts. Each also names the sessions of turning tests that were there when it was
written: where others are there now, its writer was cut off before the map.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fringe.archive.instruments import find_record, load_instrument
from fringe.errors import BadInput
from fringe.files import cannot_write, check_folder, make_folders, write_new
from fringe.orders.plate_map import PlateMap

_WITHDRAWN, _SESSIONS = "plate map withdrawn", "turning_sessions"
_FILE = re.compile(r"(\d{4,})\.toml")
# what a map says of its size, written beside it so that it can be shown without computing
FIGURES = ("irregularity_nm", "irregularity_u95_nm", "rms_nm", "rms_u95_nm")


@dataclass(frozen=True)
class PlateMapFile:
    """A plate's latest map on record.

    Attributes
    ----------
    path : Path
    known : PlateMap
    figures : dict of str to float
        Peak to valley and root mean square with half-widths of their 95 % intervals [nm].
    visits : tuple of int
        Visits of the plate that it follows from; empty where it was kept by itself.
    birge_ratio : float
        By how much its uncertainty is widened, for those visits contradict each other.
    """

    path: Path
    known: PlateMap
    figures: Mapping[str, float]
    visits: tuple[int, ...] = ()
    birge_ratio: float = 1.0

    def to_json(self) -> dict[str, object]:
        """Return what `fringe instrument show --json` says of it."""
        return {
            "when": self.known.when,
            "diameter_mm": self.known.diameter_mm,
            **self.figures,
            "undetermined_frequencies": list(self.known.undetermined),
            "sha256": self.known.digest(),
            "path": str(self.path),
            "visits": list(self.visits),
            "birge_ratio": self.birge_ratio,
        }


def plate_and_archive(text: str) -> tuple[Path, str]:
    """Split ``ARCHIVE/PLATE`` and check that a map can be written there.

    Raises
    ------
    BadInput
        If there is no record of such a plate, or its folder cannot be written.
    """
    path = Path(text)
    archive, name = path.parent, path.name
    record = load_instrument(archive, "plate", name).path
    assert record is not None
    check_folder(map_folder(record), option="--keep")
    return archive, name


def keep_map(
    archive: Path,
    made: PlateMap,
    figures: Mapping[str, float],
    visits: Sequence[int] = (),
    sessions: Sequence[str] = (),
    birge_ratio: float = 1.0,
) -> Path:
    """Write a plate's map as the next version, and return its file.

    Parameters
    ----------
    archive : Path
    made : PlateMap
    figures : mapping of str to float
        Those of `FIGURES` [nm].
    visits : sequence of int
        Visits of the plate that it follows from; empty: none.
    sessions : sequence of str
        Sessions of all turning tests among the plate's visits that count now.
    birge_ratio : float
        By how much its uncertainty is widened.

    Raises
    ------
    BadInput
        If the archive has no record of the plate, or the map cannot be written.
    """
    more: dict[str, Any] = {"visits": list(visits)} if visits else {}
    more |= {"birge_ratio": birge_ratio} if birge_ratio > 1.0 else {}
    more |= {_SESSIONS: list(sessions)} if sessions else {}
    values = {"kind": "plate map", "figures": dict(figures), **made.to_json(), **more}
    return _keep(archive, made.plate, values)


def withdraw_map(archive: Path, plate: str, sessions: Sequence[str] = ()) -> Path:
    """Write that no map of a plate counts as the next version, and return its file."""
    more = {_SESSIONS: list(sessions)} if sessions else {}
    return _keep(archive, plate, {"kind": _WITHDRAWN, "plate": plate, **more})


def sessions_seen(archive: Path, plate: str) -> tuple[str, ...]:
    """Sessions of turning tests that were there when the latest version was written.

    Raises
    ------
    BadInput
        If that cannot be read.
    """
    record = find_record(archive, "plate", plate)
    versions = [] if record is None else map_files(record)
    said = _values(versions[-1]).get(_SESSIONS) if versions else None
    return tuple(map(str, said)) if isinstance(said, list) else ()


def _keep(archive: Path, plate: str, values: Mapping[str, Any]) -> Path:
    import tomli_w

    record = load_instrument(archive, "plate", plate).path
    assert record is not None
    folder = map_folder(record)
    data = tomli_w.dumps(values).encode()
    try:
        make_folders(folder)
    except OSError as error:
        raise cannot_write(folder, error) from error
    version = max((number for number, _ in _versions(folder)), default=0) + 1
    while not write_new(folder / f"{version:04d}.toml", data):  # another writer had the number
        version += 1
    return folder / f"{version:04d}.toml"


def latest_map(archive: Path, plate: str) -> PlateMap | None:
    """The map of a plate that counts; None where the archive has no record or no map of it."""
    found = latest_file(archive, plate)
    return None if found is None else found.known


def latest_file(archive: Path, plate: str) -> PlateMapFile | None:
    """As :func:`latest_map`, with its file and its size."""
    record = find_record(archive, "plate", plate)
    versions = [] if record is None else map_files(record)
    return read_version(versions[-1]) if versions else None


def latest_by_itself(archive: Path, plate: str) -> PlateMapFile | None:
    """The latest map that was kept by itself, and not from visits of the plate."""
    record = find_record(archive, "plate", plate)
    for path in reversed([] if record is None else map_files(record)):
        found = read_version(path)
        if found is not None and not found.visits:
            return found
    return None


def map_folder(record: Path) -> Path:
    """The folder of a plate's maps, from the file of its record."""
    return record.with_name(f"{record.stem}-maps")


def map_files(record: Path) -> list[Path]:
    """Files of a plate's maps, the one that counts last."""
    return [path for _, path in sorted(_versions(map_folder(record)))]


def read_map(path: Path) -> PlateMapFile:
    """Read a map's file.

    Raises
    ------
    BadInput
        If it cannot be read, is not a map, or does not fit its digest.
    """
    found = read_version(path)
    if found is None:
        raise BadInput(f"{path}: it says that no map of the plate counts")
    return found


def read_version(path: Path) -> PlateMapFile | None:
    """Read a version of a plate's map; None where it says that none counts.

    Raises
    ------
    BadInput
        As :func:`read_map`.
    """
    values = _values(path)
    if values.get("kind") == _WITHDRAWN:
        return None
    try:
        known = PlateMap.from_json(values)
    except BadInput as error:
        raise BadInput(f"{path}: {error}") from error
    visits = values.get("visits", [])
    if not isinstance(visits, list) or not all(isinstance(one, int) for one in visits):
        raise BadInput(f"{path}: the map is damaged: visits are whole numbers")
    ratio = values.get("birge_ratio", 1.0)
    if not isinstance(ratio, float) or not ratio >= 1.0:
        raise BadInput(f"{path}: the map is damaged: its Birge ratio is a number of at least 1")
    return PlateMapFile(path, known, _figures(values), tuple(visits), ratio)


def _values(path: Path) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: the map is damaged: {error}") from error


def _figures(values: Mapping[str, Any]) -> dict[str, float]:
    said = values.get("figures")
    if not isinstance(said, Mapping):
        return {}
    return {name: float(said[name]) for name in FIGURES if isinstance(said.get(name), float)}


def _versions(folder: Path) -> list[tuple[int, Path]]:
    if not folder.is_dir():
        return []
    found = [(_FILE.fullmatch(path.name), path) for path in folder.iterdir()]
    return [(int(match[1]), path) for match, path in found if match]
