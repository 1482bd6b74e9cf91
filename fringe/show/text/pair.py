"""Whether a convex and a concave match, in rows of text."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.views.judged_pair import JudgedPair
from fringe.format import capital, figures, plus_minus
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import answer_text, mismatch_text, together_text
from fringe.judge.state.placements import Carried
from fringe.judge.uncertainty.evidence import Judged
from fringe.quantity import half_width
from fringe.show.text.lines import line, line_width, remark, wrapped_line

_UNSHOWN = ("assumed", "shared")  # kinds of evidence that nobody measured


def pair_rows(judged: JudgedPair, picture: Path | None = None) -> list[str]:
    """The answer first, then both radii, how they lie on each other, and on what evidence."""
    found, step, record = judged.pair, judged.step, judged.record
    rows = [capital(answer_text(found)), wrapped_line("next", step.sentence())]
    for label, piece in (("convex", found.convex), ("concave", found.concave)):
        radius, u = found.radius(piece)
        rows.append(
            wrapped_line(label, f"{piece.name}, radius {plus_minus(radius, half_width(u), 'mm')}")
        )
    rows += [
        wrapped_line("mismatch", mismatch_text(found)),
        wrapped_line("laid together", together_text(found)),
        line("", f"over {found.diameter_mm:g} mm at {found.wavelength_nm:.1f} nm"),
    ]
    if record.irregularity is not None:
        rows.append(line("irregularity", f"{figures(record.irregularity[0], 2)} fringes"))
    rows += ["", "Evidence", *_evidence_text(found)]
    for name, zones in record.zones.items():
        rows += ["", f"Zones of {name}", *_zones_text(zones)]
    if picture is not None:
        rows.append(line("picture", str(picture)))
    notes = [*found.notes, *record.notes]
    notes += [note for zones in record.zones.values() for note in zones.notes]
    return [*rows, *(remark(note) for note in dict.fromkeys(notes))]


def _evidence_text(found: Pair) -> list[str]:
    """Each piece of evidence: what it says, and how far off the rest it lies.

    Names that leave no room for both on this terminal have a row of their own.
    """
    judged = [one for one in found.estimate.judged if one.evidence.kind not in _UNSHOWN]
    cells = [_evidence_cells(one) for one in judged]
    if not cells:
        return []
    name, value, off = (max(map(len, column)) for column in zip(*cells, strict=True))
    if 2 + name + 2 + value + 2 + off <= line_width():
        return [f"  {a:<{name}}  {b:<{value}}  {c}" for a, b, c in cells]
    return [row for a, b, c in cells for row in (f"  {a}", f"    {b:<{value}}  {c}")]


def _evidence_cells(one: Judged) -> tuple[str, str, str]:
    evidence = one.evidence
    unit = {"um": "µm"}.get(evidence.unit, evidence.unit)
    u95 = half_width(evidence.u)
    shown = plus_minus(evidence.value, u95, unit, signed=unit == "fringes")
    off = "decides by itself" if one.leverage > 0.999 else f"off by {abs(one.off):.1f} u"
    return evidence.name, shown, f"({off})"


def _zones_text(zones: Carried) -> list[str]:
    return [
        line(
            f"at {zone.offset_mm:g} mm",
            "work − plate "
            + plus_minus(
                zone.radius_difference_mm, zone.radius_difference_u95_mm, "mm", signed=True
            )
            + f", over {zone.diameter_mm:g} mm",
        )
        for zone in zones.zones
    ]
