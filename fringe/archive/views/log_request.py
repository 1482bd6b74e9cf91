"""A visit put together from what is said of it: read, and completed where it corrects."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fringe.archive.instruments import instrument_record, spherometer_from_record
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Photograph, Visit
from fringe.archive.store.surface import Surface
from fringe.archive.views.correction import CorrectedVisit, corrected_fringes, visit_to_correct
from fringe.archive.views.laid import as_laid, other_circle, place_of, stated_places
from fringe.archive.views.photographs import instruments_used, read_photographs, take_over
from fringe.archive.views.reading_options import stated_options, with_camera
from fringe.archive.views.sagittas import sagitta_readings
from fringe.archive.views.visit_request import INPUT_NAMES, VisitRequest, inputs_of
from fringe.errors import BadInput
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.spherometer.typed import TypedReadings
from fringe.orders.by_eye import by_eye
from fringe.orders.options import ReadOptions, StatedOptions

Readings = tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]


def visit_of(
    surface: Surface,
    photos: Sequence[Path],
    request: VisitRequest,
    stated: StatedOptions,
    loaded: Sequence[Photograph] = (),
    made: Readings | None = None,
) -> tuple[Visit, SagResult | None]:
    """Read all that a visit brought, and put it together; what the spherometer says beside it.

    A correction takes over what it does not say from the session that it replaces. `made` are
    readings and photographs that were made before, in place of `photos`.
    """
    work = request.work()
    assert surface.folder is not None
    stated = with_camera(stated, surface.folder.parent)
    when = request.time()
    corrected = None
    if request.replaces is not None:
        corrected = visit_to_correct(surface.folder, request.replaces)
    spherometers, sagittas = _spherometer(surface, request)
    anew = corrected and corrected_fringes(surface, corrected, photos, request, stated)
    readings, photographs = anew or _fringes(surface, tuple(photos), request, stated, loaded, made)
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
        inputs={"photographs": [str(path) for path in photos], **inputs_of(stated, request)},
        instruments=_instruments(surface, request, stated, readings, spherometers, lamp),
    )
    completed = visit if corrected is None else _completed(visit, corrected)
    read = completed.readings or completed.photographs or completed.spherometers
    if request.rested_minutes is not None and not read:
        raise BadInput("--rested: nothing was read; give it with a photograph or a reading")
    return completed, sagittas


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
    when = request.time()
    return sagitta_readings(
        surface,
        *typed.heights_mm,
        record=record,
        u_reading_mm=u,
        assumed=assumed,
        when=None if when is None else when.date(),
    )


def _fringes(
    surface: Surface,
    photos: tuple[Path, ...],
    request: VisitRequest,
    stated: StatedOptions,
    loaded: Sequence[Photograph],
    made: Readings | None,
) -> Readings:
    """Readings of the photographs, and of what was seen by eye."""
    given = made is not None and bool(made[1])
    if not photos and not given and request.by_eye is None:
        for name in ("aperture_mm", "against", "place", "burst"):
            if getattr(request, name):
                raise BadInput(f"--{INPUT_NAMES.get(name, name)} belongs to a photograph; give one")
        return (), ()
    laid = as_laid(surface, request.aperture_mm, request.against, stated.chamfer_mm)
    options = stated_options(laid, stated)
    aperture = other_circle(laid, surface)
    readings, photographs = made or ((), ())
    contacts = 1 if request.burst else len(photos) or len(photographs)
    places = stated_places(request.place, contacts, aperture, surface.diameter_mm)
    if photos:
        readings, photographs = read_photographs(
            photos,
            options,
            burst=request.burst,
            keep_refused=request.keep_refused,
            workers=request.workers,
            scheduler=request.scheduler,
            loaded=loaded,
        )
    if request.by_eye is not None:
        readings = (*readings, eye_reading(request.by_eye, options))
    placed = tuple(
        dataclasses.replace(
            one, against=request.against, aperture_mm=aperture, place_mm=place_of(one, places)
        )
        for one in readings
    )
    return placed, photographs


def eye_reading(text: str, options: ReadOptions) -> LoggedReading:
    """A reading by eye, without a camera."""
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
