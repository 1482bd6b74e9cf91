"""A plate's own visits, and what each of them tells.

They are kept as a surface's visits are, see :mod:`fringe.archive.store`, in a folder of their own:
`P7.plate` beside the surfaces. So their numbers, corrections and proofs are the same.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from fringe.archive.instruments import (
    Instrument,
    add_instrument,
    find_record,
    list_instruments,
    load_instrument,
    spherometer_from_record,
)
from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.names import (
    PLATE_SUFFIX,
    clean_name,
    folder_names,
    plate_of_record,
    plate_record_name,
)
from fringe.archive.store.order import Survey, survey
from fringe.archive.store.read import read_session
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Session, SessionSummary
from fringe.archive.store.surface import load_surface, record_versions
from fringe.errors import BadInput
from fringe.judge.pair.layings import Laying
from fringe.judge.plates.evidence import UM_PER_MM, PlateCertificate, PlateSagitta
from fringe.judge.tolerance.measured import Measured

CERTIFICATE, TURNING, RECORD = "certificate", "turning", "record"  # among a visit's inputs


@dataclass(frozen=True)
class PlateVisit:
    """A visit of a plate that counts, with what it holds.

    Attributes
    ----------
    plate : Instrument
        The plate's record.
    session : Session
        Without its photographs.
    """

    plate: Instrument
    session: Session

    @property
    def summary(self) -> SessionSummary:
        """Number, time and what the readings measured."""
        return self.session.summary

    @property
    def number(self) -> int:
        """Of the visit."""
        return self.summary.number

    @property
    def label(self) -> str:
        """What it is called beside others."""
        return f"visit {self.number} of {self.plate.name}"

    @property
    def is_turning(self) -> bool:
        """Whether its photographs are of a turning test."""
        return TURNING in self.session.visit.inputs

    @property
    def kinds(self) -> tuple[str, ...]:
        """What it holds: certificate, spherometer, contact, turning."""
        visit = self.session.visit
        found = [CERTIFICATE] if CERTIFICATE in visit.inputs else []
        found += ["spherometer"] if visit.spherometers else []
        if self.is_turning:
            return (*found, TURNING)
        return (*found, *(["contact"] if visit.readings or visit.photographs else []))

    def certificate(self) -> PlateCertificate | None:
        """The certificate that it brought."""
        values = self.session.visit.inputs.get(CERTIFICATE)
        if not isinstance(values, Mapping):
            return None
        radius = _number(values.get("radius_mm"))
        if radius is None or radius <= 0:
            raise BadInput(f"{self.summary.place}: its certificate tells no radius")
        return PlateCertificate(
            self.plate.name,
            "certificate",
            radius,
            _number(values.get("u_radius_mm")),
            _date(values.get("certified")),
            str(values.get("issued_by") or ""),
            self.number,
        )

    def certified(self) -> date | None:
        """Date of that certificate, where it was said."""
        values = self.session.visit.inputs.get(CERTIFICATE)
        return _date(values.get("certified")) if isinstance(values, Mapping) else None

    def recalibrate_months(self) -> float | None:
        """After how many months that certificate is to be renewed, where it was said."""
        values = self.session.visit.inputs.get(CERTIFICATE)
        return _number(values.get("recalibrate_months")) if isinstance(values, Mapping) else None

    def sagittas(self) -> list[PlateSagitta]:
        """Readings of the spherometer on the plate."""
        return [self._sagitta(one) for one in self.session.visit.spherometers]

    def _sagitta(self, one: LoggedSpherometer) -> PlateSagitta:
        heights, zeros = (
            tuple(UM_PER_MM * float(x) for x in data) for data in (one.height_mm, one.zero_mm)
        )
        return PlateSagitta(
            self.plate.name,
            self.plate.values["form"],
            f"by {one.geometry.get('name', 'spherometer')}",
            heights,
            zeros,
            spherometer_from_record(one.geometry),
            UM_PER_MM * float(one.options.get("u_reading_mm") or 0.0),
            UM_PER_MM * float(one.options.get("u_drift_mm") or 0.0),
            self.number,
        )

    def layings(self) -> list[Laying]:
        """Contacts with other plates."""
        if self.is_turning:
            return []
        readings, found = self.session.visit.readings, []
        for other in dict.fromkeys(one.against for one in readings if one.against is not None):
            of_other = [one for one in readings if one.against == other]
            circle = next((one.aperture_mm for one in of_other if one.aperture_mm), None)
            lamp = next((one.lamp for one in of_other if one.lamp is not None), None)
            found.append(
                Laying(
                    f"{self.plate.name} on {other}",
                    self.plate.name,
                    other,
                    self.number,
                    circle or self.session.surface.diameter_mm,
                    tuple(self._measured(one) for one in of_other),
                    lamp,
                )
            )
        return found

    def _measured(self, one: LoggedReading) -> Measured:
        """What a contact measured over the circle that it was read over."""
        session = self.session
        bench = bench_of(
            session.surface,
            session.visit.instruments,
            aperture_mm=one.aperture_mm,
            against=one.against,
            options=one.options,
        )
        return logged_measured(one, bench)


@dataclass(frozen=True)
class PlateLog:
    """All visits of a plate.

    Attributes
    ----------
    plate : Instrument
        Its record.
    folder : Path
        Where they lie.
    visits : tuple of PlateVisit
        Those that count, in their order.
    found : Survey
        All that the folder holds.
    problems : tuple of str
        One line for each session that cannot be read.
    """

    plate: Instrument
    folder: Path
    visits: tuple[PlateVisit, ...]
    found: Survey
    problems: tuple[str, ...] = ()


def find_plate(place: str) -> tuple[Path, Instrument]:
    """Find a plate on record by ``ARCHIVE/NAME``.

    Raises
    ------
    BadInput
        If there is none of that name; the line names those that there are.
    """
    cuts = [i for i, letter in enumerate(place) if letter == "/"]
    for cut in reversed(cuts):
        archive, name = Path(place[:cut] or "/"), place[cut + 1 :]
        if name.strip() and archive.is_dir() and find_record(archive, "plate", name) is not None:
            return archive, load_instrument(archive, "plate", name)
    path = Path(place)
    if path.is_dir() and (known := [one.name for one in list_instruments(path, "plate")]):
        raise BadInput(
            f"{place}: an archive; say which plate, as {path / known[0]}; there are "
            f"{', '.join(known)}"
        )
    if not cuts or not path.parent.is_dir() or not path.name:
        raise BadInput(f"{place or repr(place)}: there is no such plate; give ARCHIVE/NAME")
    return path.parent, load_instrument(path.parent, "plate", path.name)


def plate_folder(archive: Path, name: str) -> Path | None:
    """Folder of a plate's own visits; None where it has none.

    Raises
    ------
    BadInput
        If it may not be looked into: what its visits tell is not known then.
    """
    wanted = plate_record_name(clean_name(name))
    places = [archive / candidate for candidate in folder_names(wanted)]
    for folder in places:
        if folder.is_dir() and not os.access(folder, os.R_OK | os.X_OK):
            raise BadInput(f"{folder}: the plate's visits cannot be read: permission denied")
    for folder in (*places, *sorted(archive.glob(f"*{PLATE_SUFFIX}"))):
        try:
            if record_versions(folder) and load_surface(folder).name == wanted:
                return folder
        except BadInput:
            continue
    return None


def plate_log(archive: Path, plate: Instrument) -> PlateLog | None:
    """Read a plate's own visits; None where it has none."""
    folder = plate_folder(archive, plate.name)
    if folder is None:
        return None
    found = survey(folder)
    visits, problems = [], list(found.problems)
    for summary in found.sessions:
        try:
            visits.append(PlateVisit(plate, read_session(summary.place, summary)))
        except BadInput as error:
            problems.append(str(error))
    return PlateLog(plate, folder, tuple(visits), found, tuple(problems))


def _number(value: Any) -> float | None:
    sound = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if sound else None


def _date(value: Any) -> date | None:
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        return None


def restore_record(archive: Path, folder: Path) -> None:
    """Write the record of a plate whose visits came from elsewhere, where there is none of it.

    It is the one that the last visit keeps, or what its folder's own record tells.
    """
    surface = load_surface(folder)
    name = plate_of_record(surface.name)
    if name is None or find_record(archive, "plate", name) is not None:
        return
    values: dict[str, Any] = {
        "form": surface.form,
        "radius_mm": surface.radius_mm,
        "diameter_mm": surface.diameter_mm,
    }
    for summary in reversed(survey(folder).sessions):
        try:
            kept = read_session(summary.place, summary).visit.inputs.get(RECORD)
        except BadInput:
            continue
        if isinstance(kept, dict):
            values = {k: v for k, v in kept.items() if k not in ("kind", "name", "added")}
            break
    add_instrument(archive, "plate", name, values)
