"""A surface's record as stated by a user: new values are merged into the record."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fringe.archive.instruments import find_lamp, list_instruments, names_on_record
from fringe.archive.plates.known import plate_state
from fringe.archive.plates.state import PlateState
from fringe.archive.store.ledger import add_surface_files
from fringe.archive.store.names import plate_of_record
from fringe.archive.store.surface import (
    E_LINE_NM,
    Plate,
    Surface,
    add_surface,
    change_surface,
)
from fringe.errors import BadInput
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import light_nm
from fringe.orders.chamfer import face_mm
from fringe.units import number, positive_length_mm

# fields of a record that a change may touch
_CHANGED = (
    "radius_mm",
    "radius_u_mm",
    "diameter_mm",
    "chamfer_mm",
    "plate",
    "tolerance",
    "lamp",
    "glass",
    "note",
    "as_typed",
    "watches",
)


@dataclass(frozen=True)
class StatedRecord:
    """What is said of a surface; None leaves what is on record.

    Attributes
    ----------
    radius_mm, radius_u_mm, diameter_mm : float or None
        Nominal radius with its standard uncertainty, and the diameter over all [mm].
    chamfer_mm : float or None
        Width of the chamfer; where none is said or on record, the diameter is the aperture's.
    plate : str or None
        Name of the plate.
    plate_radius_mm, plate_radius_u_mm : float or None
        Its certified radius and standard uncertainty [mm].
    tolerance_power_fringes, tolerance_irregularity_fringes : float or None
        Allowed [fringe].
    tolerance_radius : str or None
        Radius allowed either way, as ``3mm`` or ``0.1%``.
    tolerance_wavelength_nm : float or None
        Wavelength of those fringes [nm].
    rule : str or None
        Decision rule.
    lamp, glass, note : str or None
        Usual lamp; free text.
    as_typed : str or None
        Expanded uncertainties among these as they were typed, each behind its option.
    watches : str or None
        Folder that its photographs arrive in.
    """

    radius_mm: float | None = None
    radius_u_mm: float | None = None
    diameter_mm: float | None = None
    plate: str | None = None
    plate_radius_mm: float | None = None
    plate_radius_u_mm: float | None = None
    tolerance_power_fringes: float | None = None
    tolerance_irregularity_fringes: float | None = None
    tolerance_radius: str | None = None
    tolerance_wavelength_nm: float | None = None
    rule: str | None = None
    lamp: str | None = None
    glass: str | None = None
    note: str | None = None
    as_typed: str | None = None
    watches: str | None = None
    chamfer_mm: float | None = None

    def joined(self, surface: Surface, archive: Path) -> Surface:
        """Return the record with what is said of it.

        Parameters
        ----------
        surface : Surface
            As it is on record; new, if it has no folder.
        archive : Path
            Where instruments on record lie.
        """
        names = ("radius_mm", "radius_u_mm", "lamp", "glass", "note", "watches")
        said = {name: getattr(self, name) for name in names} | self._sizes(surface)
        changed = dataclasses.replace(surface, **_without_none(said))
        return dataclasses.replace(
            changed,
            plate=self._plate(changed, archive),
            tolerance=self._tolerance(changed, archive),
            as_typed=self._as_typed(changed, archive),
        )

    def _sizes(self, surface: Surface) -> dict[str, float | None]:
        """Aperture and chamfer; what is not said of the two stays, as does the diameter over all.

        Worked out together: the aperture of a new diameter has the chamfer on record.
        """
        if self.diameter_mm is None and self.chamfer_mm is None:
            return {}
        outside = self.diameter_mm
        if outside is None:
            outside = surface.outside_diameter_mm
        chamfer = surface.chamfer_mm if self.chamfer_mm is None else self.chamfer_mm
        return {"diameter_mm": face_mm(outside, chamfer), "chamfer_mm": chamfer}

    def _as_typed(self, surface: Surface, archive: Path) -> str | None:
        """What was typed of the uncertainties on record, where it is not out of date."""
        kept = _by_option(surface.as_typed)
        if self.radius_mm is not None or self.radius_u_mm is not None:
            kept.pop("--radius", None)
        if self.radius_u_mm is not None:
            kept.pop("--radius-u", None)
        if not (
            self.plate is None and self.plate_radius_mm is None and self.plate_radius_u_mm is None
        ):
            kept = {o: text for o, text in kept.items() if not o.startswith("--plate-radius")}
        recorded = None
        if self.plate is not None and self.plate_radius_mm is None:
            recorded = _plate_on_record(archive, self.plate)
        if recorded is not None and recorded.by == "record" and self.plate_radius_u_mm is None:
            typed = _by_option(recorded.plate.values.get("as_typed"))
            certified = {o: text for o, text in typed.items() if o.startswith("--radius")}
            kept |= {f"--plate{o[1:]}": f"--plate{text[1:]}" for o, text in certified.items()}
        now = kept | _by_option(self.as_typed)
        ordered = sorted(now, key=lambda option: (option.startswith("--plate"), option))
        return "; ".join(now[option] for option in ordered) or None

    def _plate(self, surface: Surface, archive: Path) -> Plate:
        plate, name = surface.plate, self.plate
        if name is not None:
            kept = plate if name == plate.name else Plate(name)
            recorded = _recorded_plate(surface, archive, name)
            if recorded is None and self.plate_radius_mm is None and name != plate.name:
                raise BadInput(
                    f"--plate: {name!r} is not on record, "
                    f"{names_on_record(archive, 'plate', name)}; or give its --plate-radius"
                )
            plate = recorded or kept
        if self.plate_radius_mm not in (None, plate.radius_mm):
            plate = dataclasses.replace(plate, radius_u_mm=None)  # it belongs to the old radius
        said = {"radius_mm": self.plate_radius_mm, "radius_u_mm": self.plate_radius_u_mm}
        return dataclasses.replace(plate, **_without_none(said))

    def _tolerance(self, surface: Surface, archive: Path) -> Tolerance:
        lamp = None if self.lamp is None else find_lamp(self.lamp, archive)
        wavelength = None
        if self.tolerance_wavelength_nm is not None:
            wavelength = light_nm(None, self.tolerance_wavelength_nm)
        elif surface.folder is None:
            wavelength = E_LINE_NM if lamp is None else lamp.wavelength_nm
        said = {
            "power_fringes": self.tolerance_power_fringes,
            "irregularity_fringes": self.tolerance_irregularity_fringes,
            "radius_difference_mm": _radius_limit_mm(self.tolerance_radius, surface.radius_mm),
            "wavelength_nm": wavelength,
            "rule": self.rule,
        }
        return dataclasses.replace(surface.tolerance, **_without_none(said))


def add_stated(archive: Path, name: str, form: str, record: StatedRecord) -> Surface:
    """Add a surface to an archive, which is made if it is not there yet.

    Raises
    ------
    BadInput
        If the radius or the diameter is not said, or the record makes no sense.
    """
    if plate_of_record(name) is not None:
        raise BadInput(
            f"{name!r}: such a name is a plate's own; `fringe plate log` keeps visits of a plate"
        )
    if record.radius_mm is None or record.diameter_mm is None:
        raise BadInput("a surface needs --radius and --diameter, as --radius 3048mm")
    face = face_mm(record.diameter_mm, record.chamfer_mm)
    bare = Surface(name, form, record.radius_mm, face, chamfer_mm=record.chamfer_mm)
    return _on_ledger(add_surface(archive, record.joined(bare, archive)))


def change_stated(surface: Surface, record: StatedRecord) -> Surface:
    """Write a new version of a surface's record, where what is said changes anything.

    Raises
    ------
    BadInput
        If nothing is said, or the record would make no sense.
    """
    assert surface.folder is not None
    if record == StatedRecord():
        raise BadInput("there is nothing to change; give an option of what is to be different")
    after = record.joined(surface, surface.folder.parent)
    changes = {
        name: getattr(after, name)
        for name in _CHANGED
        if getattr(after, name) != getattr(surface, name)
    }
    return _on_ledger(change_surface(surface, **changes)) if changes else surface


def _on_ledger(surface: Surface) -> Surface:
    assert surface.folder is not None
    add_surface_files(surface.folder)
    return surface


def _recorded_plate(surface: Surface, archive: Path, name: str) -> Plate | None:
    """The plate as the archive's own record has it; None without one."""
    known = _plate_on_record(archive, name)
    if known is None:
        return None
    if known.form == surface.form:
        raise BadInput(
            f"plate {name}: it is {known.form} like the surface; the two do not fit together"
        )
    return Plate(name, known.radius_mm, known.u_mm)


def _plate_on_record(archive: Path, name: str) -> PlateState | None:
    """What its record and its own visits tell of a plate; None where it is on no record."""
    if not archive.is_dir() or name not in {o.name for o in list_instruments(archive, "plate")}:
        return None
    return plate_state(archive, name)


def _by_option(as_typed: str | None) -> dict[str, str]:
    """Texts that were typed, each with its option, by that option."""
    texts = re.split(r"; (?=--)", as_typed or "")
    return {text.split(" ", 1)[0]: text for text in texts if text}


def _radius_limit_mm(text: str | None, radius_mm: float) -> float | None:
    if text is None:
        return None
    if not text.rstrip().endswith("%"):
        return positive_length_mm(text, "--tolerance-radius")
    percent = number(text.rstrip()[:-1].strip())
    if not 0 < percent < 100:
        raise BadInput(f"--tolerance-radius: {text!r} is not a share of the radius; write 0.1%")
    return percent / 100 * radius_mm


def _without_none(values: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}
