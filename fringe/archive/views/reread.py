"""Compute the sessions of a surface again, with today's code, from what they keep.

Nothing is written: what was logged stands, and a correction is a new session.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path

from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, Photograph, Session
from fringe.archive.store.surface import Surface
from fringe.archive.views.photographs import PhotoReader, read_kept
from fringe.archive.views.proof import Tell
from fringe.archive.views.reading_options import kept_options, refused_options
from fringe.archive.views.sagittas import compared
from fringe.errors import BadInput, FringeError, Refused
from fringe.orders.reading import Reading
from fringe.parallel import run_many
from fringe.quantity import half_width, half_width_if_any

_LAST_DIGITS = 1e-6


@dataclass(frozen=True)
class Change:
    """One quantity that today's code finds otherwise.

    Attributes
    ----------
    visit : int
        Number of the visit that it was logged at.
    session_id : str
        The session that it was logged in.
    source : str
        The photograph's file name, a burst's first and how many more, or `spherometer`.
    quantity : str
        By the name of its field: `power_fringes`, `sense`, ...; or `reading`, where there is
        one and was none, or the other way round.
    before, now : float, str or None
        As it was logged, and as it is today; None where there is none.
    u95_before, u95_now : float or None
        Half-widths of the 95 % intervals.
    """

    visit: int
    session_id: str
    source: str
    quantity: str
    before: float | str | None
    now: float | str | None
    u95_before: float | None = None
    u95_now: float | None = None


@dataclass(frozen=True)
class Reread:
    """What a surface's sessions say today.

    Attributes
    ----------
    sessions : int
        Sessions that were opened, corrected ones among them.
    computed : int
        Readings and refusals that were computed again.
    changes : tuple of Change
        What differs by more than its uncertainty, in the order of logging.
    left_out : tuple of str
        What could not be computed again, one line each with the reason.
    problems : tuple of str
        Sessions that cannot be read, one line each.
    software : str
        What computed it.
    """

    sessions: int
    computed: int
    changes: tuple[Change, ...]
    left_out: tuple[str, ...]
    problems: tuple[str, ...]
    software: str

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe reread --json`."""
        return {
            "sessions": self.sessions,
            "computed": self.computed,
            "changes": [dataclasses.asdict(change) for change in self.changes],
            "left_out": list(self.left_out),
            "problems": list(self.problems),
            "software": self.software,
        }


@dataclass(frozen=True)
class _Job:
    """What one reading of a session was made of.

    Numbers of the visit, of its photographs, from 1, and of the reading, from 0, or None if it
    was refused.
    """

    visit: int
    path: Path
    photographs: tuple[int, ...]
    reading: int | None


def reread_surface(
    surface: Surface,
    *,
    reader: PhotoReader = read_kept,
    workers: int | None = 1,
    scheduler: str | None = None,
    tell: Tell | None = None,
) -> Reread:
    """Compute every session of a surface again and list what changed.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    reader : callable
        Makes a reading of one photograph, or of all frames of a burst.
    workers, scheduler
        Who reads, see :func:`fringe.parallel.read_many`.
    tell : callable or None
        Told how many readings are computed, of how many.

    Returns
    -------
    Reread
        A number counts as changed where it differs from the logged one by more than the
        logged half-width of its 95 % interval.

    Raises
    ------
    BadInput
        If the surface's folder cannot be read.
    """
    assert surface.folder is not None
    found = survey(surface.folder)
    sessions, problems = 0, list(found.problems)
    jobs: list[_Job] = []
    changes: list[Change] = []
    left_out: list[str] = []
    computed = 0
    for summary in found.all_sessions:
        try:
            session = open_session(summary.place)
        except BadInput as error:
            problems.append(str(error))
            continue
        sessions += 1
        jobs += _jobs(summary.number, session, left_out)
        if session.visit.spherometers:
            computed += 1
            changes += _spherometer_changes(summary.number, session, left_out)
    archive = surface.folder.parent
    again = partial(_read_again, reader, archive)
    for answer in run_many(again, jobs, workers=workers, scheduler=scheduler, tell=tell):
        if isinstance(answer, str):
            left_out.append(answer)
        else:
            computed += 1
            changes += answer
    order = {summary.session_id: i for i, summary in enumerate(found.all_sessions)}
    changes.sort(key=lambda change: order[change.session_id])
    software = f"fringe {version('fringe')}"
    return Reread(sessions, computed, tuple(changes), tuple(left_out), tuple(problems), software)


def _jobs(number: int, session: Session, left_out: list[str]) -> Iterator[_Job]:
    """What can be read again of a session of a visit of that number."""
    visit, path = session.visit, session.summary.place
    for index, logged in enumerate(visit.readings):
        if logged.method != "photograph":
            left_out.append(f"visit {number}: a reading was made by {logged.method}")
        elif len(logged.photographs) != 1 and not logged.options.get("burst"):
            count = len(logged.photographs)
            left_out.append(f"visit {number}: a reading was made from {count} photographs")
        else:
            yield _Job(number, path, logged.photographs, index)
    refused = tuple(
        place for place, one in enumerate(visit.photographs, 1) if one.refusal is not None
    )
    if visit.inputs.get("burst") and refused:
        yield _Job(number, path, refused, None)
    else:
        yield from (_Job(number, path, (place,), None) for place in refused)


def _read_again(reader: PhotoReader, archive: Path, job: _Job) -> list[Change] | str:
    """What changed of one reading, or why it was not made again."""
    session = open_session(job.path)
    photographs = tuple(session.visit.photographs[number - 1] for number in job.photographs)
    logged = None if job.reading is None else session.visit.readings[job.reading]
    name, source = session.summary.session_id, _source(photographs)
    try:
        options = refused_options(session, archive) if logged is None else kept_options(logged)
    except FringeError as error:
        return f"visit {job.visit}: {source}: {error}"
    try:
        now: Reading | Refused = reader(photographs, options)
    except Refused as error:
        now = error
    except BadInput as error:
        return f"visit {job.visit}: {source}: {error}"
    made = partial(Change, job.visit, name, source)
    return list(_changes(made, photographs[0].refusal, logged, now))


def _source(photographs: tuple[Photograph, ...]) -> str:
    first, more = photographs[0].file_name, len(photographs) - 1
    return f"{first} and {more} more" if more else first


def _changes(
    made: Callable[..., Change],
    refusal: str | None,
    logged: LoggedReading | None,
    now: Reading | Refused,
) -> Iterator[Change]:
    if logged is None or isinstance(now, Refused):
        if (logged is None) != isinstance(now, Refused):
            before = refusal if logged is None else _short(logged.reading)
            yield made("reading", before, str(now) if isinstance(now, Refused) else _short(now))
        return
    before_, signed = logged.reading, True
    if before_.sense != now.sense:
        yield made("sense", before_.sense, now.sense)
        signed = "unknown" not in (before_.sense, now.sense)
    for name, u95, u95_today in (
        ("power_fringes", before_.power_u95_fringes, now.power_u95_fringes),
        ("irregularity_fringes", before_.irregularity_u95_fringes, now.irregularity_u95_fringes),
        ("radius_difference_mm", before_.radius_difference_u95_mm, now.radius_difference_u95_mm),
        ("ring_step_px2", before_.ring_step_u95_px2, now.ring_step_u95_px2),
    ):
        values = getattr(before_, name), getattr(now, name)
        if _differ(*values, u95, signed=signed):
            yield made(name, *values, u95, u95_today)


def _differ(before: float | None, now: float | None, u95: float | None, *, signed: bool) -> bool:
    """Whether two values differ by more than the first one's half-width.

    Where none was logged, by more than machines differ in their last digits.
    """
    if before is None or now is None:
        return before is not now
    step = abs(now - before) if signed else abs(abs(now) - abs(before))
    return not step <= (_LAST_DIGITS * abs(before) if u95 is None else u95)


def _short(reading: Reading) -> str:
    power = reading.power_fringes
    return "read" if power is None else f"{power:+.2f} fringes"


def _spherometer_changes(number: int, session: Session, left_out: list[str]) -> Iterator[Change]:
    """What the spherometer's readings of a session say otherwise today."""
    logged = next((s.measured for s in session.visit.spherometers if s.measured), None)
    if logged is None:
        return
    name = session.summary.session_id
    try:
        now = compared(session.surface, session.visit.spherometers)
    except (FringeError, KeyError, TypeError, ValueError) as error:
        left_out.append(f"visit {number}: spherometer: {error}")
        return
    if now is None:
        left_out.append(f"visit {number}: spherometer: plate and work were not both read")
        return
    for quantity, before, u, budget in (
        ("power_fringes", logged.power_fringes, logged.power_u_fringes, now.power_fringes),
        (
            "radius_difference_mm",
            logged.radius_difference_mm,
            logged.radius_difference_u_mm,
            now.radius_difference_mm,
        ),
    ):
        value = None if budget is None else float(budget.value)
        u95 = half_width_if_any(u, logged.dof)
        if _differ(before, value, u95, signed=True):
            u95_now = None if budget is None else half_width(float(budget.u), logged.dof)
            yield Change(number, name, "spherometer", quantity, before, value, u95, u95_now)
