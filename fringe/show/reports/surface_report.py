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
from fringe.archive.views.proof import Tell, history_digest, prove
from fringe.archive.views.sagittas import compared
from fringe.archive.views.session_budget import Assumptions, budgets_of
from fringe.archive.views.surface_state import SurfaceState
from fringe.errors import BadInput
from fringe.format import figures as rounded
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict import Tolerance
from fringe.judge.uncertainty.budget import Budget
from fringe.show.figures.style import COLUMN_IN
from fringe.show.reports.certificate import struck_line
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
    latest |= {
        "problems": problems,
        "of_plate": whole.of_plate,
        "proven": proven_text(len(proof.digests)),
        "struck": struck_line(whole.struck),
        "history": history_digest(surface),
    }
    time = made_at or datetime.now().astimezone()
    html = report_html(
        whole.laid.to_json(),
        whole.rows,
        latest,
        pictures,
        budgets=() if subject is None else _budgets(subject),
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
        "visit": whole.rows[place].visit,
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
    count = len(own) if len(own) > 1 or shown.aperture_mm is not None else 0
    values["mean"] = _mean(whole.rows[place], whole.wavelength_nm, count)
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
                one.text,
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
    names = ("radius_difference_mm", "radius_difference_u95_mm")
    form = ("irregularity_fringes", "irregularity_u95_fringes")
    return power | {name: getattr(row, name) for name in (*names, *form)} | {"count": count}


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


def _budgets(subject: Session) -> tuple[Budget, ...]:
    """Where the uncertainty of the visit's results comes from; none where it measured nothing."""
    try:
        return budgets_of(subject, Assumptions(), trials=0).results
    except BadInput:
        return ()


def _figures(
    subject: Session | None, whole: SurfaceState
) -> tuple[dict[str, ReportFigure], list[str]]:
    """Every figure of the report, and a line for each that could not be drawn."""
    pictures: dict[str, ReportFigure] = {}
    problems: list[str] = []
    shown = None if subject is None else _shown(subject, whole.partner)
    if subject is not None and shown is not None:
        others = [
            one for one in own_readings(subject, whole.partner) if one.reading != shown.reading
        ]
        pictures, problems = overlays(subject, [shown, *others])
        pictures |= _form_figures(subject, shown)
    course = {f"progress {k}": one for k, one in enumerate(course_pictures(whole))}
    return pictures | course, problems


def overlays(
    subject: Session, readings: Sequence[LoggedReading]
) -> tuple[dict[str, ReportFigure], list[str]]:
    """Photographs with their fits, and a line for each that could not be drawn.

    The first, `overlay`, is for the certificate; where it has too many fringes for that size it
    is repeated as `overlay enlarged`, with two places enlarged.
    """
    pictures: dict[str, ReportFigure] = {}
    problems: list[str] = []
    for number, one in enumerate(readings[:MOST_PHOTOGRAPHS]):
        try:
            drawn = _overlays(subject, one, enlarged=number == 0)
        except BadInput as error:
            problems.append(str(error))
            continue
        pictures |= {"overlay" + (f" {number}" if number else "") + k: v for k, v in drawn.items()}
    return pictures, problems


def course_pictures(whole: SurfaceState) -> list[ReportFigure]:
    """Power, and irregularity, over all visits; none before anything was measured."""
    from fringe.show.figures.course import course_figure
    from fringe.show.figures.progress import irregularity_figure

    pictures = []
    count = f"{len(whole.rows)} visit{'' if len(whole.rows) == 1 else 's'}"
    what = f"of {whole.surface.name} over {count}; the table below holds the same numbers."
    if any(row.power_fringes is not None for row in whole.rows):
        power = course_figure(whole, irregularity=False, width_in=COLUMN_IN)
        pictures.append(ReportFigure.of(power, f"Power {what}", title="Power over the visits"))
    if any(row.irregularity_fringes is not None for row in whole.rows):
        limit = whole.laid.tolerance.irregularity_fringes
        form = irregularity_figure(whole.rows, limit, width_in=COLUMN_IN)
        title = "Irregularity over the visits"
        pictures.append(ReportFigure.of(form, f"Irregularity {what}", title=title))
    return pictures


def _aperture_mm(subject: Session, one: LoggedReading) -> float:
    """Diameter of the circle that a reading is over [mm]."""
    return one.aperture_mm or subject.surface.diameter_mm


def _overlays(subject: Session, one: LoggedReading, *, enlarged: bool) -> dict[str, ReportFigure]:
    """The photograph of a reading with its fit; with two places enlarged as well, if wished."""
    from fringe.photo.load import decode
    from fringe.show.figures.overlay import has_close_ups, overlay_figure

    if not one.photographs:
        return {}
    photograph = subject.visit.photographs[one.photographs[0] - 1]
    samples, _ = decode(photograph.data, photograph.file_name)
    distance = one.options.get("camera_distance_mm")
    known: dict[str, Any] = {
        "diameter_mm": _aperture_mm(subject, one),
        "camera_distance_mm": float(distance) if distance else None,
    }
    text = (
        f"The photograph {photograph.file_name} with the fitted dark fringes drawn over it; "
        f"power {headline_text(one.reading.to_json())}."
    )
    title = photograph.file_name
    plain = overlay_figure(samples, one.reading, width_in=COLUMN_IN, enlarged=False, **known)
    found = {"": ReportFigure.of(plain, text, _HOW_TO_SEE if enlarged else "", title=title)}
    if enlarged and has_close_ups(one.reading, **known):
        near = overlay_figure(samples, one.reading, width_in=COLUMN_IN, **known)
        found[" enlarged"] = ReportFigure.of(near, f"{text} Two places are enlarged.", title=title)
    return found


def _form_figures(subject: Session, shown: LoggedReading) -> dict[str, ReportFigure]:
    from fringe.show.figures.gap_map import gap_map_figure
    from fringe.show.figures.profile import profile_figure
    from fringe.show.figures.relief import relief_figure

    reading, surface = shown.reading, subject.surface
    if reading.form is None:
        return {}
    sizes: dict[str, Any] = {
        "diameter_mm": _aperture_mm(subject, shown),
        "plate_radius_mm": surface.plate_radius_mm,
        "width_in": COLUMN_IN,
    }
    # the limits are over the whole aperture
    tolerance = surface.tolerance if shown.aperture_mm is None else Tolerance()
    scale = (tolerance.wavelength_nm or reading.wavelength_nm) / reading.wavelength_nm
    profile = profile_figure(
        reading,
        tolerance_fringes=times(tolerance.power_fringes, scale),
        irregularity_tolerance_fringes=times(tolerance.irregularity_fringes, scale),
        **sizes,
    )
    return {
        "gap": ReportFigure.of(
            gap_map_figure(reading, shown=("gap",), **sizes),
            "Map of the gap over the aperture, as the piece lay.",
        ),
        "rest": ReportFigure.of(
            gap_map_figure(reading, shown=("rest",), **sizes),
            "Map of what the best sphere leaves of the gap.",
        ),
        "relief": ReportFigure.of(
            relief_figure(reading, **sizes),
            "The work's height over its best sphere as a relief, seen at a slant.",
            title="The form as a relief",
        ),
        "profile": ReportFigure.of(
            profile,
            "Departure from the plate along two diameters, with the tolerance as a band.",
            title="Profiles through the centre",
        ),
    }
