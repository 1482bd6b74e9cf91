"""What to do next: grind, polish, wait, stop or measure again, and why.

Rates are learned from this surface's own visits, never taken from a table. Which piece goes
on top follows common practice (no source): in grinding and polishing with overhang, the
upper piece turns more concave and the lower one more convex.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fringe.format import plus_minus

if TYPE_CHECKING:
    from fringe.judge.progress import VisitRow
    from fringe.judge.verdict import Tolerance

ACTIONS = ("grind", "polish", "wait", "stop", "remeasure")
_POLISH = re.compile(r"(?i)polish|pitch|cerium|ceria|figur")
# A rate is used for a forecast only where it is larger than this many standard uncertainties.
_SEEN = 2.0
_LONGEST_MINUTES = 6000.0


@dataclass(frozen=True)
class NextStep:
    """What to do next.

    Attributes
    ----------
    action : {'grind', 'polish', 'wait', 'stop', 'remeasure'}
        What to do.
    reason : str
        Why, in one line.
    piece_on_top : {'work', 'tool'} or None
        Which piece to put on top; None where it does not matter or is not known.
    minutes : float or None
        Forecast from the rates of the visits; None where they tell none.
    """

    action: str
    reason: str
    piece_on_top: str | None = None
    minutes: float | None = None

    def text(self) -> str:
        """Action, duration and piece on top in a few words."""
        words = self.action
        if self.minutes is not None:
            words += f" about {_round_minutes(self.minutes)} min"
        return words + (f", {self.piece_on_top} on top" if self.piece_on_top else "")

    def to_json(self) -> dict[str, Any]:
        """Return the fields under their own names."""
        return dataclasses.asdict(self)


@dataclass(frozen=True)
class Rate:
    """How fast one kind of work has moved the power of this surface.

    Attributes
    ----------
    stage, on_top : str or None
        The work, as it was logged.
    fringes_per_minute, u : float
        Change of power and its standard uncertainty [fringe/min].
    minutes : float
        Work that it was learned from [min].
    """

    stage: str | None
    on_top: str | None
    fringes_per_minute: float
    u: float
    minutes: float


def nextstep(rows: Sequence[VisitRow], tolerance: Tolerance) -> NextStep:
    """Say what to do next from a surface's visits.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order; the last one decides, the others teach the rates.
    tolerance : Tolerance
        What is allowed, in the fringes of the rows.

    Returns
    -------
    NextStep
        `stop` only where the last visit is proven inside.
    """
    if not rows:
        return NextStep("remeasure", "no visit has been logged yet")
    last = rows[-1]
    if last.power_fringes is None and last.verdict is None:
        return NextStep("remeasure", "the last visit has no reading")
    if last.verdict is None:
        return NextStep("remeasure", "the surface has no tolerance to judge by; give it one")
    if _unsettled(last):
        spread = plus_minus(last.power_spread_fringes or 0.0, last.power_u95_fringes, "fringes")
        return NextStep(
            "wait",
            f"readings of one visit differ by {spread}: let the pieces come to one temperature, "
            "then read again",
        )
    if last.verdict == "inside":
        return NextStep("stop", "the surface is proven inside its tolerance")
    if last.sense == "unknown" and last.power_fringes is not None:
        return NextStep(
            "remeasure",
            "where the contact is cannot be told, and with it which way to work: press the edge, "
            "or read with a second lamp",
        )
    if last.verdict == "unproven" and not _measured_again(rows):
        return NextStep(
            "remeasure",
            "neither inside nor outside is proven: read again, with a smaller uncertainty",
        )
    if last.power_fringes is None:
        return NextStep("remeasure", "no reading of power tells which way to work")
    return _work(rows, tolerance)


def learn_rates(rows: Sequence[VisitRow]) -> tuple[Rate, ...]:
    """Learn how fast each kind of work moves power, from visits of known sense.

    Work between two such visits counts where it was of one kind and its minutes are logged;
    the changes of one kind are pooled.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order.

    Returns
    -------
    tuple of Rate
        One a kind of work, the latest kind last.
    """
    pooled: dict[tuple[str | None, str | None], list[tuple[float, float, float]]] = {}
    before: VisitRow | None = None
    kinds: set[tuple[str | None, str | None]] = set()
    minutes = 0.0
    for row in rows:
        if row.minutes:
            kinds.add((row.stage, row.on_top))
            minutes += row.minutes
        if row.power_fringes is None or row.sense == "unknown" or row.power_u95_fringes is None:
            continue
        if before is not None and before.power_fringes is not None and len(kinds) == 1:
            change = row.power_fringes - before.power_fringes
            u2 = (row.power_u95_fringes**2 + (before.power_u95_fringes or 0.0) ** 2) / 1.96**2
            kind = kinds.pop()
            pooled[kind] = [*pooled.pop(kind, []), (change, u2, minutes)]
        before, kinds, minutes = row, set(), 0.0
    return tuple(_pool(*kind, steps) for kind, steps in pooled.items())


def _pool(
    stage: str | None, on_top: str | None, steps: Sequence[tuple[float, float, float]]
) -> Rate:  # fmt: skip
    minutes = math.fsum(step[2] for step in steps)
    change = math.fsum(step[0] for step in steps)
    u = math.sqrt(math.fsum(step[1] for step in steps))
    return Rate(stage, on_top, change / minutes, u / minutes, minutes)


def _unsettled(row: VisitRow) -> bool:
    """Whether readings of one visit differ by more than their uncertainties allow."""
    spread, u95 = row.power_spread_fringes, row.reading_u95_fringes
    # the difference of two readings has sqrt(2) times the uncertainty of one
    return spread is not None and u95 is not None and spread > math.sqrt(2) * u95


def _measured_again(rows: Sequence[VisitRow]) -> bool:
    """Whether the last visit already repeated an unproven one without work between."""
    measured = [row for row in rows if row.verdict is not None]
    return len(measured) > 1 and measured[-2].verdict == "unproven" and not rows[-1].minutes


def _work(rows: Sequence[VisitRow], tolerance: Tolerance) -> NextStep:
    last = rows[-1]
    power = last.power_fringes or 0.0
    stage = next((row.stage for row in reversed(rows) if row.stage), None)
    action = "polish" if stage is not None and _POLISH.search(stage) else "grind"
    if _only_irregular(last, tolerance):
        return NextStep(action, "power is inside its limit, irregularity is not")
    # Power > 0: the gap opens toward the edge. A convex work is curved too strongly then, a
    # concave one too weakly; either has to turn more concave, as the upper piece does.
    on_top = "work" if power > 0 else "tool"
    shown = plus_minus(power, last.power_u95_fringes, "fringes", signed=True)
    rates = [r for r in learn_rates(rows) if r.stage == stage and r.on_top == on_top]
    if not rates:
        return NextStep(action, f"power is {shown}; no such work is logged to learn from", on_top)
    rate = rates[-1]
    pace = plus_minus(60 * rate.fringes_per_minute, 1.96 * 60 * rate.u, "fringes/h", signed=True)
    name = stage or "this work"
    if abs(rate.fringes_per_minute) < _SEEN * rate.u:
        return NextStep(
            action, f"power is {shown}; {name} has moved it by {pace}, too little to tell", on_top
        )
    minutes = -power / rate.fringes_per_minute
    if minutes <= 0:
        return NextStep(
            action,
            f"power is {shown}, and {name} with the {on_top} on top has moved it the wrong way "
            f"({pace}): change the stroke or the piece on top",
        )
    reason = f"power is {shown}; {name} has moved it by {pace}"
    if minutes > _LONGEST_MINUTES:
        return NextStep("grind", f"{reason}: too slow for what is left", on_top)
    return NextStep(action, reason, on_top, minutes)


def _only_irregular(row: VisitRow, tolerance: Tolerance) -> bool:
    """Whether power is inside its limit, so that only irregularity is left to better."""
    limit, power, u95 = tolerance.power_fringes, row.power_fringes, row.power_u95_fringes
    if tolerance.irregularity_fringes is None or power is None:
        return False
    return limit is not None and abs(power) + (u95 or 0.0) < limit


def _round_minutes(minutes: float) -> int:
    """Round a forecast to what it is worth: minutes, fives, or tens."""
    step = 1 if minutes < 15 else 5 if minutes < 90 else 10
    return max(step, round(minutes / step) * step)
