"""A surface's report, from its folder in an archive: proven, gathered, drawn, written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from fringe.archive.store.session import LoggedReading, Session, SessionSummary
from fringe.archive.store.surface import Surface
from fringe.archive.views.made_to import visits_made_to
from fringe.archive.views.one_reading import logged_with_record
from fringe.archive.views.proof import Tell, prove
from fringe.archive.views.sagittas import compared
from fringe.archive.views.surface_state import SurfaceState
from fringe.errors import BadInput
from fringe.format import figures as rounded
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict import Tolerance
from fringe.judge.uncertainty.budget import Budget
from fringe.show.reports.report import ReportFigure, report_html
from fringe.show.words import headline_text, power_values
from fringe.units import times

MOST_PHOTOGRAPHS = 6
_HOW_TO_SEE = (
    "The lines must lie on the dark fringes of the photograph: that is how to see that the "
    "reading is right."
)


@dataclass(frozen=True)
class SurfaceReport:
    """A report, and what there is to say about it.

    Attributes
    ----------
    html : str
        The page.
    verdict : str or None
        `inside`, `outside`, `unproven`; None where nothing was judged.
    sessions : int
        Visits that count.
    problems : tuple of str
        One line each: sessions that cannot be read or are not as they were written.
    """

    html: str
    verdict: str | None
    sessions: int
    problems: tuple[str, ...] = ()


def surface_report(
    surface: Surface, *, made_at: datetime | None = None, tell: Tell | None = None
) -> SurfaceReport:
    """Write a surface's report from its sessions.

    The report speaks of the last visit that measured the surface; work that was logged after it is
    named, because the verdict does not cover it. Every session's bytes are proven first; one
    that is damaged is named on the page and left out.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    made_at : datetime or None
        For the page's foot; None asks the clock.
    tell : callable or None
        Told how many steps are done, of how many.

    Returns
    -------
    SurfaceReport

    Raises
    ------
    BadInput
        If the surface has no folder, or it cannot be read.
    """
    partner = None if surface.folder is None else visits_made_to(surface).partner
    proof = prove(surface, partial(_measured, partner=partner), tell)
    subject = proof.subject or proof.last
    whole = proof.state()
    latest = {} if subject is None else _latest(proof.sessions, subject, whole)
    pictures, undrawn = _figures(subject, whole)
    problems = (*proof.problems, *undrawn)
    latest |= {"problems": problems, "proven": proven_text(len(proof.digests))}
    time = made_at or datetime.now().astimezone()
    html = report_html(
        whole.laid.to_json(),
        whole.rows,
        latest,
        pictures,
        digests=proof.digests,
        made_at=f"{time:%Y-%m-%d %H:%M}",
    )
    if tell is not None:
        tell(proof.files + 1, proof.files + 1)
    verdict = latest.get("verdict")
    return SurfaceReport(html, verdict and verdict["state"], len(proof.sessions), problems)


def _measured(session: Session, partner: str | None) -> bool:
    """Whether a visit measured the surface itself: on what it is made to, or by the spherometer."""
    visit = session.visit
    return bool(own_readings(session, partner)) or any(one.measured for one in visit.spherometers)


def own_readings(session: Session, partner: str | None = None) -> list[LoggedReading]:
    """Readings on what the surface is made to, with the uncertainties that they are judged by.

    That is its partner or, where there is none, its plate; a contact with another piece is the
    pair's matter.
    """
    reference = {partner} if partner is not None else {None, session.surface.plate.name}
    readings = [one for one in session.visit.readings if one.against in reference]
    return [logged_with_record(one, session) for one in readings]


def proven_text(count: int) -> str:
    """Say that so many sessions are as they were written; nothing where there are none."""
    if count == 0:
        return ""
    which = "The session was" if count == 1 else f"All {count} sessions listed here were"
    return f"{which} proven unchanged, byte by byte, when this page was made."


def _latest(
    sound: Sequence[SessionSummary], subject: Session, whole: SurfaceState
) -> dict[str, Any]:
    """What the report speaks of, in the words of `report_html`."""
    place = [one.session_id for one in sound].index(subject.summary.session_id)
    then = whole.judged.verdicts[place]
    visit, summary = subject.visit, subject.summary
    values: dict[str, Any] = {
        "verdict": then and then.to_json(),
        "next_step": whole.next_step.sentence(),
        "since": _since(whole.rows[place + 1 :]),
        "when": summary.when.isoformat(timespec="seconds"),
        "by": visit.by,
        "remarks": visit.remarks,
        "temperature_c": visit.temperature_c,
        "session_id": summary.session_id,
        "replaces": summary.replaces,
        "software": subject.software,
        "content_sha256": subject.content_sha256,
        "photographs": [
            {"file_name": one.file_name, "sha256": one.sha256, "refusal": one.refusal}
            for one in visit.photographs
        ],
    }
    shown = _shown(subject, whole.partner)
    if shown is None:
        return values | _by_spherometer(subject, whole.rows[place], whole.wavelength_nm)
    values["reading"] = shown.reading.to_json()
    values["power_u_parts"] = shown.reading.power_u_parts
    if shown.lamp is not None:
        values["lamp"] = {"name": shown.lamp.name, "source": shown.lamp.source}
    own = own_readings(subject, whole.partner)
    if len(own) > 1 or shown.aperture_mm is not None:
        values["readings"] = [
            {
                "photograph": _photograph_name(subject, one),
                "reading": one.reading.to_json(),
                "aperture_mm": one.aperture_mm,
            }
            for one in own
        ]
        values["mean"] = _mean(whole.rows[place], whole.wavelength_nm, len(own))
    return values


def _by_spherometer(
    subject: Session, row: VisitRow, wavelength_nm: float | None
) -> dict[str, object]:
    """Result of a visit that the spherometer alone measured; nothing where it did not."""
    if row.power_fringes is None:
        return {}
    result = compared(subject.surface, subject.visit.spherometers)
    budgets = [] if result is None else [one for one in _budgets_of(result) if one is not None]
    return {
        "mean": _mean(row, wavelength_nm, 0),
        "spherometer": [
            (
                one.name.removeprefix("spherometer, "),
                one.text(signed=not one.name.endswith("radius")),
            )
            for one in budgets
        ],
    }


def _budgets_of(result: SagResult) -> tuple[Budget | None, ...]:
    return (
        result.depth_um,
        result.power_fringes,
        result.radius_difference_mm,
        result.work_radius_mm,
    )


def _mean(row: VisitRow, wavelength_nm: float | None, count: int) -> dict[str, object]:
    """A visit's result in the keys of a reading."""
    power = power_values(row.power_fringes, row.power_u95_fringes, row.sense, wavelength_nm)
    return power | {"count": count}


def _since(rows: Sequence[VisitRow]) -> list[str]:
    """Say what was logged after the reading, which its verdict does not cover."""
    if not rows:
        return []
    minutes = sum(row.minutes or 0.0 for row in rows)
    stages = ", ".join(dict.fromkeys(row.stage for row in rows if row.stage))
    work = " of ".join(filter(None, [f"{rounded(minutes, 3)} min" if minutes else "", stages]))
    if not work:
        return ["Visits were logged after this reading; none of them holds another."]
    return [f"Work was logged after this reading: {work}. The verdict does not cover it."]


def _shown(session: Session, partner: str | None) -> LoggedReading | None:
    """The reading that numbers and figures are of: the last one with a form, else the last."""
    readings = own_readings(session, partner)
    formed = [one for one in readings if one.reading.form is not None]
    return formed[-1] if formed else readings[-1] if readings else None


def _photograph_name(session: Session, one: LoggedReading) -> str:
    names = [session.visit.photographs[i - 1].file_name for i in one.photographs]
    return ", ".join(names) or "by eye"


def _figures(
    subject: Session | None, whole: SurfaceState
) -> tuple[dict[str, ReportFigure], list[str]]:
    """Every figure of the report, and a line for each that could not be drawn."""
    pictures: dict[str, ReportFigure] = {}
    problems: list[str] = []
    if subject is not None:
        pictures, problems = overlays(subject, own_readings(subject, whole.partner))
        shown = _shown(subject, whole.partner)
        if shown is not None:
            pictures |= _form_figures(subject, shown)
            pictures |= _budget_figure(subject, shown)
        else:
            pictures |= _spherometer_figure(subject)
    course = course_picture(whole)
    return pictures | ({} if course is None else {"progress": course}), problems


def overlays(
    subject: Session, readings: Sequence[LoggedReading]
) -> tuple[dict[str, ReportFigure], list[str]]:
    """Photographs with their fits, and a line for each that could not be drawn."""
    pictures: dict[str, ReportFigure] = {}
    problems: list[str] = []
    for number, one in enumerate(readings[-MOST_PHOTOGRAPHS:], 1):
        try:
            picture = _overlay(subject, one, "" if pictures else _HOW_TO_SEE)
        except BadInput as error:
            problems.append(str(error))
            continue
        if picture is not None:
            pictures[f"overlay {number}"] = picture
    return pictures, problems


def course_picture(whole: SurfaceState) -> ReportFigure | None:
    """Progress over all visits; None before anything was measured."""
    from fringe.show.figures.course import course_figure

    if all(row.power_fringes is None for row in whole.rows):
        return None
    count = len(whole.rows)
    return ReportFigure.of(
        course_figure(whole),
        f"Power and irregularity of {whole.surface.name} over {count} "
        f"visit{'' if count == 1 else 's'}; the table below holds the same numbers.",
    )


def _spherometer_figure(subject: Session) -> dict[str, ReportFigure]:
    """Bars of the spherometer's budgets, where it read work and plate."""
    from fringe.show.figures.budget import budget_figure
    from fringe.show.figures.style import Facts

    result = compared(subject.surface, subject.visit.spherometers)
    results = [] if result is None else [one for one in _budgets_of(result) if one is not None]
    if not results:
        return {}
    surface = subject.surface
    facts = Facts(surface.tolerance.wavelength_nm, surface.diameter_mm, **_facts(subject))
    return {
        "budget": ReportFigure.of(
            budget_figure(results, facts, "Uncertainty budget of the spherometer"),
            "Bars of each input's share of the uncertainty of the spherometer's results.",
        )
    }


def _aperture_mm(subject: Session, one: LoggedReading) -> float:
    """Diameter of the circle that a reading is over [mm]."""
    return one.aperture_mm or subject.surface.diameter_mm


def _facts(subject: Session) -> dict[str, Any]:
    return {"surface": subject.surface.name, "when": f"{subject.summary.when:%Y-%m-%d %H:%M}"}


def _overlay(subject: Session, one: LoggedReading, caption: str) -> ReportFigure | None:
    from fringe.photo.load import decode
    from fringe.show.figures.overlay import overlay_figure

    if not one.photographs:
        return None
    photograph = subject.visit.photographs[one.photographs[0] - 1]
    samples, _ = decode(photograph.data, photograph.file_name)
    distance = one.options.get("camera_distance_mm")
    figure = overlay_figure(
        samples,
        one.reading,
        title=f"{photograph.file_name} with the fitted dark fringes",
        diameter_mm=_aperture_mm(subject, one),
        camera_distance_mm=float(distance) if distance else None,
        **_facts(subject),
    )
    result = headline_text(one.reading.to_json())
    return ReportFigure.of(
        figure,
        f"The photograph {photograph.file_name} with the fitted dark fringes drawn over it; "
        f"power {result}.",
        caption,
    )


def _form_figures(subject: Session, shown: LoggedReading) -> dict[str, ReportFigure]:
    from fringe.show.figures.gap_map import gap_map_figure
    from fringe.show.figures.profile import profile_figure

    reading, surface = shown.reading, subject.surface
    if reading.form is None:
        return {}
    sizes = {
        "diameter_mm": _aperture_mm(subject, shown),
        "plate_radius_mm": surface.plate_radius_mm,
    }
    known = sizes | _facts(subject)
    # the limits are over the whole aperture
    tolerance = surface.tolerance if shown.aperture_mm is None else Tolerance()
    scale = (tolerance.wavelength_nm or reading.wavelength_nm) / reading.wavelength_nm
    gap = gap_map_figure(reading, **known)
    profile = profile_figure(
        reading,
        tolerance_fringes=times(tolerance.power_fringes, scale),
        irregularity_tolerance_fringes=times(tolerance.irregularity_fringes, scale),
        **known,
    )
    return {
        "gap map": ReportFigure.of(
            gap, "Map of the gap over the aperture, and of what the best sphere leaves of it."
        ),
        "profile": ReportFigure.of(
            profile, "Departure from the plate along two diameters, with the tolerance as a band."
        ),
    }


def _budget_figure(subject: Session, shown: LoggedReading) -> dict[str, ReportFigure]:
    """Bars of the one reading's budget, with what plate and lamp add to it."""
    from fringe.judge.uncertainty.sources import Bench, reading_budgets
    from fringe.show.figures.budget import budget_figure
    from fringe.show.figures.style import Facts

    reading, surface = shown.reading, subject.surface
    if reading.power_fringes is None or reading.power_u95_fringes is None:
        return {}
    bench = Bench(
        work=surface.form,
        diameter_mm=_aperture_mm(subject, shown),
        plate_radius_mm=surface.plate_radius_mm,
        u_plate_radius_mm=surface.plate.radius_u_mm or 0.0,
        u_wavelength_nm=shown.lamp.u_wavelength_nm if shown.lamp else 0.0,
    )
    results = list(reading_budgets([reading], bench, trials=0).results.values())
    facts = Facts(reading.wavelength_nm, bench.diameter_mm, **_facts(subject))
    title = f"Uncertainty budget of {_photograph_name(subject, shown)}"
    inputs = ", ".join(row.input.name for row in results[0].rows[:4])
    return {
        "budget": ReportFigure.of(
            budget_figure(results, facts, title),
            f"Bars of each input's share of the uncertainty; of power, largest first: {inputs}.",
        )
    }
