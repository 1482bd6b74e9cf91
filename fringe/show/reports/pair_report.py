"""A pair's report: whether convex and concave match, and on what evidence, as one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.archive.store.session import LoggedReading, Session
from fringe.archive.views.pair_evidence import PairRecord, laid_on
from fringe.archive.views.proof import Proof, history_digest
from fringe.archive.views.surface_state import SurfaceState
from fringe.format import figures as rounded
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import PairStep, mismatch_text
from fringe.judge.state.visits import VisitRow
from fringe.show.figures.pair import pair_figure
from fringe.show.figures.style import COLUMN_IN, wavelength_text
from fringe.show.reports.certificate import Certificate, spoken_rows, struck_line
from fringe.show.reports.pair_parts import (
    limits_part,
    match_part,
    pair_banner,
    pieces_part,
    proof_part,
    radii_table,
    zones_part,
)
from fringe.show.reports.report import ReportFigure, page_html
from fringe.show.reports.report_parts import Part, history_part
from fringe.show.reports.surface_report import (
    SurfaceReport,
    course_pictures,
    overlays,
    proven_text,
)
from fringe.show.words import warnings_of


def pair_report(
    record: PairRecord,
    found: Pair,
    step: PairStep,
    *,
    made_at: datetime | None = None,
) -> SurfaceReport:
    """Write the report of a pair from its evidence and the sessions of both.

    Every session's bytes are proven; one that is damaged is named on the page.

    Parameters
    ----------
    record : PairRecord
        All evidence on the two, gathered with every session proven.
    found : Pair
        What was made of it.
    step : PairStep
        What to do next.
    made_at : datetime or None
        For the page's foot; None asks the clock.
    Returns
    -------
    SurfaceReport
        Its sessions are those of both.

    Raises
    ------
    ValueError
        If the evidence was gathered without proving every session.
    """
    convex, concave = record.proofs
    states = convex.state(), concave.state()
    contact, drawn, undrawn = _contact(convex, concave)
    problems = [*convex.problems, *concave.problems, *undrawn]
    digests = convex.digests | concave.digests
    others = [picture for name, picture in drawn.items() if name != "overlay"]
    certificate = Certificate(
        pair_banner(found, step),
        drawn.get("overlay"),
        _without_photograph(contact, concave),
        radii_table(found),
        limits_part(found),
        _warnings(contact),
        _spoken(contact, [*states[0].rows, *states[1].rows], convex),
        [line for one in states for line in struck_line(one.struck, one.surface.name)],
    )
    parts = [
        match_part(found, [_figure(found, step, record), *others], record.notes),
        zones_part(record.zones),
        *(_history(one) for one in states),
        pieces_part([one.surface for one in states]),
        proof_part(
            [(one.surface.name, one.rows) for one in states],
            digests,
            proven_text(len(digests)),
            problems,
        ),
    ]
    time = made_at or datetime.now().astimezone()
    html = page_html(
        f"{convex.surface.name} and {concave.surface.name}",
        _facts(found, record),
        certificate,
        parts,
        made_at=f"{time:%Y-%m-%d %H:%M}",
    )
    verdict = None if found.verdict is None else found.verdict.state
    return SurfaceReport(html, verdict, len(digests), tuple(problems))


@dataclass(frozen=True)
class _Contact:
    """The last time that the two lay on each other."""

    session: Session
    readings: Sequence[LoggedReading]


def _contact(
    convex: Proof, concave: Proof
) -> tuple[_Contact | None, dict[str, ReportFigure], list[str]]:
    """The last contact of the two, its photographs with the fitted fringes, and problems."""
    found = [
        _Contact(one.subject, laid_on(one.subject, one.surface, other.surface))
        for one, other in ((convex, concave), (concave, convex))
        if one.subject is not None
    ]
    if not found:
        return None, {}, []
    last = max(found, key=lambda each: each.session.summary.when)
    return last, *overlays(last.session, last.readings[::-1])


def _without_photograph(contact: _Contact | None, concave: Proof) -> str:
    """What stands where the photograph of their contact would."""
    if contact is None:
        return (
            "The two have not been laid on each other: what is said of them here comes by "
            f"way of their plates. To do so: fringe log '{concave.surface.name}' PHOTO "
            "--against ..."
        )
    return "Their contact was read by eye; there is no photograph of it."


def _warnings(contact: _Contact | None) -> list[str]:
    readings = [] if contact is None else contact.readings
    said = [text for one in readings for text in warnings_of(one.reading.to_json())]
    return list(dict.fromkeys(said))


def _spoken(
    contact: _Contact | None, rows: Sequence[VisitRow], convex: Proof
) -> list[tuple[str, str]]:
    """The visit at which they lay on each other, and the digest of the whole history."""
    known: dict[str, object] = {"history": history_digest(convex.surface)}
    if contact is not None:
        session = contact.session
        number = next(row.visit for row in rows if row.session_id == session.summary.session_id)
        known |= {
            "visit": f"{number} of {session.surface.name}",
            "when": session.summary.when.isoformat(),
            "by": session.visit.by,
            "session_id": session.summary.session_id,
            "content_sha256": session.content_sha256,
        }
    return spoken_rows(known)


def _figure(found: Pair, step: PairStep, record: PairRecord) -> ReportFigure:
    return ReportFigure.of(
        pair_figure(found, step, when=record.days_text(), width_in=COLUMN_IN),
        f"The mismatch of the radii against what is allowed: {mismatch_text(found)}; and how far "
        "each piece of evidence lies from what all others say, as in the table.",
        title="The mismatch, and each piece of evidence against all the rest",
    )


def _history(one: SurfaceState) -> Part:
    part = history_part(one.rows, course_pictures(one))
    return Part(
        f"history-{one.surface.form}",
        f"History of {one.surface.name}",
        part.lines,
        part.figures,
        part.tables,
        part.tables_last,
    )


def _facts(found: Pair, record: PairRecord) -> list[str]:
    facts = [
        "pair of a convex and a concave",
        f"aperture ⌀ {rounded(found.diameter_mm, 6)} mm",
        wavelength_text(found.wavelength_nm),
        f"read {record.days_text()}" if record.when else None,
    ]
    return [str(one) for one in facts if one]
