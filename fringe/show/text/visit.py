"""Short texts of a visit, the same wherever one is shown."""

from __future__ import annotations

from fringe.format import plus_minus
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict_words import with_probability
from fringe.show.words import work_cell

_CONTACT = {
    "centre": "contact at the centre",
    "edge": "contact at the edge",
    "unknown": "sign unknown",
}


def power_text(power: float | None, u95: float | None, sense: str) -> str:
    """Power with its uncertainty and where the contact is."""
    if power is None:
        return "not measured"
    shown = plus_minus(power, u95, "fringes", signed=sense != "unknown")
    return f"{shown} ({_CONTACT[sense]})"


def visit_text(row: VisitRow) -> str:
    """Work and result of a visit in one line."""
    if row.struck:
        return f"struck out: {row.remark}"
    work = work_cell(row, " on top") or "no work"
    read = "nothing read" if row.power_fringes is None else f"power {row_power_text(row)}"
    return f"{work}; {read}"


def row_power_text(row: VisitRow) -> str:
    """Power of a visit, as :func:`power_text`."""
    return power_text(row.power_fringes, row.power_u95_fringes, row.sense)


def radius_text(row: VisitRow) -> str:
    """Radius difference of a visit with its uncertainty."""
    assert row.radius_difference_mm is not None
    known = row.sense != "unknown"
    shown = plus_minus(row.radius_difference_mm, row.radius_difference_u95_mm, "mm", signed=known)
    return shown if known else f"{shown} either way"


def verdict_text(row: VisitRow) -> str:
    """Verdict of a visit with its probability of conformity."""
    return with_probability(row.verdict or "", row.probability)
