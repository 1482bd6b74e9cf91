"""Records of instruments: plates, spherometers, cameras and lamps, as TOML that a person reads.

They lie in the archive's folder, one file each::

    instruments/plate/NAME.toml
    instruments/spherometer/NAME.toml
    instruments/camera/NAME.toml
    instruments/lamp/NAME.toml

A record may be changed, or mended by hand; so whoever uses one keeps a copy of what was used,
by :func:`instrument_record`. Lengths are numbers in the unit that their name ends with;
uncertainties (`u_...`) are standard uncertainties.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeGuard

from fringe.archive.store.names import clean_name, folder_names
from fringe.errors import BadInput, nearest_name
from fringe.files import (
    cannot_write,
    write_new,
    write_whole,
)

if TYPE_CHECKING:
    from fringe.optics.lamps import Lamp
    from fringe.optics.spherometer import Spherometer

FOLDER = "instruments"
KINDS = ("plate", "spherometer", "camera", "lamp")

# kind: field: (type, what it is). `length` and `u` are numbers, the first greater than zero.
FIELDS: dict[str, dict[str, tuple[str, str]]] = {
    "plate": {
        "form": ("form", "convex or concave"),
        "radius_mm": ("length", "certified radius"),
        "u_radius_mm": ("u", "standard uncertainty of the radius"),
        "how_known": ("text", "how the radius is known: certificate, date, method"),
        "certified": ("date", "date of the certificate, as 2026-03-14"),
        "issued_by": ("text", "who issued it"),
        "recalibrate_months": ("length", "months after which it is to be certified anew"),
        "diameter_mm": ("length", "diameter"),
        "thickness_mm": ("length", "thickness"),
        "glass": ("text", "glass, by its name in the table where it stands there"),
        "back": ("back", "flat, or concentric with its face"),
        "u_form_nm": ("u", "standard uncertainty of its form, in height over its diameter"),
        "sphericity": (
            "text",
            "evidence that it is a sphere, as a grating test with straight "
            "lines at its centre of curvature",
        ),
    },
    "spherometer": {
        "ring_inner_mm": ("length", "diameter of a plain ring's inner edge"),
        "ring_outer_mm": ("length", "diameter of a plain ring's outer edge"),
        "legs_mm": ("lengths", "spacing of three legs: one, or all three"),
        "foot_circle_mm": ("length", "diameter of the circle that the feet stand on"),
        "ball_diameter_mm": ("length", "diameter of the ball feet; without it they are points"),
        "u_size_mm": ("u", "standard uncertainty of the ring's, legs' or circle's size"),
        "u_ball_diameter_mm": ("u", "standard uncertainty of the balls' diameter"),
        "u_reading_um": ("u", "standard uncertainty of one reading that repeating does not better"),
        "calibrated": ("date", "when the gauge was last calibrated, as 2026-03-14"),
        "u_drift_um_per_year": (
            "u",
            "standard uncertainty that its readings gain in a year since",
        ),
        "u_scale": ("u", "relative standard uncertainty of the gauge's scale"),
    },
    "camera": {
        "distance_mm": ("length", "from the work to the camera"),
        "u_distance_mm": ("u", "standard uncertainty of the distance"),
        "scale_px_per_mm": ("length", "pixels for a millimetre on the work"),
        "u_scale_px_per_mm": ("u", "standard uncertainty of the scale"),
    },
    "lamp": {
        "lines": ("lines", "wavelength_nm in air, weight and fwhm_nm of each line"),
        "u_wavelength_nm": ("u", "standard uncertainty of the mean wavelength in use"),
        "source": ("text", "where the wavelengths come from"),
    },
}
NEEDED = {
    "plate": ("form", "radius_mm"),
    "spherometer": (),
    "camera": (),
    "lamp": ("lines", "source"),
}
COMMON = {
    "note": ("text", "free text"),
    "as_typed": ("text", "expanded uncertainties as they were typed, with their coverage"),
}


@dataclass(frozen=True)
class Instrument:
    """A record as it stands in its file.

    Attributes
    ----------
    kind : {'plate', 'spherometer', 'camera', 'lamp'}
        What it is.
    name : str
        As it is called in the shop.
    values : dict
        Its fields, see `FIELDS`.
    added : str
        Date of the record, ISO 8601.
    path : Path or None
        Its file.
    """

    kind: str
    name: str
    values: dict[str, Any]
    added: str = ""
    path: Path | None = None

    def record(self) -> dict[str, object]:
        """Return the record as plain values, to be kept with what was measured by it."""
        return {"kind": self.kind, "name": self.name, "added": self.added, **self.values}


def add_instrument(
    archive: Path, kind: str, name: str, values: Mapping[str, Any], *, replace: bool = False
) -> Instrument:
    """Write an instrument's record.

    Parameters
    ----------
    archive : Path
        The archive's folder; it is made if it is not there.
    kind, name : str
        Kind of instrument and its name.
    values : mapping
        Fields of that kind, see `FIELDS`; None where one is not known.
    replace : bool
        Write over a record of the same name.

    Returns
    -------
    Instrument

    Raises
    ------
    BadInput
        If a field is unknown, missing or makes no sense, the name is taken, or the archive
        cannot be written.
    """
    import tomli_w

    from fringe.archive.store.ledger import add_instrument_files

    name = _clean(name)
    kept = {key: value for key, value in values.items() if value is not None}
    check_fields(kind, name, kept)
    if kind == "plate" and kept.get("diameter_mm", 0.0) > 2 * kept["radius_mm"]:
        raise BadInput(
            f"{name}: a diameter of {kept['diameter_mm']:g} mm does not lie on a sphere of "
            f"radius {kept['radius_mm']:g} mm"
        )
    instrument = Instrument(kind, name, kept, date.today().isoformat())
    taken = find_record(archive, kind, name)
    if taken is not None and not replace:
        raise BadInput(f"{taken}: there is a {kind} {name!r} already; --replace writes over it")
    final = taken or _folder(archive, kind) / f"{folder_names(name)[0]}.toml"
    data = tomli_w.dumps(instrument.record()).encode()
    _write(final, data, replace=replace)
    add_instrument_files(archive)
    return Instrument(kind, name, kept, instrument.added, final)


def load_instrument(archive: Path, kind: str, name: str) -> Instrument:
    """Load one record.

    Raises
    ------
    BadInput
        If there is none of that name (the line names those that there are), or it is damaged.
    """
    _known_kind(kind)
    path = find_record(archive, kind, name)
    if path is None:
        raise BadInput(
            f"{archive}: no {kind} named {name!r}; {names_on_record(archive, kind, name)}"
        )
    return read_instrument(path, kind)


def names_on_record(archive: Path, kind: str, name: str) -> str:
    """Say which instruments of a kind are on record, and which is called nearly so."""
    names = [one.name for one in list_instruments(archive, kind)] if archive.is_dir() else []
    if not names:
        return "there is none yet; `fringe instrument add` makes a record"
    near = nearest_name(name, names)
    nearest = f", the nearest is {near!r}" if near else ""
    return f"there are {', '.join(names)}{nearest}"


def instrument_record(archive: Path, kind: str, name: str) -> dict[str, Any]:
    """One record as plain values, for a session to keep."""
    return load_instrument(archive, kind, name).record()


def record_if_any(archive: Path, kind: str, name: str) -> dict[str, Any] | None:
    """One record as plain values; None where the archive has none of that name."""
    path = find_record(archive, kind, name)
    return None if path is None else read_instrument(path, kind).record()


def list_instruments(archive: Path, kind: str | None = None) -> list[Instrument]:
    """Load all records of an archive, or those of one kind, by kind and name.

    Raises
    ------
    BadInput
        If the archive is not a folder, or a record is damaged.
    """
    if not archive.is_dir():
        raise BadInput(f"{archive}: there is no such archive")
    kinds = KINDS if kind is None else (kind,)
    found = []
    for one in kinds:
        _known_kind(one)
        paths = sorted((archive / FOLDER / one).glob("*.toml"))
        found += [read_instrument(path, one) for path in paths if not path.name.startswith(".")]
    return found


def read_instrument(path: Path, kind: str) -> Instrument:
    """Read a record's file.

    Raises
    ------
    BadInput
        If it cannot be read, is not TOML, or a field is unknown or makes no sense.
    """
    import tomllib

    try:
        values = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: the record is damaged: {error}") from error
    # TOML has dates of its own, JSON has not
    values = {k: v.isoformat() if isinstance(v, date) else v for k, v in values.items()}
    name, added = values.pop("name", None), values.pop("added", "")
    if values.pop("kind", None) != kind or not isinstance(name, str):
        raise BadInput(f"{path}: this is not a record of a {kind}; it needs kind and name")
    check_fields(kind, str(path), values)
    return Instrument(kind, name, values, str(added), path)


def check_fields(kind: str, where: str, values: Mapping[str, Any]) -> None:
    """Refuse fields that are unknown, missing or make no sense, by name."""
    _known_kind(kind)
    fields = FIELDS[kind] | COMMON
    for key, value in values.items():
        if key not in fields:
            raise BadInput(f"{where}: a {kind} has no {key!r}; it has {', '.join(fields)}")
        problem = _problem(fields[key][0], value)
        if problem:
            raise BadInput(f"{where}: {key} {problem}")
    for key in NEEDED[kind]:
        if key not in values:
            raise BadInput(f"{where}: a {kind} needs {key} ({fields[key][1]})")
    if kind == "spherometer":
        _spherometer(where, values)
    if kind == "camera" and not {"distance_mm", "scale_px_per_mm"} & set(values):
        raise BadInput(f"{where}: a camera needs its distance or its scale")


def spherometer_from_record(record: Mapping[str, Any]) -> Spherometer:
    """Turn the record of a spherometer into what the formulas take; BadInput if it cannot be."""
    return _spherometer(str(record.get("name", "spherometer")), record)


def lamp_from_record(record: Mapping[str, Any]) -> Lamp:
    """Turn the record of a lamp into a lamp as those of the table."""
    from fringe.optics.lamps import Lamp, Line

    lines = tuple(
        Line(float(line["wavelength_nm"]), float(line["weight"]), float(line.get("fwhm_nm", 0)))
        for line in record["lines"]
    )
    return Lamp(
        name=str(record.get("name", "lamp")),
        lines=lines,
        # a doubtful lamp is good to about a nanometre (common practice, no source)
        u_wavelength_nm=float(record.get("u_wavelength_nm", 1.0)),
        source=str(record["source"]),
        trust="given",
        note=str(record.get("note", "")),
    )


def find_lamp(name: str, archive: Path | None = None) -> Lamp:
    """Look a lamp up in the archive's records first, then in the table."""
    from fringe.optics.lamps import lamp

    if archive is not None and find_record(archive, "lamp", name) is not None:
        return lamp_from_record(instrument_record(archive, "lamp", name))
    known = archive is not None and archive.is_dir()
    others = [one.name for one in list_instruments(archive, "lamp")] if archive and known else []
    return lamp(name, others)


def _spherometer(where: str, values: Mapping[str, Any]) -> Spherometer:
    import dataclasses

    from fringe.optics import spherometer as optics

    shapes = [key for key in ("ring_inner_mm", "legs_mm", "foot_circle_mm") if key in values]
    if len(shapes) != 1:
        raise BadInput(f"{where}: a spherometer is one of ring_inner_mm, legs_mm or foot_circle_mm")
    calibrated, drift = values.get("calibrated"), values.get("u_drift_um_per_year")
    if drift is not None and calibrated is None:
        raise BadInput(f"{where}: a drift counts from a date; give calibrated (--calibrated)")
    ball = float(values.get("ball_diameter_mm", 0.0))
    u_size = values.get("u_size_mm")
    if shapes[0] == "ring_inner_mm":
        if ball:
            raise BadInput(f"{where}: a plain ring has no ball feet; give foot_circle_mm")
        one = optics.ring(values["ring_inner_mm"], values.get("ring_outer_mm"))
        u_contact = _half(u_size)
    elif shapes[0] == "legs_mm":
        one = optics.three_legs(values["legs_mm"], ball)
        # an even triangle's circle is its side over the root of three
        u_contact = None if u_size is None else u_size / math.sqrt(3)
    else:
        one = optics.circle_of_feet(values["foot_circle_mm"], ball)
        u_contact = _half(u_size)
    reading = values.get("u_reading_um")
    return dataclasses.replace(
        one,
        u_contact_mm=u_contact,
        u_ball_mm=_half(values.get("u_ball_diameter_mm")),
        u_reading_mm=None if reading is None else reading / 1000,
        u_scale=float(values.get("u_scale", 0.0)),
        calibrated=None if calibrated is None else date.fromisoformat(calibrated),
        u_drift_mm_per_year=None if drift is None else drift / 1000,
        name=str(values.get("name", "")),
    )


def _half(value: float | None) -> float | None:
    return None if value is None else value / 2


def _problem(kind: str, value: Any) -> str | None:
    """Say what is wrong with a field's value; None if nothing."""
    if kind == "text":
        return None if isinstance(value, str) and value.strip() else "must be text"
    if kind == "date":
        return None if _is_date(value) else f"must be a date as 2026-03-14, not {value!r}"
    if kind == "form":
        return None if value in ("convex", "concave") else "must be convex or concave"
    if kind == "back":
        return None if value in ("flat", "concentric") else "must be flat or concentric"
    if kind == "lengths":
        sound = isinstance(value, list | tuple) and len(value) in (1, 3)
        sound = sound and all(_is_number(one) and one > 0 for one in value)
        return None if sound else "must be a list of one or three numbers greater than zero"
    if kind == "lines":
        return _lines_problem(value)
    if not _is_number(value):
        return f"must be a number, not {value!r}"
    if kind == "u":
        return None if value >= 0 else "must be zero or more"
    return None if value > 0 else "must be greater than zero"


def _is_date(value: Any) -> bool:
    try:
        date.fromisoformat(value)
    except (TypeError, ValueError):
        return False
    return True


def _lines_problem(lines: Any) -> str | None:
    if not isinstance(lines, list | tuple) or not lines:
        return "must list at least one line"
    for line in lines:
        if not isinstance(line, Mapping) or set(line) - {"wavelength_nm", "weight", "fwhm_nm"}:
            return "must have wavelength_nm, weight and fwhm_nm, and nothing else"
        wavelength, weight = line.get("wavelength_nm"), line.get("weight")
        width = line.get("fwhm_nm", 0.0)
        if not (_is_number(wavelength) and _is_number(weight) and _is_number(width)):
            return "must have wavelength_nm and weight as numbers"
        if not (200 <= wavelength <= 2500 and weight > 0 and width >= 0):
            return "must lie between 200 and 2500 nm, with weight above zero and width not below"
    return None


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _known_kind(kind: str) -> None:
    if kind not in KINDS:
        raise BadInput(f"no instrument of kind {kind!r}; there are {', '.join(KINDS)}")


def _clean(name: str) -> str:
    try:
        return clean_name(name)
    except BadInput as error:
        raise BadInput(str(error).replace("surface name", "instrument name", 1)) from error


def _folder(archive: Path, kind: str) -> Path:
    folder = archive / FOLDER / kind
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(folder, error) from error
    return folder


def find_record(archive: Path, kind: str, name: str) -> Path | None:
    """File of a record by the instrument's name; None where the archive has none."""
    for stem in folder_names(_clean(name)):
        path = archive / FOLDER / kind / f"{stem}.toml"
        if path.is_file():
            return path
    return None


def _write(final: Path, data: bytes, *, replace: bool) -> None:
    """Write a record whole or not at all."""
    if replace:
        write_whole(final, data)
    elif not write_new(final, data):
        raise BadInput(f"{final}: another program wrote this record just now")
