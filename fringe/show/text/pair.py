"""Whether a convex and a concave match, in rows of text."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.views.judged_pair import JudgedPair
from fringe.format import capital, figures, plus_minus
from fringe.judge.pair.match import Pair
from fringe.judge.pair.next_step import answer_text, mismatch_text, together_text
from fringe.judge.state.placements import Carried
from fringe.quantity import half_width
from fringe.show.text.lines import line, remark, wrapped_line


def pair_rows(judged: JudgedPair, picture: Path | None = None) -> list[str]:
    """The answer first, then both radii, how they lie on each other, and on what evidence."""
    found, step, record = judged.pair, judged.step, judged.record
    rows = [capital(answer_text(found)), wrapped_line("next", step.sentence())]
    for label, piece in (("convex", found.convex), ("concave", found.concave)):
        radius, u = found.radius(piece)
        rows.append(line(label, f"{piece.name}, radius {plus_minus(radius, half_width(u), 'mm')}"))
    rows += [
        line("mismatch", mismatch_text(found)),
        line("laid together", f"{together_text(found)}"),
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
    """Each piece of evidence: what it says, and how far off the rest it lies."""
    rows = []
    width = max(len(one.evidence.name) for one in found.estimate.judged)
    for one in found.estimate.judged:
        evidence = one.evidence
        if evidence.kind in ("assumed", "shared"):
            continue
        unit = {"um": "µm"}.get(evidence.unit, evidence.unit)
        u95 = half_width(evidence.u)
        shown = plus_minus(evidence.value, u95, unit, signed=unit == "fringes")
        alone = one.leverage > 0.999
        off = "decides by itself" if alone else f"off by {abs(one.off):.1f} u"
        rows.append(f"  {evidence.name:<{min(width, 44)}}  {shown}  ({off})")
    return rows


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
