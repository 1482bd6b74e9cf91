"""What to do next: grind, polish, wait, stop or measure again, and why.

All is read off what the visits of a surface say of it together (`judge.state`): where it stands,
what each kind of work does, whether pits are left, how warm it is. Which piece goes on top
follows common practice (no source): in grinding and polishing with overhang, the upper piece
turns more concave and the lower one more convex.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from fringe.format import plus_minus
from fringe.judge.advice.step import NextStep

if TYPE_CHECKING:
    from fringe.judge.advice.situation import Situation
    from fringe.judge.state.belief import Belief
    from fringe.judge.state.observed import OtherSurface
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.tolerance import Aperture
    from fringe.judge.tolerance.verdict import Tolerance

# Chance to be inside, warmth counted, at which a surface is finished, after so many visits that
# read it since the work: by the first one only beyond doubt.
SETTLED = {1: 0.99, 2: 0.975, 3: 0.95}
_USUAL_WAIT = 90.0  # minutes, where nothing tells how warm the work is
_LIKELY = 0.5
_SIGN_KNOWN = 0.95
_MOST_READINGS = 4  # without work between, before the work goes on
# farther from the middle than this share of the tolerance, work does more than another reading
_CENTRAL = 0.5


def nextstep(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    belief: Belief | None = None,
    *,
    aperture: Aperture | None = None,
    others: Sequence[OtherSurface] = (),
    brief: bool = False,
) -> NextStep:
    """Say what to do next from a surface's visits.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order.
    tolerance : Tolerance
        What is allowed, in the fringes of the rows.
    belief : Belief, optional
        What these visits say of the surface together; needed where one of them read power.
    aperture : Aperture, optional
        The surface, for which way its radius moves.
    others : sequence of OtherSurface
        Other surfaces of the shop, for the stages that it has.
    brief : bool
        Only what is to be done is asked: no forecast, and a short reason.

    Returns
    -------
    NextStep
        `stop` only where the last visit is proven inside, and that is settled.
    """
    rows = _that_tell(rows)
    early = _before_work(rows, tolerance)
    if early is not None:
        return early
    here = _situation(rows, tolerance, belief, aperture, others)
    if here is None:
        return NextStep("remeasure", "no reading of power tells which way to work")
    here = dataclasses.replace(here, brief=brief)
    from fringe.judge.advice.blunders import asked, with_minutes_asked
    from fringe.judge.advice.work import next_work

    for check in (asked, _drifting, _unknown_sense, _uncounted, _finished):
        found = check(here)
        if found is not None:
            return with_minutes_asked(here, found)
    return with_minutes_asked(here, next_work(here))


def _situation(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    belief: Belief | None,
    aperture: Aperture | None,
    others: Sequence[OtherSurface],
) -> Situation | None:
    if belief is None or not belief.readings or tolerance.wavelength_nm is None:
        return None
    from fringe.judge.advice.ladder import Ladder
    from fringe.judge.advice.situation import Situation
    from fringe.judge.tolerance.half_width import NM_PER_UM, half_width_um

    elsewhere = [spell for one in others for visit in one.visits for spell in visit.spells]
    every = [*belief.spells, *elsewhere]
    return Situation(
        rows,
        tolerance,
        belief,
        tolerance.wavelength_nm / 2 / NM_PER_UM,
        half_width_um(tolerance, aperture),
        Ladder.of(spell.stage for spell in every if spell.minutes),
        aperture,
        # before the first spell of a shop nobody knows
        not every or any(one.pits is not None or one.removed_um is not None for one in every),
    )


def _that_tell(rows: Sequence[VisitRow]) -> Sequence[VisitRow]:
    """Rows without the last visits that neither worked nor read anything: a remark alone.

    What such a visit saw through a loupe is told of the row before it.
    """
    last = len(rows)
    while last > 1 and not (
        rows[last - 1].verdict
        or rows[last - 1].power_fringes is not None
        or rows[last - 1].stage
        or rows[last - 1].minutes
    ):
        last -= 1
    look = next((row.pits for row in reversed(rows[last:]) if row.pits is not None), None)
    if look is None:
        return rows[:last]
    return [*rows[: last - 1], dataclasses.replace(rows[last - 1], pits=look)]


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
    return None


def _drifting(here: Situation) -> NextStep | None:
    """Photographs of one visit that differ by more than their uncertainties allow: it is warm."""
    row = here.row
    spread, u95 = row.power_spread_fringes, row.reading_u95_fringes
    # the difference of two readings has sqrt(2) times the uncertainty of one
    if spread is None or u95 is None or spread <= math.sqrt(2) * u95:
        return None
    shown = plus_minus(spread, u95, "fringes")
    inside = "inside as read, but " if row.verdict == "inside" else ""
    return waiting(
        here,
        f"{inside}readings of one visit differ by {shown}: let the pieces come to one "
        "temperature, then read again; `fringe settle` tells from photographs how long",
    )


def waiting(here: Situation, reason: str) -> NextStep:
    """Wait until warmth no longer matters."""
    from fringe.judge.advice.rest import rest_left
    from fringe.judge.advice.step import round_minutes

    minutes = float(round_minutes(rest_left(here) or _USUAL_WAIT))
    back_at = here.row.when + timedelta(minutes=minutes)
    return NextStep("wait", reason, minutes=minutes, back_at=back_at)


def _unknown_sense(here: Situation) -> NextStep | None:
    if here.row.sense != "unknown" or here.row.power_fringes is None:
        return None
    below = here.belief.height.below(0.0)
    if max(below, 1 - below) >= _SIGN_KNOWN or here.row.verdict == "inside":
        return None
    return NextStep(
        "remeasure",
        "where the contact is cannot be told, and with it which way to work: press the edge, "
        "or read with a second lamp",
    )


def _uncounted(here: Situation) -> NextStep | None:
    """Polished, but read by a spherometer that cannot tell where it stands: count the rings."""
    if not here.unseen or here.readings_since_work > 1:
        return None
    return NextStep(
        "remeasure",
        f"{here.power_text()}: the spherometer tells no more, go on with fringes (a photograph, or "
        "rings counted by eye)",
    )


def _look(here: Situation) -> NextStep | None:
    """A look through a loupe, where nothing but what is usual says that pits are left; once."""
    if here.row.verdict != "inside" or not here.pits_untold or here.readings_since_work > 1:
        return None
    return NextStep(
        "remeasure",
        "inside as read, but nothing tells whether the pits of the grits before are gone: look "
        "through a loupe, and log whether they are gone or left",
    )


def _finished(here: Situation) -> NextStep | None:
    """Whether the surface is finished, or is to be read once more before that is known."""
    row, chance = here.row, here.chance_inside
    if not here.polished or row.verdict == "outside":
        return None
    from fringe.judge.advice.rest import rest_left
    from fringe.judge.advice.work import FINISHED

    if here.pits_seen:
        return None
    if here.chance_of_pits > FINISHED:
        return _look(here)
    count = here.readings_since_work + (here.belief.rested_minutes is None)
    if row.verdict == "inside" and chance >= SETTLED[min(max(count, 1), max(SETTLED))]:
        return NextStep("stop", "the surface is proven inside its tolerance")
    if _power_alone(here):
        return NextStep(
            "remeasure",
            "power is proven inside, irregularity is not measured: photograph the contact",
        )
    if here.readings_since_work >= _MOST_READINGS or chance < _LIKELY:
        return None
    off_centre = abs(here.median_um) > _CENTRAL * (here.half_width_um or math.inf)
    if off_centre and (here.readings_since_work > 1 or rest_left(here) == 0):
        return None
    return _read_again(here)


def _read_again(here: Situation) -> NextStep | None:
    """What another reading has to bring, where power is inside more likely than not."""
    from fringe.judge.advice.rest import rest_left

    row = here.row
    if row.method == "spherometer":
        return NextStep(
            "remeasure",
            "neither inside nor outside is proven by the spherometer: go on with fringes",
        )
    if rest_left(here) > 0:
        how = "inside as read" if row.verdict == "inside" else "near its limit"
        return waiting(
            here, f"{how}, but still warm from the lap: let it rest, then read it once more"
        )
    if row.verdict == "inside":
        return NextStep("remeasure", "inside by one reading after the work: read it once more")
    return NextStep(
        "remeasure",
        "neither inside nor outside is proven: read again, with a smaller uncertainty",
    )


def _power_alone(here: Situation) -> bool:
    """Whether power is well inside its limit, and irregularity is limited but was not read."""
    row, limit = here.row, here.tolerance.power_fringes
    if here.tolerance.irregularity_fringes is None or row.irregularity_fringes is not None:
        return False
    if limit is None or row.power_fringes is None or row.power_u95_fringes is None:
        return False
    return abs(row.power_fringes) + row.power_u95_fringes < limit
