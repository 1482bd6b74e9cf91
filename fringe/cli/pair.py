"""`fringe pair`: does a convex match a concave, by all that was logged of both."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import line, remark, wrapped_line
from fringe.cli._match import match_options, matched
from fringe.cli._options import json_option, print_json
from fringe.cli.params import picture_option

if TYPE_CHECKING:
    from fringe.archive.views.pair_evidence import PairRecord
    from fringe.judge.pair.match import Pair
    from fringe.judge.pair.next_step import PairStep


@click.command("pair", short_help="Say whether a convex and a concave match.")
@click.argument("convex")
@click.argument("concave")
@match_options
@picture_option
@json_option
def command(convex: str, concave: str, picture: Path | None, as_json: bool, **given: Any) -> None:
    """Say whether a convex and a concave match, and which to work on if they do not.

    CONVEX and CONCAVE are surfaces as ARCHIVE/NAME, in either order. All that was logged since
    the last work counts: contact with their plates, with each other (`fringe log --against`),
    and the spherometer. One estimate of both radii is made of it, in which what they share
    cancels; evidence that contradicts the rest is named. Without a tolerance here, that of the
    piece whose plate is the other one counts.

    \b
    Example:
      fringe surface add shop 'convex 1' --form convex --radius 3048mm --diameter 150mm
      fringe log 'shop/concave 1' laid.jpg --against 'convex 1' --sense centre
      fringe pair 'shop/convex 1' 'shop/concave 1' --tolerance-power 2
      fringe pair 'shop/convex 1' 'shop/concave 1' --system examples/train.toml
    """
    from fringe.cli._waiting import waiting

    with waiting("weighing the evidence", quiet=as_json):
        _, _, record, found, step = matched(convex, concave, given)
        if picture is not None:
            _draw(picture, found, step, record)
    if as_json:
        print_json(_json(found, step, record, picture))
    else:
        click.echo("\n".join(_text(found, step, record, picture)))


def _draw(path: Path, found: Pair, step: PairStep, record: PairRecord) -> None:
    from fringe.files import write_whole
    from fringe.show.figures.pair import pair_figure
    from fringe.show.figures.style import png_bytes

    write_whole(path, png_bytes(pair_figure(found, step, when=record.days_text())))


def _json(found: Pair, step: PairStep, record: PairRecord, picture: Path | None) -> dict[str, Any]:
    import dataclasses

    from fringe.judge.uncertainty.evidence import to_json
    from fringe.student_t import coverage_factor

    k = coverage_factor()
    pieces = {}
    for role, piece in (("convex", found.convex), ("concave", found.concave)):
        radius, u = found.radius(piece)
        pieces[role] = {
            "name": piece.name,
            "radius_mm": radius,
            "radius_u95_mm": k * u,
            "nominal_mm": piece.radius_mm,
        }
    return {
        **pieces,
        "correlation": found.correlation,
        "mismatch_mm": found.mismatch_mm,
        "mismatch_u95_mm": k * found.u_mismatch_mm,
        "power_fringes": found.power_fringes,
        "power_u95_fringes": k * found.u_power_fringes,
        "diameter_mm": found.diameter_mm,
        "wavelength_nm": found.wavelength_nm,
        "irregularity_fringes": record.irregularity and record.irregularity[0],
        "verdict": found.verdict and found.verdict.to_json(),
        "next_step": dataclasses.asdict(step),
        **to_json(found.estimate),
        "zones": {name: one.to_json() for name, one in record.zones.items()},
        "notes": [*found.notes, *record.notes],
        "picture": None if picture is None else str(picture),
    }


def _text(found: Pair, step: PairStep, record: PairRecord, picture: Path | None) -> list[str]:
    from fringe.format import capital, figures, plus_minus
    from fringe.judge.pair.next_step import answer_text, mismatch_text, together_text
    from fringe.student_t import coverage_factor

    k = coverage_factor()
    rows = [capital(answer_text(found)), wrapped_line("next", step.sentence())]
    for label, piece in (("convex", found.convex), ("concave", found.concave)):
        radius, u = found.radius(piece)
        rows.append(line(label, f"{piece.name}, radius {plus_minus(radius, k * u, 'mm')}"))
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
    from fringe.format import plus_minus
    from fringe.student_t import coverage_factor

    rows = []
    width = max(len(one.evidence.name) for one in found.estimate.judged)
    for one in found.estimate.judged:
        evidence = one.evidence
        if evidence.kind in ("assumed", "shared"):
            continue
        unit = {"um": "µm"}.get(evidence.unit, evidence.unit)
        u95 = coverage_factor() * evidence.u
        shown = plus_minus(evidence.value, u95, unit, signed=unit == "fringes")
        alone = one.leverage > 0.999
        off = "decides by itself" if alone else f"off by {abs(one.off):.1f} u"
        rows.append(f"  {evidence.name:<{min(width, 44)}}  {shown}  ({off})")
    return rows


def _zones_text(zones: Any) -> list[str]:
    from fringe.format import plus_minus

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
