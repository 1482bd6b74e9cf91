"""Surfaces that hang on a plate's radius: what their visits say with the radius that it has now.

What was logged keeps the radius that it was judged with. What it would say now is worked out from
what each visit keeps, and nothing is written: the power of fringes is a height against the plate,
so the radius of the work moves with the plate's, and the radius difference hardly; readings of a
spherometer are compared anew.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.plates.known import plate_state
from fringe.archive.plates.state import PlateState
from fringe.archive.plates.visits import find_plate
from fringe.archive.store.order import survey
from fringe.archive.store.read import read_session
from fringe.archive.store.session import Session, SessionSummary
from fringe.archive.store.surface import (
    Plate,
    Surface,
    list_surfaces,
    load_surface,
)
from fringe.archive.surface_record import StatedRecord, change_stated
from fringe.archive.views.sagittas import sagitta_readings
from fringe.archive.views.surface_state import LoggedVisits
from fringe.errors import BadInput
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import verdict
from fringe.optics.spheres import radius_difference_mm
from fringe.quantity import half_width_if_any, standard_if_any


@dataclass(frozen=True)
class HangingVisit:
    """The last visit of a surface that measured it on a plate, as judged and with another radius.

    Attributes
    ----------
    number : int
        Of the visit.
    power_fringes, radius_mm, radius_u_mm, state : float or None, ..., str or None
        Power, radius of the work with its standard uncertainty [mm], and the verdict.
    radius_state : str or None
        The verdict on that radius against the nominal one, where the tolerance limits it.
    """

    number: int
    power_fringes: float | None
    radius_mm: float | None
    radius_u_mm: float | None
    state: str | None
    radius_state: str | None

    def to_json(self) -> dict[str, object]:
        """Return everything under its name."""
        return {**vars(self), "radius_u95_mm": half_width_if_any(self.radius_u_mm)}


@dataclass(frozen=True)
class HangingSurface:
    """A surface whose record names a plate.

    Attributes
    ----------
    surface : Surface
        Its record.
    outdated : bool
        Whether that has another radius of the plate than is known now.
    visits : tuple of int
        Numbers of the visits that were measured on the plate.
    then, now : HangingVisit or None
        The last of them, with the radius that it was logged with and with that known now.
    problems : tuple of str
        One line each: sessions that cannot be read.
    """

    surface: Surface
    outdated: bool
    visits: tuple[int, ...] = ()
    then: HangingVisit | None = None
    now: HangingVisit | None = None
    problems: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether a verdict becomes another one."""
        if self.then is None or self.now is None:
            return False
        return (self.then.state, self.then.radius_state) != (self.now.state, self.now.radius_state)

    def to_json(self) -> dict[str, object]:
        """Return everything under its name."""
        plate = self.surface.plate
        return {
            "surface": self.surface.name,
            "folder": str(self.surface.folder),
            "plate_radius_mm": plate.radius_mm,
            "plate_radius_u_mm": plate.radius_u_mm,
            "outdated": self.outdated,
            "visits": list(self.visits),
            "then": None if self.then is None else self.then.to_json(),
            "now": None if self.now is None else self.now.to_json(),
            "verdict_changes": self.changed,
            "problems": list(self.problems),
        }


def hanging_surfaces(archive: Path, state: PlateState) -> tuple[HangingSurface, ...]:
    """Surfaces of an archive whose records name a plate, and what changes with its radius.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    found = []
    for folder in list_surfaces(archive):
        try:
            surface = load_surface(folder)
        except BadInput:  # `fringe check` names it
            continue
        if surface.plate.name == state.name:
            found.append(_hanging(surface, state))
    return tuple(found)


@dataclass(frozen=True)
class Hanging:
    """A plate with what hangs on it.

    Attributes
    ----------
    state : PlateState
        What is known of the plate now.
    surfaces : tuple of HangingSurface
    """

    state: PlateState
    surfaces: tuple[HangingSurface, ...]

    @property
    def problems(self) -> tuple[str, ...]:
        """One line for each session that cannot be read."""
        return tuple(line for one in self.surfaces for line in one.problems)

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe plate surfaces --json`."""
        return {
            "plate": self.state.name,
            "radius_mm": self.state.radius_mm,
            "radius_u95_mm": self.state.u95_mm,
            "surfaces": [one.to_json() for one in self.surfaces],
        }


@dataclass(frozen=True)
class Adopted:
    """Surfaces that got the radius that their plate has now."""

    state: PlateState
    surfaces: tuple[Surface, ...]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe plate adopt --json`."""
        return {
            "plate": self.state.name,
            "radius_mm": self.state.radius_mm,
            "radius_u95_mm": self.state.u95_mm,
            "surfaces": [one.to_json_with_folder() for one in self.surfaces],
        }


def hanging_on(place: str) -> Hanging:
    """What hangs on a plate on record, by ``ARCHIVE/NAME``.

    Raises
    ------
    BadInput
        If there is no such plate.
    """
    archive, plate = find_plate(place)
    state = plate_state(archive, plate.name)
    return Hanging(state, hanging_surfaces(archive, state))


def adopt_by(place: str, names: Sequence[str] = ()) -> Adopted:
    """Write the radius that a plate has now into the records of the surfaces that hang on it.

    Visits that were logged keep the radius that they were judged with.

    Parameters
    ----------
    place : str
        ``ARCHIVE/NAME`` of the plate.
    names : sequence of str
        Of these surfaces alone; else of all whose record has another radius.

    Raises
    ------
    BadInput
        If there is no such plate, or a surface of these does not hang on it.
    """
    archive, plate = find_plate(place)
    state = plate_state(archive, plate.name)
    hanging = {one.surface.name: one for one in hanging_surfaces(archive, state)}
    unknown = [name for name in names if name not in hanging]
    if unknown:
        known = f"those that do: {', '.join(hanging)}" if hanging else "none does yet"
        raise BadInput(f"no surface named {unknown[0]!r} hangs on plate {state.name}; {known}")
    changed = []
    for name, one in hanging.items():
        was = one.surface.plate
        if name in names or (not names and state.changed_from(was.radius_mm, was.radius_u_mm)):
            changed.append(change_stated(one.surface, StatedRecord(plate=state.name)))
    return Adopted(state, tuple(changed))


def _plate_now(state: PlateState) -> Plate:
    return Plate(state.name, state.radius_mm, state.u_mm)


def _hanging(surface: Surface, state: PlateState) -> HangingSurface:
    assert surface.folder is not None
    outdated = state.changed_from(surface.plate.radius_mm, surface.plate.radius_u_mm)
    found = survey(surface.folder)
    on_plate = [
        one for one in found.sessions if any(m.against in (None, state.name) for m in one.measured)
    ]
    numbers = tuple(one.number for one in on_plate)
    if not on_plate:
        return HangingSurface(surface, outdated, problems=found.problems)
    last = on_plate[-1]
    try:
        session = read_session(last.place, last)
    except BadInput as error:
        return HangingSurface(surface, outdated, numbers, problems=(*found.problems, str(error)))
    later = dataclasses.replace(surface, plate=_plate_now(state))
    logged_with = dataclasses.replace(surface, plate=session.surface.plate)
    then = _visit(logged_with, last, last)
    anew = dataclasses.replace(last, measured=tuple(_anew(last, session, later)))
    return HangingSurface(
        surface, outdated, numbers, then, _visit(later, last, anew), found.problems
    )


def _visit(surface: Surface, named: SessionSummary, judged: SessionSummary) -> HangingVisit:
    """A visit as the record of its surface judges it."""
    row, found = LoggedVisits(surface, (judged.record,)).last()
    if row is None or row.radius_difference_mm is None or surface.plate.radius_mm is None:
        power = None if row is None else row.power_fringes
        return HangingVisit(
            named.number, power, None, None, None if found is None else found.state, None
        )
    radius = surface.plate.radius_mm + row.radius_difference_mm
    of_difference = standard_if_any(row.radius_difference_u95_mm) or 0.0
    u = math.hypot(surface.plate.radius_u_mm or 0.0, of_difference)
    limit = surface.tolerance.radius_difference_mm
    of_radius = None
    if limit is not None and row.sense != "unknown":
        rule = surface.tolerance.rule
        of_radius = verdict(radius - surface.radius_mm, u, -limit, limit, rule).state
    return HangingVisit(
        named.number,
        row.power_fringes,
        radius if row.sense != "unknown" else None,
        u,
        None if found is None else found.state,
        of_radius,
    )


def _anew(summary: SessionSummary, session: Session, surface: Surface) -> list[Measured]:
    """What a visit measured, with the plate of another record."""
    by_spherometer = _spherometer_anew(session, surface)
    found = []
    for one in summary.measured:
        if one.source == "spherometer" and by_spherometer is not None:
            found.append(by_spherometer)
        elif one.against in (None, surface.plate.name):
            found.append(_fringes_anew(one, surface))
        else:
            found.append(one)
    return found


def _fringes_anew(one: Measured, surface: Surface) -> Measured:
    """The radius difference that the same power is, on a plate of another radius."""
    power, before = one.power_fringes, one.radius_difference_mm
    if power is None or before is None or one.wavelength_nm is None:
        return one
    signed = power if one.sense != "edge" else -abs(power)
    step = radius_difference_mm(
        signed, surface.plate_radius_mm, surface.diameter_mm, one.wavelength_nm, surface.form
    )
    step = abs(step) if one.sense == "unknown" else step
    ratio = abs(step / before) if before else 1.0
    u = one.radius_difference_u_mm
    parts = tuple((source, ratio * c) for source, c in one.radius_difference_parts)
    return dataclasses.replace(
        one,
        radius_difference_mm=step,
        radius_difference_u_mm=None if u is None else ratio * u,
        radius_difference_parts=parts,
    )


def _spherometer_anew(session: Session, surface: Surface) -> Measured | None:
    by_piece = {one.piece: one for one in session.visit.spherometers}
    if not {"plate", "work"} <= set(by_piece):
        return None
    work = by_piece["work"]
    try:
        readings, _ = sagitta_readings(
            surface,
            by_piece["plate"].height_mm.tolist(),
            work.height_mm.tolist(),
            work.zero_mm.tolist(),
            record=work.geometry or None,
            u_reading_mm=float(work.options.get("u_reading_mm") or 0.0),
            when=session.summary.when.date(),
        )
    except BadInput:
        return None
    return next((one.measured for one in readings if one.measured is not None), None)
