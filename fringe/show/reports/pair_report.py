"""A pair's report: whether convex and concave match, and on what evidence, as one page."""

from __future__ import annotations

from datetime import datetime

from fringe.archive.views.pair_evidence import PairRecord, laid_on
from fringe.archive.views.proof import Proof
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
from fringe.show.reports.report import ReportFigure, page_html
from fringe.show.reports.report_parts import Part, history_part
from fringe.show.reports.surface_report import (
    SurfaceReport,
    course_picture,
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
    photograph, undrawn, warnings = _photograph(convex, concave)
    problems = [*convex.problems, *concave.problems, *undrawn]
    digests = convex.digests | concave.digests
    parts = [
        photograph,
        match_part(found, _figure(found, step, record), record.notes),
        limits_part(found),
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
        pair_banner(found, step),
        parts,
        warnings=warnings,
        made_at=f"{time:%Y-%m-%d %H:%M}",
    )
    verdict = None if found.verdict is None else found.verdict.state
    return SurfaceReport(html, verdict, len(digests), tuple(problems))


def _photograph(convex: Proof, concave: Proof) -> tuple[Part, list[str], list[str]]:
    """The last contact of the two with the fitted fringes; problems, and the readings' warnings."""
    subjects = []
    for one, other in ((convex, concave), (concave, convex)):
        if one.subject is not None:
            subjects.append((one.subject, laid_on(one.subject, one.surface, other.surface)))
    if not subjects:
        line = (
            "The two have not been laid on each other: what is said of them here comes by "
            f"way of their plates. To do so: fringe log '{concave.surface.name}' PHOTO "
            "--against ..."
        )
        return Part("photograph", "Photograph and fit", [line]), [], []
    subject, contact = max(subjects, key=lambda each: each[0].summary.when)
    drawn, problems = overlays(subject, contact)
    lines = [] if drawn else ["Their contact was read by eye; there is no photograph of it."]
    warnings = [text for one in contact for text in warnings_of(one.reading.to_json())]
    part = Part("photograph", "Photograph and fit", lines, list(drawn.values()))
    return part, problems, list(dict.fromkeys(warnings))


def _figure(found: Pair, step: PairStep, record: PairRecord) -> ReportFigure:
    return ReportFigure.of(
        pair_figure(found, step, title="Do they match?", when=record.days_text()),
        f"The mismatch of the radii against what is allowed: {mismatch_text(found)}; and how far "
        "each piece of evidence lies from what all others say, as in the table.",
    )


def _history(one: SurfaceState) -> Part:
    course = course_picture(one)
    part = history_part(one.rows, [] if course is None else [course])
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
