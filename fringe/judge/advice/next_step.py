"""What to do next: grind, polish, wait, stop or measure again, and why.

Rates are learned from this surface's own visits and from like ones, never taken from a table.
Which piece goes on top follows common practice (no source): in grinding and polishing with
overhang, the upper piece turns more concave and the lower one more convex.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fringe.format import plus_minus
from fringe.judge.advice.step import NextStep

if TYPE_CHECKING:
    from fringe.judge.state.rates import HeightChange
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.tolerance import Aperture
    from fringe.judge.tolerance.verdict import Tolerance


def nextstep(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    like: Sequence[Sequence[HeightChange]] = (),
    pit_factor: float | None = None,
) -> NextStep:
    """Say what to do next from a surface's visits.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order; the last one decides, the others teach the rates.
    tolerance : Tolerance
        What is allowed, in the fringes of the rows.
    aperture : Aperture, optional
        The surface, for which way its radius moves.
    like : sequence of sequence of HeightChange
        What work did to like surfaces.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.

    Returns
    -------
    NextStep
        `stop` only where the last visit is proven inside.
    """
    rows = _that_tell(rows)
    early = _before_work(rows, tolerance)
    if early is not None:
        return early
    last = rows[-1]
    from functools import partial

    from fringe.judge.advice.stages import next_work

    work = partial(next_work, rows, tolerance, aperture=aperture, like=like, pit_factor=pit_factor)
    if last.verdict == "inside":
        # a ground surface of the right radius is not finished; one that is polished is
        handed = work(inside=True)
        return handed or NextStep("stop", "the surface is proven inside its tolerance")
    if last.sense == "unknown" and last.power_fringes is not None:
        return NextStep(
            "remeasure",
            "where the contact is cannot be told, and with it which way to work: press the edge, "
            "or read with a second lamp",
        )
    if last.verdict == "unproven" and not _measured_again(rows):
        if last.method == "spherometer":
            handed = work(inside=True)
            if handed is not None:
                reason = f"the spherometer tells no more here; {handed.reason}"
                return dataclasses.replace(handed, reason=reason)
            return NextStep(
                "remeasure",
                "neither inside nor outside is proven by the spherometer: go on with fringes",
            )
        if _power_alone(last, tolerance):
            return NextStep(
                "remeasure",
                "power is proven inside, irregularity is not measured: photograph the contact",
            )
        return NextStep(
            "remeasure",
            "neither inside nor outside is proven: read again, with a smaller uncertainty",
        )
    if last.power_fringes is None:
        return NextStep("remeasure", "no reading of power tells which way to work")
    found = work()
    assert found is not None
    return found


def _that_tell(rows: Sequence[VisitRow]) -> Sequence[VisitRow]:
    """Rows without the last visits that neither worked nor read anything: a remark alone."""
    last = len(rows)
    while last > 1 and not (
        rows[last - 1].verdict
        or rows[last - 1].power_fringes is not None
        or rows[last - 1].stage
        or rows[last - 1].minutes
    ):
        last -= 1
    return rows[:last]


def _before_work(rows: Sequence[VisitRow], tolerance: Tolerance) -> NextStep | None:
    """What must be settled before any work is thought of."""
    if not rows:
        return NextStep("remeasure", "no visit has been logged yet")
    last = rows[-1]
    if last.power_fringes is None and last.verdict is None:
        return NextStep("remeasure", "the last visit has no reading")
    if last.verdict is None:
        return NextStep("remeasure", "the surface has no tolerance to judge by; give it one")
    if last.conflict is not None:
        return NextStep("remeasure", f"{last.conflict}; find out which is wrong")
    if _unsettled(last):
        spread = plus_minus(last.power_spread_fringes or 0.0, last.reading_u95_fringes, "fringes")
        inside = "inside as read, but " if last.verdict == "inside" else ""
        return NextStep(
            "wait",
            f"{inside}readings of one visit differ by {spread}: let the pieces come to one "
            "temperature, then read again; `fringe settle` tells from photographs how long",
        )
    return None


def _power_alone(row: VisitRow, tolerance: Tolerance) -> bool:
    """Whether power is well inside its limit, and irregularity is limited but was not read."""
    limit, power = tolerance.power_fringes, row.power_fringes
    if tolerance.irregularity_fringes is None or row.irregularity_fringes is not None:
        return False
    if limit is None or power is None or row.power_u95_fringes is None:
        return False
    return abs(power) + row.power_u95_fringes < limit


def _unsettled(row: VisitRow) -> bool:
    """Whether readings of one visit differ by more than their uncertainties allow."""
    spread, u95 = row.power_spread_fringes, row.reading_u95_fringes
    # the difference of two readings has sqrt(2) times the uncertainty of one
    return spread is not None and u95 is not None and spread > math.sqrt(2) * u95


def _measured_again(rows: Sequence[VisitRow]) -> bool:
    """Whether the last visit already repeated an unproven one without work between."""
    measured = [row for row in rows if row.verdict is not None]
    return len(measured) > 1 and measured[-2].verdict == "unproven" and not rows[-1].minutes
