"""A visit of a plate: read, completed where it corrects, and kept as a surface's visits are."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fringe.archive.instruments import (
    Instrument,
)
from fringe.archive.plates.form import keep_form
from fringe.archive.plates.known import plate_state
from fringe.archive.plates.state import PlateState
from fringe.archive.plates.visits import find_plate, plate_folder, plate_log
from fringe.archive.store.ledger import add_surface_files
from fringe.archive.store.names import plate_record_name
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface, add_surface, load_surface
from fringe.archive.store.write import write_visit
from fringe.archive.views.correction import visit_to_correct
from fringe.archive.views.plate_reading import AskedPlateVisit
from fringe.archive.views.plate_request import PlateRequest
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions


@dataclass(frozen=True)
class LoggedPlateVisit:
    """A plate's visit in the archive, and what is known of the plate before and with it.

    Attributes
    ----------
    archive, path : Path
        The archive, and the visit's file.
    number : int
        Of the visit.
    visit : Visit
        As it was written.
    before : PlateState
    after : PlateState or None
        None where that could not be worked out.
    assumed, failures : tuple of str
        What was not said, and what could not be worked out beside it, a line each.
    """

    archive: Path
    path: Path
    number: int
    visit: Visit
    before: PlateState
    after: PlateState | None
    assumed: tuple[str, ...] = ()
    failures: tuple[str, ...] = ()

    @property
    def warnings(self) -> list[str]:
        """What the person should know besides, one line each."""
        kept = f"visit {self.number} is kept, do not log it again; "
        problems = () if self.after is None else self.after.problems
        return [*problems, *(kept + line for line in self.failures)]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe plate log --json`."""
        known = None if self.after is None else self.after.to_json(date.today())
        return {
            "plate": self.before.name,
            "visit": self.number,
            "kept": True,
            "session": self.path.stem,
            "file": str(self.path),
            "radius_before_mm": self.before.radius_mm,
            "radius_before_u95_mm": self.before.u95_mm,
            "state": known,
            "assumed": list(self.assumed),
            "problems": self.warnings,
        }


def log_plate_visit(
    place: str, photos: Sequence[Path], request: PlateRequest, stated: StatedOptions
) -> LoggedPlateVisit:
    """Log a visit of a plate, correct one, or strike one out.

    Parameters
    ----------
    place : str
        ``ARCHIVE/NAME`` of a plate on record.
    photos : sequence of Path
    request : PlateRequest
    stated : StatedOptions
        How the photographs were taken.

    Raises
    ------
    BadInput
        If something that is said makes no sense; nothing is written then.
    Refused
        If a photograph supports no reading.
    """
    archive, plate = find_plate(place)
    before = plate_state(archive, plate.name)
    surface = _surface(archive, plate, request)
    notes: list[str] = []
    if request.strike is not None:
        visit = _struck(surface, photos, request, stated)
    else:
        visit = AskedPlateVisit(archive, before, surface, request, stated, notes).visit(photos)
    surface = surface if surface.folder is not None else _added(archive, surface)
    written = write_visit(surface, visit)
    after, failures = None, []
    try:
        log = plate_log(archive, plate)
        if log is not None:
            keep_form(archive, log)
            add_surface_files(log.folder)
        after = plate_state(archive, plate.name)
    except Exception as error:  # a visit must not be lost because of what is made of it
        failures.append(" ".join(str(error).split()) or type(error).__name__)
    return LoggedPlateVisit(
        archive,
        written.path,
        written.number,
        visit,
        before,
        after,
        tuple(notes),
        tuple(failures),
    )


def _surface(archive: Path, plate: Instrument, request: PlateRequest) -> Surface:
    """What the plate's visits are kept under; without a folder where it has none yet."""
    folder = plate_folder(archive, plate.name)
    if folder is not None:
        known = load_surface(folder)
        if known.form != plate.values["form"]:
            raise BadInput(
                f"{folder}: the visits are of a {known.form} plate, and the record of "
                f"{plate.name} says {plate.values['form']}; give a new plate a name of its own"
            )
        return known
    if request.replaces or request.strike:
        raise BadInput(f"plate {plate.name} has no visits yet; there is nothing to correct")
    diameter = plate.values.get("diameter_mm") or request.plate_diameter_mm
    if diameter is None:
        raise BadInput(
            f"plate {plate.name}: its record does not say its diameter; give it, as "
            "--plate-diameter 160mm"
        )
    values = plate.values
    name = plate_record_name(plate.name)
    return Surface(name, values["form"], values["radius_mm"], diameter, glass=values.get("glass"))


def _added(archive: Path, surface: Surface) -> Surface:
    try:
        return add_surface(archive, surface)
    except BadInput:
        folder = plate_folder(archive, surface.name.removeprefix(plate_record_name("")))
        if folder is None:
            raise
        return load_surface(folder)  # somebody else was faster


def _struck(
    surface: Surface, photos: Sequence[Path], request: PlateRequest, stated: StatedOptions
) -> Visit:
    alone = PlateRequest(strike=request.strike, remark=request.remark, by=request.by)
    if photos or stated != StatedOptions() or dataclasses.replace(request, yes=False) != alone:
        raise BadInput("--strike: goes with --remark and --by alone; log a visit by itself")
    if not request.remark or not request.remark.strip():
        raise BadInput("--strike: say why, as --remark 'another plate lay there'")
    assert surface.folder is not None
    assert request.strike is not None
    name = surface.name.removeprefix(plate_record_name(""))
    corrected = visit_to_correct(surface.folder, request.strike)
    if corrected.found.struck:
        raise BadInput(f"visit {corrected.found.number} of {name} is struck out already")
    return Visit(
        replaces=corrected.found.current.session_id,
        also_replaces=corrected.also,
        struck=True,
        remarks=request.remark,
        by=request.by,
    )
