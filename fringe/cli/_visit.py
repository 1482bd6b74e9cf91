"""What `fringe log` makes of its command line: a visit, with everything that was read."""

from __future__ import annotations

import dataclasses
import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe.cli._bench import flat
from fringe.cli._sagitta import reading_u
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.session import LoggedReading, Photograph, SpherometerReadings, Visit
    from fringe.archive.store.surface import Surface
    from fringe.judge.spherometer.compare import SagResult
    from fringe.orders.options import ReadOptions

WORK = ("stage", "minutes", "on_top", "stroke", "lap", "pressure", "slurry", "pits")


def visit_of(
    surface: Surface, photos: tuple[Path, ...], given: dict[str, Any]
) -> tuple[Visit, SagResult | None]:
    """Read all that was given, and put it together as one visit.

    Returns
    -------
    visit : Visit
        With what a correction takes over from the session that it replaces.
    sagittas : SagResult or None
        What the spherometer says.
    """
    from fringe.archive.store.session import Visit, Work

    if given["stage"] is not None:
        from fringe.judge.state.abrasives import check_stage

        check_stage(given["stage"])
    given = _with_camera(surface, given)
    work = Work(**{name: given[name] for name in WORK}, removed_mm=given["removed"])
    when = _time(given["when"])
    spherometers, sagittas = _spherometer(surface, given)
    readings, photographs = _fringes(surface, photos, given)
    visit = Visit(
        when=when,
        by=given["by"],
        remarks=given["remark"],
        work=work,
        temperature_c=given["temperature"],
        readings=readings,
        photographs=photographs,
        spherometers=spherometers,
        replaces=given["replaces"],
        inputs={"photographs": [str(path) for path in photos], **_plain(given)},
        instruments=_instruments(surface, readings, spherometers, given),
    )
    return _completed(surface, visit), sagittas


def _plain(given: dict[str, Any]) -> dict[str, Any]:
    """Options as they were given, in a form that JSON has."""
    plain = {}
    for key, value in given.items():
        if value in (None, (), "") or key in ("workers", "scheduler"):
            continue
        if isinstance(value, tuple):
            value = [[text for _, text in each] for each in value]
        plain[key] = value
    return plain


def _with_camera(surface: Surface, given: dict[str, Any]) -> dict[str, Any]:
    """Fill in what the camera's record knows; what is given on the line stays."""
    from fringe.archive.views.reading_options import with_camera
    from fringe.cli._surface_reading import stated_of

    assert surface.folder is not None
    taken = with_camera(stated_of(given), surface.folder.parent)
    return {
        **given,
        "camera_distance": taken.camera_distance_mm,
        "scale": taken.scale_px_per_mm,
    }


def _record(surface: Surface, kind: str, name: str) -> dict[str, Any]:
    from fringe.archive.instruments import instrument_record

    assert surface.folder is not None
    return instrument_record(surface.folder.parent, kind, name)


def _spherometer(
    surface: Surface, given: dict[str, Any]
) -> tuple[tuple[SpherometerReadings, ...], SagResult | None]:
    groups = [flat(given[key]) for key in ("sag_plate", "sag_work", "zero")]
    plate, work, zero = groups
    if not plate and not work:
        if zero or given["spherometer"]:
            raise BadInput("the spherometer needs its readings: --sag-plate 808um --sag-work 793um")
        return (), None
    if not plate or not work:
        missing = "--sag-work" if plate else "--sag-plate"
        raise BadInput(
            f"a spherometer compares work and plate: give {missing} as well, read in turn"
        )
    from fringe.archive.instruments import spherometer_from_record
    from fringe.archive.views.sagittas import sagitta_readings

    record = given["spherometer"] and _record(surface, "spherometer", given["spherometer"])
    one = spherometer_from_record(record) if record else None
    u, assumed = reading_u(groups, given["reading_u"], one)
    heights = [[mm for mm, _ in group] for group in groups]
    return sagitta_readings(surface, *heights, record=record, u_reading_mm=u, assumed=assumed)


def _fringes(
    surface: Surface, photos: tuple[Path, ...], given: dict[str, Any]
) -> tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]:
    """Readings of the photographs, and of what was seen by eye."""
    if not photos and given["by_eye"] is None:
        for key in ("aperture", "against", "place", "burst"):
            if given[key]:
                raise BadInput(f"--{key} belongs to a photograph; give one")
        return (), ()
    from fringe.archive.views.photographs import read_photographs
    from fringe.archive.views.reading_options import stated_options
    from fringe.cli._surface_reading import stated_of

    laid = _as_laid(surface, given)
    options = stated_options(laid, stated_of(given))
    aperture = laid.diameter_mm if laid.diameter_mm < surface.diameter_mm else None
    contacts = 1 if given["burst"] else len(photos)
    places = _places(given["place"], contacts, aperture, surface.diameter_mm)
    readings: tuple[LoggedReading, ...] = ()
    photographs: tuple[Photograph, ...] = ()
    if photos:
        readings, photographs = read_photographs(
            photos,
            options,
            burst=given["burst"],
            keep_refused=given["keep_refused"],
            workers=given["workers"],
            scheduler=given["scheduler"],
        )
    if given["by_eye"] is not None:
        readings = (*readings, _by_eye(given["by_eye"], options))
    placed = tuple(
        dataclasses.replace(
            one, against=given["against"], aperture_mm=aperture, place_mm=_place(one, places)
        )
        for one in readings
    )
    return placed, photographs


def _as_laid(surface: Surface, given: dict[str, Any]) -> Surface:
    """The surface with the piece and the circle that this contact was over."""
    from fringe.archive.store.surface import Plate

    laid = surface
    if given["aperture"] is not None:
        if given["aperture"] > surface.diameter_mm:
            raise BadInput(
                f"--aperture: {given['aperture']:g} mm is more than the work's "
                f"{surface.diameter_mm:g} mm"
            )
        laid = dataclasses.replace(laid, diameter_mm=given["aperture"])
    if given["against"] is not None:
        partner = _partner(surface, given["against"])
        laid = dataclasses.replace(laid, plate=Plate(partner.name, partner.radius_mm))
    return laid


def _partner(surface: Surface, name: str) -> Surface:
    from fringe.archive.store.surface import find_surface

    assert surface.folder is not None
    partner = find_surface(f"{surface.folder.parent}/{name}")
    if partner.form == surface.form:
        raise BadInput(
            f"--against: {partner.name} is {partner.form} like {surface.name}; the two do not fit"
        )
    return partner


def _by_eye(text: str, options: ReadOptions) -> LoggedReading:
    """What somebody saw without a camera, by the reader's own words for it."""
    from fringe.archive.store.session import LoggedReading
    from fringe.orders.by_eye import by_eye

    kept = {**options.to_json(), "by_eye": text}
    return LoggedReading(by_eye(text, options), method="eye", lamp=options.lamp, options=kept)


def _places(
    given: tuple[tuple[tuple[float, str], ...], ...],
    photos: int,
    aperture: float | None,
    diameter_mm: float,
) -> list[tuple[float, float]]:
    """Where each photograph's circle lay on the work [mm]; empty where nothing was said."""
    if not given:
        return []
    if aperture is None:
        raise BadInput("--place says where a smaller plate lay; give its --aperture as well")
    places = []
    for pair in given:
        if len(pair) != 2:
            raise BadInput("--place takes two lengths, across and down, as 40mm,0mm")
        places.append((pair[0][0], pair[1][0]))
        if math.hypot(*places[-1]) >= diameter_mm / 2:
            raise BadInput(f"--place: {pair[0][1]}, {pair[1][1]} from the centre is off the work")
    if len(places) == 1:
        return places * photos
    if len(places) != photos:
        raise BadInput(f"--place: {len(places)} places for {photos} photographs; give one for each")
    return places


def _place(one: LoggedReading, places: list[tuple[float, float]]) -> tuple[float, float] | None:
    if not places or not one.photographs:
        return None
    return places[one.photographs[0] - 1]


def _instruments(
    surface: Surface,
    readings: tuple[Any, ...],
    spherometers: tuple[Any, ...],
    given: dict[str, Any],
) -> dict[str, Any]:
    """Copies of the records of what was used, as far as the archive has them."""
    from fringe.archive.views.photographs import instruments_used

    used = {
        "plate": surface.plate.name if spherometers or given["against"] is None else None,
        "spherometer": given["spherometer"] if spherometers else None,
        "camera": given["camera"] if readings else None,
        "lamp": (given["lamp"] or surface.lamp) if readings else None,
    }
    return instruments_used(surface, used) if readings or spherometers else {}


def _completed(surface: Surface, visit: Visit) -> Visit:
    """A correction with what it leaves open taken over from the session it corrects."""
    if visit.replaces is None:
        return visit
    from fringe.archive.store.read import find_session, open_session
    from fringe.archive.views.photographs import take_over

    assert surface.folder is not None
    path = find_session(surface.folder, visit.replaces)
    return take_over(visit, open_session(path).visit)


def _time(text: str | None) -> datetime | None:
    """Read a time; without an offset it is local time."""
    if text is None:
        return None
    try:
        time = datetime.fromisoformat(text)
        return time if time.utcoffset() is not None else time.astimezone()
    except (ValueError, OverflowError, OSError) as error:
        raise BadInput(f"--when: {text!r} is no time; write 2026-03-14T09:30") from error
