"""Whether the glass has settled, in rows of text."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.views.settling import SettlingSeries
from fringe.format import figures
from fringe.judge.settling.settle import Settled
from fringe.judge.settling.words import duration, span_text, text_of
from fringe.show.text.lines import line, remark, wrapped_line


def settling_rows(series: SettlingSeries, picture: Path | None = None) -> list[str]:
    """The answer first, then how far it still is and what moves it."""
    minutes, powers, found, check = series.minutes, series.powers, series.settled, series.thermal

    whose = {"camera": "by the camera's clock", "file": "by the files' times", "given": "as given"}
    last = powers.powers_fringes[minutes.index(max(minutes))]
    span = max(minutes) - min(minutes)
    rows = [
        text_of(found),
        line(
            "by eye" if series.by_eye else "photographs",
            f"{len(minutes)} over {figures(span, 3)} min, {whose[series.clock]}",
        ),
        line(
            "last power",
            f"{figures(last, 4, signed=powers.sense != 'unknown')} fringes at "
            f"{powers.wavelength_nm:.1f} nm"
            + (", sign unknown" if powers.sense == "unknown" else ""),
        ),
    ]
    if found.end_in_view:
        rows.append(line("still to come", span_text(found.remaining_fringes, "fringes", way=-1.0)))
    if found.time_constant_min is not None:
        rows.append(line("time constant", span_text(found.time_constant_min, "min", signed=False)))
        rows.append(line("moves now", f"{figures(found.rate_fringes_h, 2, signed=True)} fringes/h"))
    rows += _wait_text(found)
    if check is not None:
        kelvin = (
            ""
            if check.difference_k is None
            else (f"; what is left is {figures(check.difference_k, 2)} K")
        )
        rows.append(
            line(
                "by temperature",
                f"{figures(check.bending_fringes_k, 2)} fringes/K, "
                f"{figures(check.slab_min, 2)} min at least, "
                f"about {duration(check.air_min)} in air{kelvin}",
            )
        )
    if picture is not None:
        rows.append(line("picture", str(picture)))
    notes = (*found.notes, *(check.notes if check else ()))
    return [*rows, *(remark(note) for note in notes), *(remark(one) for one in series.refused)]


def _wait_text(found: Settled) -> list[str]:
    if found.limit_fringes is None or found.wait_min is None or not found.end_in_view:
        return []
    limit = f"until less than {figures(found.limit_fringes, 2)} fringes are to come"
    if found.state == "settled":
        return [
            line(
                "wait",
                f"no longer: less than {figures(found.limit_fringes, 2)} fringes are to come",
            )
        ]
    most = "" if found.wait_most_min is None else f", {duration(found.wait_most_min)} at most"
    return [wrapped_line("wait", f"{duration(found.wait_min)}{most}, {limit}")]
