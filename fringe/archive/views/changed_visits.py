"""Visits that are struck out, or moved to another surface; their files stay as they were."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fringe.archive.store.names import plate_of_record
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Session, Visit
from fringe.archive.store.surface import Surface, find_surface
from fringe.archive.views.asked import check_asked, with_known_stage
from fringe.archive.views.correction import (
    CorrectedVisit,
    as_before,
    eye_like,
    read_like,
    visit_to_correct,
)
from fringe.archive.views.laid import as_laid, sizes_of
from fringe.archive.views.last_time import as_last_time
from fringe.archive.views.log_request import visit_of
from fringe.archive.views.logged_visit import LoggedVisit, log_and_judge
from fringe.archive.views.own_time import at_its_own_time, keep_watched, newest_photograph
from fringe.archive.views.reading_options import map_of_plate, plate_back
from fringe.archive.views.sagittas import sagitta_readings
from fringe.archive.views.sense_test import sense_test, with_evidence, with_told_sense
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.orders.options import ReadOptions, StatedOptions

# what may be said beside --strike and --move
_BESIDE = {"strike", "move", "to_surface", "remark", "by", "workers", "scheduler", "said", "yes"}


def log_or_change(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> LoggedVisit:
    """Log a visit, strike one out or move one, whatever is asked for.

    Raises
    ------
    BadInput, Refused
        If something that is said makes no sense or does not go together, or a photograph supports
        no reading, unless it is to be kept all the same; nothing is written then.
    Asked
        If something is hardly meant, and was not confirmed.
    """
    if plate_of_record(surface.name) is not None:
        raise BadInput(f"{surface.name}: a plate has its visits by `fringe plate log`")
    if request.strike is None and request.move is None:
        if request.to_surface is not None:
            raise BadInput("--to: say which visit goes there, as --move 3 --to NAME")
        return _log(surface, photos, request, stated)
    _check_alone(photos, request, stated)
    if request.strike is not None:
        return strike_visit(surface, request.strike, request.remark, by=request.by)
    assert request.move is not None
    return move_visit(surface, request.move, request)


def _log(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> LoggedVisit:
    """Log a visit, completed by what is known of its photographs and of the last time."""
    newest = None
    if request.newest is not None:
        if photos:
            raise BadInput("--newest: it finds the photograph; name none besides")
        newest = newest_photograph(surface, request.newest)
        photos = [newest.photo]
    last = as_last_time(surface, photos, request, stated)
    known = with_known_stage(surface, at_its_own_time(photos, last.request))
    loaded = check_asked(surface, photos, known, doubt=last.doubt)
    pair = sense_test(surface, photos, known, last.stated)
    stated = with_told_sense(last.stated, pair)
    visit, sagittas = visit_of(surface, photos, known, stated, loaded)
    found = log_and_judge(surface, with_evidence(visit, known, pair), sagittas)
    assumed = [f"as the last time: {', '.join(last.told)}"] if last.told else []
    assumed += [f"sense test: {pair.reason}"] if pair is not None else []
    if newest is not None:
        assumed.append(newest.text)
        try:
            keep_watched(surface, newest.folder)
        except BadInput as error:  # the visit is kept
            return dataclasses.replace(found, failures=(*found.failures, str(error)))
    by_photograph = known.when_from is not None
    return dataclasses.replace(found, assumed=tuple(assumed), by_photograph=by_photograph)


def _check_alone(photos: Sequence[Path], request: VisitRequest, stated: StatedOptions) -> None:
    option = "--strike" if request.strike is not None else "--move"
    nothing = VisitRequest()
    names = {field.name for field in dataclasses.fields(request)} - _BESIDE
    more = {name for name in names if getattr(request, name) != getattr(nothing, name)}
    if (
        photos
        or more
        or request.said
        or stated != StatedOptions()
        or (request.strike is not None and request.move is not None)
    ):
        raise BadInput(
            f"{option}: goes with --remark and --by alone; log or correct a visit by itself"
        )


def strike_visit(
    surface: Surface, number: str, why: str | None, *, by: str | None = None
) -> LoggedVisit:
    """Take a visit out of every sum; its files stay, and a correction brings it back.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    number : str
        Of the visit.
    why : str or None
        Must be said.
    by : str, optional
        Who strikes it out.

    Raises
    ------
    BadInput
        If there is no such visit, it is struck out already, or no reason is given.
    """
    assert surface.folder is not None
    if not why or not why.strip():
        raise BadInput("--strike: say why, as --remark 'another piece lay there'")
    corrected = visit_to_correct(surface.folder, number)
    if corrected.found.struck:
        raise BadInput(f"visit {corrected.found.number} of {surface.name} is struck out already")
    struck = Visit(
        replaces=corrected.found.current.session_id,
        also_replaces=corrected.also,
        struck=True,
        remarks=why,
        by=by,
    )
    return log_and_judge(surface, struck)


def move_visit(surface: Surface, number: str, request: VisitRequest) -> LoggedVisit:
    """Log a visit on the surface that it belongs to, read by that one's record, and strike it here.

    A move that was cut off in between is finished by the same words.

    Raises
    ------
    BadInput
        If there is no such visit or surface, or it cannot be read by the other one's record.
    Refused
        If a photograph supports no reading with the other plate.
    """
    assert surface.folder is not None
    if request.to_surface is None:
        raise BadInput("--move: say where the visit belongs, as --move 3 --to NAME")
    other = find_surface(f"{surface.folder.parent}/{request.to_surface}")
    if other.folder == surface.folder:
        raise BadInput(f"--to: {other.name} is the surface that the visit is of already")
    corrected = visit_to_correct(surface.folder, number)
    if corrected.found.struck:
        raise BadInput(f"visit {corrected.found.number} of {surface.name} is struck out")
    there = _moved_before(other, corrected)
    if there is None:
        logged = log_and_judge(other, _moved(surface, other, corrected, request))
        there = logged.number
    why = request.remark or f"it belongs to {other.name}"
    return strike_visit(surface, number, f"{why}; moved, visit {there} there", by=request.by)


def _moved_before(other: Surface, corrected: CorrectedVisit) -> int | None:
    """Number that a visit has on the other surface already, after a move that was cut off."""
    assert other.folder is not None
    for one in survey(other.folder).sessions:
        origin = open_session(one.place).visit.inputs.get("moved_from")
        wanted = corrected.found.sessions[0].session_id
        if isinstance(origin, dict) and origin.get("session_id") == wanted:
            return one.number
    return None


def _moved(
    surface: Surface, other: Surface, corrected: CorrectedVisit, request: VisitRequest
) -> Visit:
    """A visit as the other surface's record reads it."""
    base = corrected.base

    def options(one: LoggedReading | None, old: ReadOptions) -> ReadOptions:
        return _options(other, one, old)

    readings, photographs = read_like(base, options, as_before, request)
    origin = {
        "surface": surface.name,
        "session_id": corrected.found.sessions[0].session_id,
        "visit": corrected.found.number,
    }
    return dataclasses.replace(
        base.visit,
        when=base.summary.when,
        readings=(*readings, *eye_like(base, options, as_before)),
        photographs=photographs,
        spherometers=_spherometers(other, base),
        replaces=None,
        also_replaces=(),
        inputs={**base.visit.inputs, "moved_from": origin},
    )


def _options(other: Surface, one: LoggedReading | None, old: ReadOptions) -> ReadOptions:
    assert other.folder is not None
    aperture = None if one is None else one.aperture_mm
    chamfer = None if aperture is None else old.chamfer_mm
    if chamfer is not None:
        aperture = None  # the circle was the face inside that chamfer
    laid = as_laid(other, aperture, None if one is None else one.against, chamfer)
    archive = other.folder.parent
    return dataclasses.replace(
        old,
        **sizes_of(laid),  # type: ignore[arg-type]
        plate_radius_mm=laid.plate_radius_mm,
        work=other.form,
        plate_back=plate_back(laid),
        plate_map=map_of_plate(laid, archive, needed=None) if old.plate_map else None,
    )


def _spherometers(other: Surface, base: Session) -> tuple[LoggedSpherometer, ...]:
    """Readings of the spherometer, compared again by the other surface's record."""
    by_piece = {one.piece: one for one in base.visit.spherometers}
    if not {"plate", "work"} <= set(by_piece):
        return base.visit.spherometers
    work = by_piece["work"]
    options: dict[str, Any] = dict(work.options)
    return sagitta_readings(
        other,
        by_piece["plate"].height_mm.tolist(),
        work.height_mm.tolist(),
        work.zero_mm.tolist(),
        record=work.geometry or None,
        u_reading_mm=float(options.get("u_reading_mm", 0.0)),
        assumed=options.get("assumed"),
        when=base.summary.when.date(),
    )[0]
