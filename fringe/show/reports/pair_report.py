"""A pair's report: whether convex and concave match, and on what evidence, as one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.archive.store.session import LoggedReading, Session
from fringe.archive.store.surface import Surface
from fringe.archive.views.pair_evidence import PairRecord
from fringe.archive.views.surface_state import SurfaceState
from fringe.format import figures as rounded
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import PairStep, mismatch_text
from fringe.show.figures.pair import pair_figure
from fringe.show.figures.style import wavelength_text
from fringe.show.reports.pair_parts import (
    limits_part,
    match_part,
    pair_banner,
    pieces_part,
    proof_part,
    zones_part,
)
from fringe.show.reports.proof import Proof, Tell, prove
from fringe.show.reports.report import ReportFigure, page_html
from fringe.show.reports.report_parts import Part, history_part
from fringe.show.reports.surface_report import (
    SurfaceReport,
    course_picture,
    overlays,
    proven_text,
)
from fringe.show.words import warnings_of


@dataclass(frozen=True)
class _Piece:
    """One of the two: its record, its proven sessions, and how far it has come."""

    surface: Surface
    proof: Proof
    whole: SurfaceState
    contact: tuple[LoggedReading, ...]  # of its last session that was laid on the other


def pair_report(
    convex: Surface,
    concave: Surface,
    record: PairRecord,
    found: Pair,
    step: PairStep,
    *,
    made_at: datetime | None = None,
    tell: Tell | None = None,
) -> SurfaceReport:
    """Write the report of a pair from its evidence and the sessions of both.

    Every session's bytes are proven; one that is damaged is named on the page.

    Parameters
    ----------
    convex, concave : Surface
        As they were loaded, with their folders.
    record : PairRecord
        All evidence on the two.
    found : Pair
        What was made of it.
    step : PairStep
        What to do next.
    made_at : datetime or None
        For the page's foot; None asks the clock.
    tell : callable or None
        Told how many steps are done, of how many.

    Returns
    -------
    SurfaceReport
        Its sessions are those of both.

    Raises
    ------
    BadInput
        If a surface has no folder, or it cannot be read.
    """
    pieces = [_piece(convex, concave, tell), _piece(concave, convex, tell)]
    photograph, undrawn, warnings = _photograph(pieces, concave)
    problems = [*pieces[0].proof.problems, *pieces[1].proof.problems, *undrawn]
    digests = pieces[0].proof.digests | pieces[1].proof.digests
    parts = [
        photograph,
        match_part(found, _figure(found, step, record), record.notes),
        limits_part(found),
        zones_part(record.zones),
        *(_history(one) for one in pieces),
        pieces_part([one.surface for one in pieces]),
        proof_part(
            [(one.surface.name, one.whole.rows) for one in pieces],
            digests,
            proven_text(len(digests)),
            problems,
        ),
    ]
    time = made_at or datetime.now().astimezone()
    html = page_html(
        f"{convex.name} and {concave.name}",
        _facts(found, record),
        pair_banner(found, step),
        parts,
        warnings=warnings,
        made_at=f"{time:%Y-%m-%d %H:%M}",
    )
    verdict = None if found.verdict is None else found.verdict.state
    return SurfaceReport(html, verdict, len(digests), tuple(problems))


def _piece(surface: Surface, other: Surface, tell: Tell | None) -> _Piece:
    def laid(session: Session) -> bool:
        return bool(_contact(session, surface, other))

    proof = prove(surface, laid, tell)
    contact = _contact(proof.subject, surface, other) if proof.subject else ()
    return _Piece(surface, proof, proof.state(surface), contact)


def _contact(session: Session, surface: Surface, other: Surface) -> tuple[LoggedReading, ...]:
    """Readings of a session that were of the two laid on each other."""
    return tuple(
        one for one in session.visit.readings if (one.against or surface.plate.name) == other.name
    )


def _photograph(pieces: Sequence[_Piece], concave: Surface) -> tuple[Part, list[str], list[str]]:
    """The last contact of the two with the fitted fringes; problems, and the readings' warnings."""
    with_photo = [(one, one.proof.subject) for one in pieces if one.proof.subject is not None]
    if not with_photo:
        line = (
            "The two have not been laid on each other: what is said of them here comes by "
            f"way of their plates. To do so: fringe log '{concave.name}' PHOTO --against ..."
        )
        return Part("photograph", "Photograph and fit", [line]), [], []
    piece, subject = max(with_photo, key=lambda each: each[1].summary.when)
    drawn, problems = overlays(subject, piece.contact)
    lines = [] if drawn else ["Their contact was read by eye; there is no photograph of it."]
    warnings = [text for one in piece.contact for text in warnings_of(one.reading.to_json())]
    part = Part("photograph", "Photograph and fit", lines, list(drawn.values()))
    return part, problems, list(dict.fromkeys(warnings))


def _figure(found: Pair, step: PairStep, record: PairRecord) -> ReportFigure:
    return ReportFigure.of(
        pair_figure(found, step, title="Do they match?", when=record.days_text()),
        f"The mismatch of the radii against what is allowed: {mismatch_text(found)}; and how far "
        "each piece of evidence lies from what all others say, as in the table.",
    )


def _history(one: _Piece) -> Part:
    course = course_picture(one.whole)
    part = history_part(one.whole.rows, [] if course is None else [course])
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
