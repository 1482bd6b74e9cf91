"""What the page shows of the bench beside the answer: the visit judged, its course, the advice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fringe.archive.store.surface import Surface
from fringe.archive.views.one_reading import reading_measured
from fringe.archive.views.surface_state import LoggedVisits, SurfaceState
from fringe.bench.answers import settling_answer
from fringe.bench.shots import Shot, minutes_of
from fringe.judge.advice.step import round_minutes
from fringe.judge.state.visits import VisitRecord, VisitRow


def judged(
    known: LoggedVisits | None, shots: Sequence[Shot]
) -> tuple[SurfaceState | None, VisitRow | None]:
    """The state with what is on the bench as the last visit, and that visit's row."""
    if known is None:
        return None, None
    read = [shot.reading for shot in shots if shot.reading]
    measured = [reading_measured(known.surface, reading) for reading in read]
    draft: tuple[VisitRecord, ...] = ()
    if measured:
        draft = (VisitRecord("", datetime.now().astimezone(), measured=tuple(measured)),)
    state = known.state(*draft)
    return state, state.rows[-1] if draft else None


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


def course(surface: Surface | None, shots: Sequence[Shot]) -> dict[str, object] | None:
    """Power against time, where several photographs tell it."""
    read = [one for one in shots if one.reading and one.reading.power_fringes is not None]
    if surface is None or len(read) < 2:
        return None
    when = {one.id: minute for one, minute in zip(read, minutes_of(read), strict=True)}
    read.sort(key=lambda one: when[one.id])
    minutes = [when[one.id] for one in read]
    readings = [one.reading for one in read if one.reading]
    return {
        "points": [
            {
                "id": one.id,
                "minutes": minute,
                "power": reading.power_fringes,
                "u95": reading.power_u95_fringes or 0.0,
            }
            for one, minute, reading in zip(read, minutes, readings, strict=True)
        ],
        "settling": settling_answer(readings, minutes, surface.tolerance),
    }


def surface_line(surface: Surface) -> dict[str, str]:
    """A surface in one line of facts."""
    from fringe.format import figures

    facts = (
        f"{surface.form}, radius {figures(surface.radius_mm, 6)} mm, "
        f"aperture {figures(surface.diameter_mm, 5)} mm"
    )
    return {"name": surface.name, "facts": facts}
