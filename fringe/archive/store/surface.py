"""Surfaces: what is being made, against which plate, to which tolerance.

The record is plain JSON that a person can read; see :mod:`fringe.archive` for the format.
"""

from __future__ import annotations

import dataclasses
import os
import re
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from fringe.archive.store.moves import finish_moves, interrupted_moves
from fringe.archive.store.names import (
    PLATE_SUFFIX,
    clean_name,
    folder_names,
    plate_of_record,
)
from fringe.archive.store.readme import readme_text
from fringe.archive.store.record_text import RESTORE, read_text_record, record_text
from fringe.errors import BadInput
from fringe.files import (
    PARTIAL,
    make_folders,
    random_suffix,
    sync_folder,
    write_new,
)
from fringe.judge.tolerance.verdict import Tolerance
from fringe.orders.chamfer import face_mm

FORMS = ("convex", "concave")
_TEXTS = ("lamp", "glass", "note", "as_typed", "watches")  # of a record
E_LINE_NM = 546.07  # mercury, ISO 7944: what ISO 10110-5 counts fringes in if nothing is said
_RECORD = re.compile(r"^surface-(\d{4,})\.json$")


@dataclass(frozen=True)
class Plate:
    """The reference plate that the work is laid on.

    Attributes
    ----------
    name : str or None
        What is engraved on it.
    radius_mm, radius_u_mm : float or None
        Certified radius and its standard uncertainty [mm].
    """

    name: str | None = None
    radius_mm: float | None = None
    radius_u_mm: float | None = None


@dataclass(frozen=True)
class Surface:
    """A surface's record.

    Attributes
    ----------
    name : str
        True name, free text.
    form : {'convex', 'concave'}
        Form of the work.
    radius_mm, radius_u_mm : float, float or None
        Nominal radius and the standard uncertainty that it is known to [mm].
    diameter_mm : float
        Diameter of the aperture: of the face that shows fringes [mm].
    chamfer_mm : float or None
        Width of the chamfer outside it; None where nothing was said of one [mm].
    plate : Plate
        The reference plate.
    tolerance : Tolerance
        What is allowed; its wavelength is the one that progress is shown in.
    lamp : str or None
        Usual lamp.
    glass, note, as_typed : str or None
        Free text; expanded uncertainties as they were typed, with their coverage.
    watches : str or None
        Folder that its photographs arrive in.
    version : int
        Number of this record, from 1.
    created_at, changed_at : datetime or None
        When the surface and this version of its record were written, with time zone.
    folder : Path or None
        Where it lies; None before it is added.
    """

    name: str
    form: str
    radius_mm: float
    diameter_mm: float
    radius_u_mm: float | None = None
    plate: Plate = Plate()
    tolerance: Tolerance = field(default_factory=Tolerance)
    lamp: str | None = None
    glass: str | None = None
    note: str | None = None
    as_typed: str | None = None
    watches: str | None = None
    version: int = 1
    created_at: datetime | None = None
    changed_at: datetime | None = None
    folder: Path | None = field(default=None, compare=False)
    chamfer_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse a record that describes no surface."""
        if not isinstance(self.name, str):
            raise BadInput(f"surface {self.name!r}: the name must be text")
        if self.form not in FORMS:
            raise BadInput(f"surface {self.name!r}: form is {self.form!r}, not convex or concave")
        _positive(self.name, "radius", self.radius_mm)
        _positive(self.name, "diameter", self.diameter_mm)
        _positive(self.name, "plate radius", self.plate.radius_mm)
        for what, u in (("radius", self.radius_u_mm), ("plate radius", self.plate.radius_u_mm)):
            if u is not None and not 0 <= u < float("inf"):
                raise BadInput(f"surface {self.name!r}: uncertainty of the {what} is {u:g} mm")
        if self.diameter_mm > 2 * self.radius_mm:
            raise BadInput(
                f"surface {self.name!r}: a diameter of {self.diameter_mm:g} mm does not fit on "
                f"a sphere of radius {self.radius_mm:g} mm"
            )
        if self.chamfer_mm is not None:
            face_mm(self.outside_diameter_mm, self.chamfer_mm)

    @property
    def outside_diameter_mm(self) -> float:
        """Diameter of the work over all [mm]; the aperture's where no chamfer is known."""
        return self.diameter_mm + 2 * (self.chamfer_mm or 0.0)

    def with_chamfer(self, chamfer_mm: float | None) -> Surface:
        """The surface of the same diameter over all with another chamfer [mm].

        Raises
        ------
        BadInput
            If no face is left.
        """
        face = face_mm(self.outside_diameter_mm, chamfer_mm)
        return dataclasses.replace(self, diameter_mm=face, chamfer_mm=chamfer_mm)

    @property
    def plate_radius_mm(self) -> float:
        """Radius of the plate [mm]; the nominal radius where the plate has none of its own."""
        return self.radius_mm if self.plate.radius_mm is None else self.plate.radius_mm

    def to_json(self) -> dict[str, object]:
        """Return the record's keys and values, without those that do not apply."""
        values: dict[str, Any] = {"name": self.name, "form": self.form}
        for name in ("radius_mm", "radius_u_mm", "diameter_mm", "chamfer_mm"):
            values[name] = getattr(self, name)
        if self.chamfer_mm is not None:
            values["outside_diameter_mm"] = self.outside_diameter_mm
        values["plate"] = _without_none(dataclasses.asdict(self.plate))
        values["tolerance"] = _without_none(self.tolerance.to_json())
        for name in (*_TEXTS, "version"):
            values[name] = getattr(self, name)
        for name in ("created_at", "changed_at"):
            time = getattr(self, name)
            values[name] = time and time.isoformat()
        return {key: value for key, value in values.items() if value not in (None, {})}

    def to_json_with_folder(self) -> dict[str, object]:
        """Return the record's keys and where it lies, as `fringe surface show --json`."""
        return {**self.to_json(), "folder": str(self.folder)}


def add_surface(archive: Path, surface: Surface, *, now: datetime | None = None) -> Surface:
    """Make a surface's folder with its record, and the archive if it is not there yet.

    Parameters
    ----------
    archive : Path
        The archive's folder.
    surface : Surface
        What to record; its version and times are set here.
    now : datetime or None
        The time to record; None asks the clock.

    Returns
    -------
    Surface
        As it was recorded, with its folder.

    Raises
    ------
    BadInput
        If the archive has a surface of that name, or cannot be written.
    """
    time = now or datetime.now().astimezone()
    name = clean_name(surface.name)
    make_archive(archive)
    if folder_by_name(archive, name) is not None:
        raise BadInput(f"{archive}: there is a surface {name!r} already; use another name")
    recorded = dataclasses.replace(surface, name=name, version=1, created_at=time, changed_at=time)
    folder = _new_folder(archive, recorded)
    return dataclasses.replace(recorded, folder=folder)


def change_surface(surface: Surface, *, now: datetime | None = None, **changes: Any) -> Surface:
    """Write a new version of a surface's record; the older ones stay.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded or added.
    now : datetime or None
        The time to record; None asks the clock.
    **changes
        Fields of `Surface` and their new values. They are applied to the newest record,
        so that a simultaneous change by another process is kept.

    Returns
    -------
    Surface
        The new record.
    """
    folder = _folder_of(surface)
    time = now or datetime.now().astimezone()
    for _ in range(1000):
        newest = load_surface(folder)
        changed = dataclasses.replace(
            newest, **changes, version=newest.version + 1, changed_at=time
        )
        if _write_record(folder, changed):
            return changed
    raise BadInput(f"{folder}: the record is being changed without end; try again later")


def load_surface(folder: Path, version: int | None = None) -> Surface:
    """Load a surface's record, the newest unless a version is asked for.

    Raises
    ------
    BadInput
        If the folder has no such record, or the record is damaged or of a newer schema.
    """
    versions = record_versions(folder)
    if not versions:
        raise BadInput(f"{folder}: this folder is not a surface (it has no surface-0001.json)")
    wanted = max(versions) if version is None else version
    if wanted not in versions:
        raise BadInput(f"{folder}: there is no version {wanted} of the surface's record")
    return _read_record(versions[wanted])


def record_versions(folder: Path) -> dict[int, Path]:
    """Map each version of a surface's record to its file."""
    try:
        with os.scandir(folder) as found:
            # a folder may be called like a record, as that of a surface of such a name
            names = [one.name for one in found if is_record(one.name) and not one.is_dir()]
    except OSError:
        return {}
    return {int(m[1]): folder / m[0] for name in names if (m := _RECORD.match(name))}


def list_surfaces(archive: Path) -> list[Path]:
    """Name the folders of an archive's surfaces, in the order of their folder names.

    Raises
    ------
    BadInput
        If the archive is not a folder.
    """
    return [folder for folder in list_folders(archive) if not is_of_plate(folder)]


def list_folders(archive: Path) -> list[Path]:
    """As :func:`list_surfaces`, with those of the plates that have visits of their own."""
    if not archive.is_dir():
        raise BadInput(f"{archive}: there is no such archive; `fringe surface add` makes one")
    folders = (entry for entry in archive.iterdir() if not entry.name.startswith("."))
    return sorted(folder for folder in folders if folder.is_dir() and record_versions(folder))


def is_of_plate(folder: Path) -> bool:
    """Whether a folder holds a plate's own visits, and not those of a surface."""
    if not folder.name.endswith(PLATE_SUFFIX):
        return False
    try:
        return plate_of_record(load_surface(folder).name) is not None
    except BadInput:
        return True


def find_surface(text: str) -> Surface:
    """Find a surface by ``ARCHIVE/NAME``: its true name, or the path of its folder.

    Raises
    ------
    BadInput
        If there is none; the line names those that there are.
    """
    cuts = reversed([i for i, letter in enumerate(text) if letter in ("/", os.sep)])
    parts = ((Path(text[:cut] or "/"), text[cut + 1 :]) for cut in cuts)
    places = [part for part in parts if part[1].strip() and part[0].is_dir()]
    for look in (_home, folder_by_name):  # the second looks into every folder
        for place in places:
            if (folder := look(*place)) is not None:
                return load_surface(folder)
        if record_versions(Path(text)):
            found = load_surface(Path(text))
            if look is folder_by_name or Path(text).name in folder_names(found.name):
                return found
    if places and finish_moves(places[0][0]):
        return find_surface(text)
    raise BadInput(_not_found(text, places[0][0] if places else None))


def is_record(name: str) -> bool:
    """Whether a file's name is that of a surface's record."""
    return _RECORD.match(name) is not None


def surface_from_values(values: dict[str, Any], folder: Path) -> Surface:
    """Make a surface of the keys and values of its record.

    Raises
    ------
    KeyError, TypeError, ValueError, BadInput
        If they describe none.
    """
    plate, tolerance = values.get("plate", {}), values.get("tolerance", {})
    return Surface(
        name=values["name"],
        form=values["form"],
        radius_mm=values["radius_mm"],
        diameter_mm=values["diameter_mm"],
        radius_u_mm=values.get("radius_u_mm"),
        plate=Plate(**_known(Plate, plate)),
        tolerance=Tolerance(**_known(Tolerance, tolerance)),
        **{name: values.get(name) for name in _TEXTS},
        version=values["version"],
        chamfer_mm=values.get("chamfer_mm"),
        created_at=datetime.fromisoformat(values["created_at"]),
        changed_at=datetime.fromisoformat(values["changed_at"]),
        folder=folder,
    )


def _read_record(path: Path) -> Surface:
    values = read_text_record(path)
    try:
        return surface_from_values(values, path.parent)
    except BadInput as error:
        raise BadInput(f"{path}: {error}; {RESTORE}") from error
    except (KeyError, TypeError, ValueError) as error:
        raise BadInput(f"{path}: the record lacks or garbles {error}; {RESTORE}") from error


def _write_record(folder: Path, surface: Surface) -> bool:
    """Write one version of a record; False if that version is there already."""
    final = folder / f"surface-{surface.version:04d}.json"
    return write_new(final, record_text(surface.to_json()).encode())


def make_archive(archive: Path) -> None:
    """Make an archive's folder with its README, if it is not there yet."""
    try:
        make_folders(archive)
    except (FileExistsError, NotADirectoryError) as error:
        raise BadInput(f"{archive}: is a file, so it cannot be an archive") from error
    except OSError as error:
        raise BadInput(f"{archive}: cannot be made: {error.strerror}") from error
    if record_versions(archive):
        raise BadInput(f"{archive}: is a surface, not an archive; name the folder above it")
    readme = archive / "README.txt"
    if not readme.exists():
        write_new(readme, readme_text().encode())


def _new_folder(archive: Path, surface: Surface) -> Path:
    """Make the folder elsewhere, with its record, and give it its name in one step."""
    draft = archive / f".{random_suffix(10)}{PARTIAL}"
    try:
        draft.mkdir()
        _write_record(draft, surface)
        return place_folder(archive, draft, surface.name)
    except OSError as error:
        raise BadInput(f"{archive}: cannot write: {error.strerror}; nothing was kept") from error
    finally:
        _remove_draft(draft)


def place_folder(archive: Path, draft: Path, name: str) -> Path:
    """Give a finished draft of a surface's folder its place among the others, in one step.

    Raises
    ------
    BadInput
        If the archive has a surface of that name.
    """
    sync_folder(draft)
    for folder_name in folder_names(name):
        final = archive / folder_name
        if not any(e.name.casefold() == folder_name.casefold() for e in archive.iterdir()):
            try:
                os.rename(draft, final)
            except OSError:
                pass  # another process was faster
            else:
                sync_folder(archive)
                return final
        if record_versions(final) and load_surface(final).name == name:
            break
    raise BadInput(f"{archive}: there is a surface {name!r} already; use another name")


def _remove_draft(draft: Path) -> None:
    if draft.is_dir():
        for entry in draft.iterdir():
            entry.unlink(missing_ok=True)
        draft.rmdir()


def folder_by_name(archive: Path, name: str) -> Path | None:
    """Folder of the surface of that true name; None if the archive has none."""
    home = _home(archive, name)
    if home is not None:
        return home
    for folder in list_folders(archive):  # a folder that was renamed by hand
        with suppress(BadInput):
            if load_surface(folder).name == clean_name(name):
                return folder
    return None


def _home(archive: Path, name: str) -> Path | None:
    """The folder that a surface's name leads to, if it lies there."""
    try:
        wanted = clean_name(name)
    except BadInput:
        return None
    for candidate in folder_names(wanted):
        folder = archive / candidate
        if record_versions(folder) and load_surface(folder).name == wanted:
            return folder
    return None


def _not_found(text: str, archive: Path | None) -> str:
    if archive is None:
        return f"{text}: there is no such surface; give ARCHIVE/NAME, the archive being a folder"
    if interrupted_moves(archive):
        return f"{text}: no such surface; a move was interrupted, `fringe check {archive}` tells"
    names = []
    for folder in list_surfaces(archive):
        try:
            names.append(load_surface(folder).name)
        except BadInput:
            names.append(folder.name)
    known = f"it has {', '.join(names[:10])}" if names else "it has none yet"
    return f"{text}: no such surface in {archive}; {known}; `fringe surface add` makes one"


def _folder_of(surface: Surface) -> Path:
    if surface.folder is None:
        raise BadInput(f"surface {surface.name!r}: it is in no archive yet; add it first")
    return surface.folder


def _positive(name: str, what: str, value: float | None) -> None:
    if value is not None and not 0 < value < float("inf"):
        raise BadInput(f"surface {name!r}: {what} must be greater than zero, not {value} mm")


def _known(kind: Any, values: Any) -> dict[str, Any]:
    if not isinstance(values, dict):
        raise TypeError(f"a {kind.__name__.lower()} that is not a JSON object")
    return {k: v for k, v in values.items() if k in kind.__dataclass_fields__}


def _without_none(values: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}
