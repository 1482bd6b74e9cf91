"""A visit that was just logged, in rows of text."""

from __future__ import annotations

from fringe.archive.store.session import Visit
from fringe.archive.views.logged_visit import LoggedVisit
from fringe.archive.views.surface_state import SurfaceState
from fringe.judge.spherometer.compare import text_of
from fringe.judge.state.abrasives import stage
from fringe.judge.state.visits import VisitRow
from fringe.show.text.lines import line, remark, wrapped_line
from fringe.show.text.visit import power_text, radius_text, row_power_text, verdict_text, visit_text
from fringe.show.words import form_text


def logged_rows(logged: LoggedVisit) -> list[str]:
    """Number of the visit, what was read, the verdict and the next step, and where it is kept."""
    visit, row, state = logged.visit, logged.row, logged.judged
    done = "struck out" if visit.struck else "" if logged.before is None else "corrected"
    when = "" if row is None else f"{row.when:%Y-%m-%d %H:%M}"
    head = " ".join(filter(None, [f"{logged.surface.name}, visit {logged.number}", done]))
    own = "the photograph's own time" if logged.by_photograph else ""
    rows = [", ".join(filter(None, [head, when, own]))]
    if row is not None and logged.before is not None:
        rows += [_stood("before", logged.before), _stood("now", row)]
    rows += _stage_rows(visit)
    rows += _reading_rows(visit)
    if logged.sagittas is not None:
        rows.append(line("spherometer", text_of(logged.sagittas)))
    if row is not None and state is not None:
        rows += _judged_rows(row, state)
    rows.append(line("file", str(logged.path)))
    known = () if state is None else state.notes
    return rows + [remark(note) for note in (*logged.notes, *known)]


def _judged_rows(row: VisitRow, state: SurfaceState) -> list[str]:
    """What the visit measured, the verdict, and the next step."""
    rows = []
    if row.power_fringes is not None:
        shown = f"{row_power_text(row)}, at {state.wavelength_nm:.2f} nm"
        rows.append(wrapped_line("power", shown))
    if row.radius_difference_mm is not None:
        rows.append(line(f"work − {state.laid_on}", radius_text(row)))
    if row.irregularity_fringes is not None:
        shown = form_text(row.irregularity_fringes, row.irregularity_u95_fringes)
        rows.append(line("irregularity", shown))
    if row.verdict is not None:
        rows.append(wrapped_line("verdict", f"{verdict_text(row)}: {row.reason}"))
    rows.append(wrapped_line("next", state.next_step.sentence()))
    # in one piece, to be copied
    return [*rows, *([] if state.correction is None else [line("to correct", state.correction)])]


def _stood(name: str, row: VisitRow) -> str:
    return wrapped_line(name, f"{row.when:%Y-%m-%d %H:%M}, {visit_text(row)}")


def _reading_rows(visit: Visit) -> list[str]:
    """One line a reading, where there are several, or one not of the whole on its plate."""
    rows = []
    for logged in visit.readings:
        special = logged.against or logged.aperture_mm is not None
        if len(visit.readings) == 1 and not special:
            continue
        reading = logged.reading
        name = "by eye"
        if logged.photographs:
            name = visit.photographs[logged.photographs[0] - 1].file_name
        power = power_text(reading.power_fringes, reading.power_u95_fringes, reading.sense)
        over = "" if logged.aperture_mm is None else f", over {logged.aperture_mm:g} mm"
        if logged.place_mm is not None:
            over += " at {:g}, {:g} mm".format(*logged.place_mm)
        on = "" if logged.against is None else f", on {logged.against}"
        rows.append(line(name[:18], power + over + on))
    return rows


def _stage_rows(visit: Visit) -> list[str]:
    """How a stage's grain size was understood, where a grit's name was."""
    if visit.work.stage is None:
        return []
    one = stage(visit.work.stage)
    if one.size_um is None or one.source == "by its name":
        return []
    return [line("stage", f"{one.name}: grains of {one.size_um:g} µm ({one.source})")]
