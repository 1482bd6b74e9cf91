"""Results in words, for a page that is read from two metres away."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fringe.archive.views.surface_state import SurfaceState
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.format import capital, plus_minus
from fringe.judge.settling.powers import SettlingPower, settling_powers
from fringe.judge.settling.settle import SHARE, SHORTEST_MIN, Settled, settle, with_common
from fringe.judge.settling.words import text_of
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict import Tolerance
from fringe.judge.tolerance.verdict_words import SURFACE, probability_cell
from fringe.orders.reading import Reading
from fringe.show.figures.style import wavelength_text
from fringe.show.words import (
    form_cell,
    headline,
    power_values,
    quality_rows,
    reading_rows,
    sense_text,
    warnings_of,
    work_cell,
)

LEAST_PHOTOGRAPHS = 3


def large(values: dict[str, Any]) -> dict[str, object]:
    """Return the result's parts for large letters: value, uncertainty, unit, sense.

    Parameters
    ----------
    values : dict
        Keys of a reading.
    """
    head = headline(values)
    value, _, u95 = head.value.partition(" ± ")
    wavelength = values.get("wavelength_nm")
    unit = head.unit
    if unit and wavelength is not None:
        unit += f" at {wavelength_text(wavelength)}"
    known = values.get("power_fringes") is not None
    return {
        "label": head.label,
        "value": value,
        "u95": f"± {u95}" if u95 else "",
        "unit": unit,
        "sense": sense_text(values) if known else "",
        "known": not known or values.get("sense") in ("centre", "edge"),
    }


def reading_answer(reading: Reading) -> dict[str, object]:
    """Return one photograph's result, with all its numbers."""
    values = reading.to_json()
    rows = [*reading_rows(values), *quality_rows(values)]
    if reading.iso10110:
        rows.append(("ISO 10110-5", reading.iso10110))
    return {
        **large(values),
        "rows": [[label.strip(), value] for label, value in rows],
        "warnings": [bench_words(line) for line in warnings_of(values)],
    }


def visit_answer(
    state: SurfaceState,
    row: VisitRow,
    count: int,
    reading: Reading | None = None,
    against: str | None = None,
) -> dict[str, object]:
    """Return the whole visit's result: mean, verdict, and the next step.

    Parameters
    ----------
    state : SurfaceState
        Of all visits with the one at hand as the last.
    row : VisitRow
        The visit at hand.
    count : int
        How many readings it holds.
    reading : Reading, optional
        The last one, which is shown where the visit has no power of its own: rings without an
        edge, or a contact with another piece.
    against : str, optional
        That piece.
    """
    own = row.power_fringes is not None
    if own or reading is None:
        values = power_values(
            row.power_fringes, row.power_u95_fringes, row.sense, state.wavelength_nm
        )
        head = large(values)
    else:
        head = large(reading.to_json())
    if against is not None:
        head["label"] = str(head["label"]).replace("Power", f"Power on {against}", 1)
    judged = SURFACE.get(row.verdict or "") if own else "not judged by the tolerance"
    step = state.next_step
    return {
        **head,
        "count": count if own else 1,
        "verdict": row.verdict,
        "bar": _bar(row, state),
        "verdict_text": capital(judged or "no tolerance to judge by"),
        "probability": probability_cell(row.probability),
        "reason": _sentence(row.reason or ""),
        "next": bench_words(step.whole()),
        "next_reason": _sentence(bench_words(step.why())),
    }


def settling_of(
    readings: Sequence[Reading], minutes: Sequence[float], tolerance: Tolerance
) -> tuple[SettlingPower, Settled] | None:
    """Powers of photographs of one contact, taken one after the other, and where they lead.

    Parameters
    ----------
    readings : sequence of Reading
        With power.
    minutes : sequence of float
        When each was taken [min].
    tolerance : Tolerance
        A tenth of its power is what a drift may still move, as in `fringe settle`.

    Returns
    -------
    powers, settled : SettlingPower and Settled, or None
        None where the photographs are too few, or too close together, to tell anything.
    """
    if len(set(minutes)) < LEAST_PHOTOGRAPHS or max(minutes) - min(minutes) < SHORTEST_MIN:
        return None
    try:
        powers = settling_powers(readings)
        limit = tolerance.power_fringes
        if limit is not None:
            light = tolerance.wavelength_nm or powers.wavelength_nm
            limit *= SHARE * light / powers.wavelength_nm
        settled = settle(minutes, powers.powers_fringes, powers.u_fringes, limit_fringes=limit)
    except BadInput:  # readings that contradict each other, which the answer above says already
        return None
    return powers, with_common(settled, powers.common_u_fringes)


def settling_answer(settled: Settled) -> dict[str, Any]:
    """Return where photographs lead, in words."""
    notes = [bench_words(note) for note in settled.notes]
    return {"state": settled.state, "text": bench_words(text_of(settled)), "notes": notes}


def history(rows: Sequence[VisitRow]) -> list[dict[str, Any]]:
    """Return the logged visits as rows of text, the latest first."""
    return [
        {
            "visit": row.visit,
            "when": row.when.isoformat(sep=" ", timespec="minutes")[:16],
            "work": work_cell(row),
            "power": _power(row),
            "irregularity": form_cell(row.irregularity_fringes, row.irregularity_u95_fringes),
            "verdict": row.verdict or "",
            "next": f"struck out: {row.remark}" if row.struck else bench_words(row.next_step or ""),
            "struck": row.struck,
            "power_fringes": row.power_fringes,
            "power_u95_fringes": row.power_u95_fringes,
            "sense": row.sense,
            "stage": row.stage or "",
            "minutes": "" if row.minutes is None or row.split else f"{row.minutes:g}",
        }
        for row in reversed(rows)
    ]


def _bar(row: VisitRow, state: SurfaceState) -> dict[str, object] | None:
    """Power with its interval beside what is allowed, all in the same fringes."""
    limit = state.laid.tolerance.power_fringes
    if limit is None or row.power_fringes is None or row.power_u95_fringes is None:
        return None
    return {
        "power": row.power_fringes,
        "u95": row.power_u95_fringes,
        "limit": limit,
        "known": row.sense != "unknown",
    }


def _power(row: VisitRow) -> str:
    if row.power_fringes is None:
        return ""
    known = row.sense != "unknown"
    shown = plus_minus(row.power_fringes, row.power_u95_fringes, signed=known)
    return shown if known else f"{shown}, sign unknown"


def _sentence(text: str) -> str:
    return f"{capital(text)}." if text else ""
