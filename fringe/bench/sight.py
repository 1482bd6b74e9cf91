"""What the page shows of the bench beside the answer: the visit judged, its course, the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.session import LoggedReading
from fringe.archive.store.surface import Surface
from fringe.archive.views.log_request import visit_of
from fringe.archive.views.photographs import instruments_used
from fringe.archive.views.surface_state import LoggedVisits, SurfaceState
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.answers import settling_answer, settling_of
from fringe.bench.at_hand import all_said
from fringe.bench.settings import Settings
from fringe.bench.shots import Shot, minutes_of
from fringe.bench.taken import Taken
from fringe.bench.words import bench_words
from fringe.errors import FringeError
from fringe.judge.advice.step import round_minutes
from fringe.judge.settling.powers import SettlingPower
from fringe.judge.settling.settle import Settled
from fringe.judge.spherometer.compare import trap_text
from fringe.judge.state.visits import VisitRecord, VisitRow
from fringe.judge.tolerance.measured import Measured


@dataclass(frozen=True)
class AtHand:
    """What lies on the bench, measured.

    Attributes
    ----------
    measured : tuple of Measured
        What photographs, an eye and the spherometer say.
    hint : str
        Why the readings without a photograph do not count yet; empty where they do.
    notes : tuple of str
        What is to be known of the spherometer's readings.
    """

    measured: tuple[Measured, ...] = ()
    hint: str = ""
    notes: tuple[str, ...] = ()


def at_hand(surface: Surface, shots: Sequence[Shot], taken: Taken, settings: Settings) -> AtHand:
    """Measure what lies on the bench, by the records of today."""
    kept = {} if settings.against else instruments_used(surface, {"plate": surface.plate.name})
    measured = []
    for shot in shots:
        if shot.reading is not None and shot.options is not None:
            options = shot.options.to_json()
            one = LoggedReading(
                shot.reading,
                options=options,
                against=settings.against,
                aperture_mm=settings.aperture_mm,
                place_mm=shot.place_mm,
            )
            bench = bench_of(
                surface,
                kept,
                aperture_mm=settings.aperture_mm,
                against=settings.against,
                options=options,
            )
            measured.append(logged_measured(one, bench))
    if not taken.any:
        return AtHand(tuple(measured))
    try:
        said = all_said(VisitRequest(), (), taken, settings)
        visit, sagittas = visit_of(surface, (), said, settings.stated())
    except FringeError as error:
        return AtHand(tuple(measured), bench_words(str(error)))
    for reading in visit.readings:
        bench = bench_of(
            surface,
            kept,
            aperture_mm=reading.aperture_mm,
            against=reading.against,
            options=reading.options,
        )
        measured.append(logged_measured(reading, bench))
    measured += [one.measured for one in visit.spherometers if one.measured is not None]
    notes = () if sagittas is None else (trap_text(sagittas), *sagittas.notes)
    return AtHand(tuple(measured), notes=tuple(bench_words(note) for note in notes if note))


def judged(
    known: LoggedVisits | None, found: AtHand
) -> tuple[SurfaceState | None, VisitRow | None]:
    """The state with what is on the bench as the last visit, and that visit's row."""
    if known is None:
        return None, None
    draft: tuple[VisitRecord, ...] = ()
    if found.measured:
        draft = (VisitRecord("", datetime.now().astimezone(), measured=found.measured),)
    state = known.state(*draft)
    # a contact with another piece is the pair's matter: it makes no row of its own
    row = state.rows[-1] if draft and not state.rows[-1].session_id else None
    return state, row


def advised(known: LoggedVisits | None) -> dict[str, object] | None:
    """The work that was advised after the last logged visit; None where it was no work."""
    if known is None:
        return None
    step = known.state().next_step
    if step.action not in ("grind", "polish") or step.minutes is None or step.alternate:
        return None
    return {
        "text": step.text(),
        "stage": step.stage or step.action,
        "minutes": round_minutes(step.minutes),
        "on_top": step.piece_on_top,
    }


def back_at(state: SurfaceState | None, row: VisitRow | None) -> str | None:
    """When to be back, if the glass is to rest: by the visit at hand, else as was told last."""
    if state is None or not state.rows:
        return None
    if row is not None:
        until = state.next_step.back_at
        return None if until is None else until.isoformat()
    told = (state.rows[-1].told_step or {}).get("back_at")
    return str(told) if told else None


@dataclass(frozen=True)
class Course:
    """Photographs of one visit with their powers, the earliest first.

    Attributes
    ----------
    shots : tuple of Shot
    minutes : tuple of float
        From the first one.
    found : SettlingPower and Settled, or None
        Where they lead, if they tell it.
    """

    shots: tuple[Shot, ...]
    minutes: tuple[float, ...]
    found: tuple[SettlingPower, Settled] | None


def course_of(surface: Surface, shots: Sequence[Shot]) -> Course | None:
    """Power against time, where several photographs tell it."""
    read = [one for one in shots if one.reading and one.reading.power_fringes is not None]
    if len(read) < 2:
        return None
    when = {one.id: minute for one, minute in zip(read, minutes_of(read), strict=True)}
    read.sort(key=lambda one: when[one.id])
    minutes = tuple(when[one.id] for one in read)
    readings = [one.reading for one in read if one.reading]
    return Course(tuple(read), minutes, settling_of(readings, minutes, surface.tolerance))


def course(surface: Surface | None, shots: Sequence[Shot]) -> dict[str, object] | None:
    """The same for a device."""
    one = None if surface is None else course_of(surface, shots)
    if one is None:
        return None
    return {
        "points": [
            {
                "id": shot.id,
                "minutes": minute,
                "power": shot.reading.power_fringes,
                "u95": shot.reading.power_u95_fringes or 0.0,
            }
            for shot, minute in zip(one.shots, one.minutes, strict=True)
            if shot.reading is not None
        ],
        "settling": None if one.found is None else settling_answer(one.found[1]),
    }


def surface_line(surface: Surface) -> dict[str, object]:
    """A surface in one line of facts, its form and its plate."""
    from fringe.format import figures
    from fringe.show.words import aperture_text

    facts = f"{surface.form}, radius {figures(surface.radius_mm, 6)} mm, {aperture_text(surface)}"
    plate = surface.plate.name or "its plate"
    return {
        "name": surface.name,
        "facts": facts,
        "form": surface.form,
        "plate": plate,
        "diameter_mm": surface.diameter_mm,
        "chamfer_mm": surface.chamfer_mm,
        "outside_diameter_mm": surface.outside_diameter_mm,
    }
