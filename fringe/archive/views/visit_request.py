"""A visit as a person describes it: put together, read, and logged."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from fringe.archive.instruments import instrument_record, spherometer_from_record
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Photograph, Visit
from fringe.archive.store.surface import Surface
from fringe.archive.views.correction import CorrectedVisit, corrected_fringes, visit_to_correct
from fringe.archive.views.laid import as_laid, place_of, smaller_circle, stated_places
from fringe.archive.views.logged_visit import LoggedVisit, log_and_judge
from fringe.archive.views.photographs import instruments_used, read_photographs, take_over
from fringe.archive.views.reading_options import stated_options, with_camera
from fringe.archive.views.sagittas import sagitta_readings
from fringe.errors import BadInput
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.spherometer.typed import TypedReadings
from fringe.judge.state.abrasives import check_stage
from fringe.judge.state.visits import Work, split_spell
from fringe.orders.by_eye import by_eye
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.units import TypedLength

Lists = tuple[tuple[TypedLength, ...], ...]
Readings = tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]

# what a session's inputs call a field, where that is not its name
_INPUTS = {
    "aperture_mm": "aperture",
    "camera_distance_mm": "camera_distance",
    "reading_u_mm": "reading_u",
    "removed_mm": "removed",
    "rested_minutes": "rested",
    "scale_px_per_mm": "scale",
    "temperature_c": "temperature",
}


@dataclass(frozen=True)
class VisitRequest:
    """What is said of a visit, beside how its photographs were taken.

    Attributes
    ----------
    spherometer : str or None
        On record.
    against : str or None
        Surface of the same archive that the work was laid on, not on the plate.
    aperture_mm : float or None
        Of a plate smaller than the work [mm].
    place : tuple of tuple of TypedLength
        Where it lay, across and down from the work's centre; once, or once a photograph.
    burst : bool
        The photographs are frames of one contact.
    by_eye : str or None
        Fringes seen without a camera.
    sag_plate, sag_work, zero : tuple of tuple of TypedLength
        Readings of the spherometer on plate, work and flat.
    reading_u_mm : float or None
        Standard uncertainty of one of them [mm].
    stage, stroke, lap, pressure, slurry, removed_mm, pits, rested_minutes
        Work since the last visit, see :class:`fringe.judge.state.visits.Work`.
    minutes, on_top : tuple of float, tuple of str
        Its length [min] and the piece on top; of a split spell one of each for each part.
    temperature_c : float or None
        At the bench [degree Celsius].
    remark, by : str or None
        Free text, and who measured.
    when : str or None
        Of the visit, ISO 8601; local time without an offset.
    replaces : str or None
        Number of the visit that this one corrects, or the name of a session of it.
    keep_refused : bool
        Keep photographs that cannot be read, too.
    workers, scheduler : int or None, str or None
        Who reads, see :func:`fringe.parallel.read_many`.
    as_typed : str or None
        Expanded uncertainties as they were typed.
    strike, move : str or None
        Number of a visit to take out of every sum, or to move to the surface `to_surface`.
    said : tuple of str
        Fields of :class:`StatedOptions` that were said, though it be what holds without a word.
    """

    against: str | None = None
    aperture_mm: float | None = None
    place: Lists = ()
    burst: bool = False
    by_eye: str | None = None
    spherometer: str | None = None
    sag_plate: Lists = ()
    sag_work: Lists = ()
    zero: Lists = ()
    reading_u_mm: float | None = None
    stage: str | None = None
    minutes: tuple[float, ...] = ()
    on_top: tuple[str, ...] = ()
    stroke: str | None = None
    lap: str | None = None
    pressure: str | None = None
    slurry: str | None = None
    removed_mm: float | None = None
    pits: str | None = None
    rested_minutes: float | None = None
    temperature_c: float | None = None
    remark: str | None = None
    by: str | None = None
    when: str | None = None
    replaces: str | None = None
    keep_refused: bool = False
    workers: int | None = None
    scheduler: str | None = None
    as_typed: str | None = None
    strike: str | None = None
    move: str | None = None
    to_surface: str | None = None
    said: tuple[str, ...] = ()

    def work(self) -> Work:
        """Return what was done since the last visit; `BadInput` for what cannot have been."""
        if self.stage is not None:
            check_stage(self.stage)
        names = {f.name for f in dataclasses.fields(Work)} - {"minutes", "on_top", "parts"}
        spell = split_spell(self.minutes, self.on_top)
        return Work(**{name: getattr(self, name) for name in names}, **spell)


def log_request(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> LoggedVisit:
    """Read all that a visit brought, and log it.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    photos : sequence of Path
    request : VisitRequest
    stated : StatedOptions
        How the photographs were taken.

    Raises
    ------
    BadInput
        If something that is said makes no sense; nothing is written then.
    Refused
        If a photograph supports no reading, unless it is to be kept all the same.
    """
    visit, sagittas = visit_of(surface, photos, request, stated)
    return log_and_judge(surface, visit, sagittas)


def visit_of(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> tuple[Visit, SagResult | None]:
    """Read all that a visit brought, and put it together; what the spherometer says beside it.

    A correction takes over what it does not say from the session that it replaces.
    """
    work = request.work()
    assert surface.folder is not None
    stated = with_camera(stated, surface.folder.parent)
    when = _time(request.when)
    corrected = None
    if request.replaces is not None:
        corrected = visit_to_correct(surface.folder, request.replaces)
    spherometers, sagittas = _spherometer(surface, request)
    anew = corrected and corrected_fringes(surface, corrected, photos, request, stated)
    readings, photographs = anew or _fringes(surface, tuple(photos), request, stated)
    lamp = None if anew else surface.lamp
    visit = Visit(
        when=when,
        by=request.by,
        remarks=request.remark,
        work=work,
        temperature_c=request.temperature_c,
        readings=readings,
        photographs=photographs,
        spherometers=spherometers,
        replaces=request.replaces,
        inputs={"photographs": [str(path) for path in photos], **_inputs(stated, request)},
        instruments=_instruments(surface, request, stated, readings, spherometers, lamp),
    )
    completed = visit if corrected is None else _completed(visit, corrected)
    read = completed.readings or completed.photographs or completed.spherometers
    if request.rested_minutes is not None and not read:
        raise BadInput("--rested: nothing was read; give it with a photograph or a reading")
    return completed, sagittas


def _inputs(stated: StatedOptions, request: VisitRequest) -> dict[str, object]:
    """What was said, in a form that JSON has."""
    inputs: dict[str, object] = {}
    for part in (stated, request):
        for field in dataclasses.fields(part):
            value = getattr(part, field.name)
            if value in (None, (), "") or field.name in ("workers", "scheduler", "said"):
                continue
            if field.name in ("minutes", "on_top"):
                value = value[0] if len(value) == 1 else list(value)
            elif isinstance(value, tuple):
                value = [[length.text for length in each] for each in value]
            inputs[_INPUTS.get(field.name, field.name)] = value
    return inputs


def _spherometer(
    surface: Surface, request: VisitRequest
) -> tuple[tuple[LoggedSpherometer, ...], SagResult | None]:
    typed = TypedReadings.of(request.sag_plate, request.sag_work, request.zero)
    if not typed.plate and not typed.work:
        if typed.zero or request.spherometer:
            raise BadInput("the spherometer needs its readings: --sag-plate 808um --sag-work 793um")
        return (), None
    if not typed.plate or not typed.work:
        missing = "--sag-work" if typed.plate else "--sag-plate"
        raise BadInput(
            f"a spherometer compares work and plate: give {missing} as well, read in turn"
        )
    record = None
    if request.spherometer:
        assert surface.folder is not None
        record = instrument_record(surface.folder.parent, "spherometer", request.spherometer)
    one = spherometer_from_record(record) if record else None
    u, assumed = typed.u_mm(request.reading_u_mm, one)
    when = _time(request.when)
    return sagitta_readings(
        surface,
        *typed.heights_mm,
        record=record,
        u_reading_mm=u,
        assumed=assumed,
        when=None if when is None else when.date(),
    )


def _fringes(
    surface: Surface, photos: tuple[Path, ...], request: VisitRequest, stated: StatedOptions
) -> Readings:
    """Readings of the photographs, and of what was seen by eye."""
    if not photos and request.by_eye is None:
        for name in ("aperture_mm", "against", "place", "burst"):
            if getattr(request, name):
                raise BadInput(f"--{_INPUTS.get(name, name)} belongs to a photograph; give one")
        return (), ()
    laid = as_laid(surface, request.aperture_mm, request.against)
    options = stated_options(laid, stated)
    aperture = smaller_circle(laid, surface)
    contacts = 1 if request.burst else len(photos)
    places = stated_places(request.place, contacts, aperture, surface.diameter_mm)
    readings: tuple[LoggedReading, ...] = ()
    photographs: tuple[Photograph, ...] = ()
    if photos:
        readings, photographs = read_photographs(
            photos,
            options,
            burst=request.burst,
            keep_refused=request.keep_refused,
            workers=request.workers,
            scheduler=request.scheduler,
        )
    if request.by_eye is not None:
        readings = (*readings, _by_eye(request.by_eye, options))
    placed = tuple(
        dataclasses.replace(
            one, against=request.against, aperture_mm=aperture, place_mm=place_of(one, places)
        )
        for one in readings
    )
    return placed, photographs


def _by_eye(text: str, options: ReadOptions) -> LoggedReading:
    """Readings by eye, without a camera."""
    kept = {**options.to_json(), "by_eye": text}
    return LoggedReading(by_eye(text, options), method="eye", lamp=options.lamp, options=kept)


def _instruments(
    surface: Surface,
    request: VisitRequest,
    stated: StatedOptions,
    readings: tuple[LoggedReading, ...],
    spherometers: tuple[LoggedSpherometer, ...],
    usual_lamp: str | None,
) -> dict[str, Any]:
    """Copies of the records of what was used, as far as the archive has them."""
    used = {
        "plate": surface.plate.name if spherometers or request.against is None else None,
        "spherometer": request.spherometer if spherometers else None,
        "camera": stated.camera if readings else None,
        "lamp": (stated.lamp or usual_lamp) if readings else None,
    }
    return instruments_used(surface, used) if readings or spherometers else {}


def _completed(visit: Visit, corrected: CorrectedVisit) -> Visit:
    """A correction with what it leaves open taken over from the visit that it corrects."""
    base = corrected.base
    new = {name: value for name, value in visit.inputs.items() if value != []}
    named = dataclasses.replace(
        visit,
        replaces=corrected.found.current.session_id,
        also_replaces=corrected.also,
        inputs={**base.visit.inputs, **new},
    )
    return take_over(named, base.visit)


def _time(text: str | None) -> datetime | None:
    """Read a time; without an offset it is local time."""
    if text is None:
        return None
    try:
        time = datetime.fromisoformat(text)
        return time if time.utcoffset() is not None else time.astimezone()
    except (ValueError, OverflowError, OSError) as error:
        raise BadInput(f"--when: {text!r} is not a time; write 2026-03-14T09:30") from error
