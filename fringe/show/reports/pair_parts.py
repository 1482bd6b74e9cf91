"""The parts of a pair's report: their words and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fringe.archive.store.surface import Surface
from fringe.format import capital, plus_minus
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import PairStep, mismatch_text, together_text
from fringe.judge.state.placements import Carried
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict_words import PAIR, probability_cell, probability_sentence
from fringe.judge.uncertainty.evidence import Judged
from fringe.quantity import half_width, half_width_if_any
from fringe.show.figures.style import wavelength_text
from fringe.show.reports.report import ReportFigure
from fringe.show.reports.report_parts import (
    Banner,
    Part,
    Table,
    decision_part,
    length_text,
    limit_cell,
)

_SHOWN = ("contact", "spherometer", "certificate")


def pair_banner(found: Pair, step: PairStep) -> Banner:
    """Whether they match, by what, and what to do next."""
    lines = [
        f"{mismatch_text(found)} (95 %). Laid together they would show {together_text(found)}; "
        f"over {found.diameter_mm:g} mm at {wavelength_text(found.wavelength_nm)}."
    ]
    verdict = found.verdict
    if verdict is not None:
        lines.insert(0, probability_sentence(verdict.reason, verdict.probability))
    lines += [f"{note}." for note in found.notes]
    state = "none" if verdict is None else verdict.state
    return Banner(state, capital(PAIR.get(state, "not judged")), lines, step.sentence())


def radii_table(found: Pair) -> Table:
    """Both radii with their mismatch, and what they would show laid together."""
    rows = []
    for role, piece in (("convex", found.convex), ("concave", found.concave)):
        radius, u = found.radius(piece)
        shown = plus_minus(radius, half_width(u), "mm", digits=7)
        rows.append((piece.name, role, shown))
    mismatch = mismatch_text(found).rsplit(" = ", 1)[1]
    power = together_text(found).split(":", 1)[0]
    foot = [("concave less convex", "", mismatch), ("laid together", "", power)]
    return Table(
        "Both radii, from all evidence; what they share cancels in the mismatch",
        ("Piece", "Form", "Radius, 95 %"),
        rows,
        foot,
    )


def match_part(found: Pair, figures: Sequence[ReportFigure], notes: Sequence[str]) -> Part:
    """Each piece of evidence, and what was left out."""
    judged = [one for one in found.estimate.judged if one.evidence.kind in _SHOWN]
    evidence = Table(
        "Each piece of evidence, and how far it lies from what all others say",
        ("Evidence", "Says, 95 %", "Expected", "Standard uncertainties off"),
        [_evidence_row(one) for one in judged],
    )
    lines = [one.text for one in found.conflicts]
    lines = lines or ["No piece of evidence contradicts the others"]
    lines = [f"{line}." for line in lines] + [f"{note}." for note in notes]
    return Part("match", "The evidence", lines, figures, [evidence])


def _evidence_row(one: Judged) -> tuple[str, str, str, str]:
    evidence = one.evidence
    unit = {"um": "µm"}.get(evidence.unit, evidence.unit)
    signed = unit == "fringes"
    u95 = half_width(evidence.u)
    off = "nothing else speaks of it" if one.leverage > 0.999 else f"{abs(one.off):.1f}"
    says = plus_minus(evidence.value, u95, unit, signed=signed)
    # to the digits of what it is held against
    expected = plus_minus(one.expected, u95, "", signed=signed).split(" ± ")[0]
    return evidence.name, says, f"{expected} {unit}", off


def limits_part(found: Pair) -> Part:
    """The decision on each limited quantity, and the rule."""
    verdict = found.verdict
    if verdict is None:
        line = (
            "No tolerance says how well they must match: give a system or a tolerance with "
            "the report."
        )
        return Part("decision", "The decision", [line])
    limits = {
        "power": lambda value: limit_cell(value, "±"),
        "irregularity": lambda value: limit_cell(value, "up to "),
        "radius difference": lambda value: f"±{length_text(value)}",
    }
    rows = [
        (
            one.quantity or "match",
            "" if one.upper is None else limits[one.quantity or "power"](one.upper),
            one.state,
            probability_cell(one.probability),
        )
        for one in verdict.parts or (verdict,)
    ]
    return decision_part(rows, verdict.rule, found.wavelength_nm)


def zones_part(zones: Mapping[str, Carried]) -> Part:
    """Placements of plates smaller than the work."""
    tables = [
        Table(
            f"Zones of {name}, by a plate smaller than it",
            ("From the centre, mm", "Over, mm", "Radius, work − plate, 95 %"),
            [
                (
                    f"{zone.offset_mm:g}",
                    f"{zone.diameter_mm:g}",
                    plus_minus(
                        zone.radius_difference_mm, zone.radius_difference_u95_mm, "mm", signed=True
                    ),
                )
                for zone in one.zones
            ],
        )
        for name, one in zones.items()
    ]
    lines = [f"{note}." for one in zones.values() for note in one.notes]
    return Part("zones", "Zones", lines, (), tables)


def pieces_part(surfaces: Sequence[Surface]) -> Part:
    """What the two are meant to be, side by side."""
    rows = [
        ("Form", [one.form for one in surfaces]),
        ("Nominal radius", [length_text(one.radius_mm) for one in surfaces]),
        ("Diameter of the aperture", [length_text(one.diameter_mm) for one in surfaces]),
        ("Diameter over all", [_over_all(one) for one in surfaces]),
        ("Plate", [one.plate.name or "" for one in surfaces]),
        ("Certified radius of the plate", [_certified(one) for one in surfaces]),
        ("Glass", [one.glass or "" for one in surfaces]),
        ("Usual lamp", [one.lamp or "" for one in surfaces]),
        ("Version of this record", [str(one.version or "") for one in surfaces]),
    ]
    table = Table(
        "The surfaces' records",
        ("Property", *(one.name for one in surfaces)),
        [(name, *cells) for name, cells in rows if any(cells)],
    )
    return Part("surfaces", "The surfaces", (), (), [table])


def _over_all(surface: Surface) -> str:
    return "" if surface.chamfer_mm is None else length_text(surface.outside_diameter_mm)


def _certified(surface: Surface) -> str:
    plate = surface.plate
    if plate.radius_mm is None:
        return ""
    u95 = half_width_if_any(plate.radius_u_mm)
    return plus_minus(plate.radius_mm, u95, "mm", digits=7)


def proof_part(
    visits: Sequence[tuple[str, Sequence[VisitRow]]],
    digests: Mapping[str, str],
    proven: str,
    problems: Sequence[str],
) -> Part:
    """What the report rests on, with digests that prove it unchanged."""
    rows = [
        (f"{name}, visit {row.visit}", row.session_id, digests.get(row.session_id, ""))
        for name, seen in visits
        for row in seen
    ]
    lines = [proven] if proven else []
    lines += [f"Not in this report: {line}." for line in problems]
    table = Table(
        "Sessions in the archive",
        ("Visit", "Session", "SHA-256 of its content"),
        rows,
        coded=(1, 2),
        wide=True,
    )
    return Part("evidence", "Evidence", lines, (), [table] if rows else [])
