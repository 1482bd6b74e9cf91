"""How long a surface had left the lap when it was read: as it was told, or by the clock."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.observed import ObservedVisit

Array = NDArray[np.float64]

# From the visit before to the work: common practice, no source [min].
SET_UP_MINUTES = 10.0
# Where the clock leaves longer than this for rest, that may have been before the work as well.
SURELY_WARM_MINUTES = 30.0
FRESH_MINUTES = 5.0  # of rest, of a surface that is read straight from the lap


@dataclass(frozen=True, eq=False)
class Rest:
    """Times of one visit.

    Attributes
    ----------
    elapsed_minutes : float
        Since the visit before.
    minutes : float
        From the lap to the visit, as told or as most likely; of no meaning without work.
    doubtful : bool
        Whether the surface may as well have been read straight from the lap.
    earlier_minutes : ndarray, shape (m,)
        How much earlier than the visit each reading was.
    """

    elapsed_minutes: float
    minutes: float
    doubtful: bool
    earlier_minutes: Array


def rest_of(
    visit: ObservedVisit, before: ObservedVisit | None = None, rested_minutes: float | None = None
) -> Rest:
    """Times of a visit.

    Parameters
    ----------
    visit : ObservedVisit
        As it was logged.
    before : ObservedVisit, optional
        The visit before.
    rested_minutes : float, optional
        Rest until then [min].
    """
    told = [one.rested_minutes for one in visit.readings if one.rested_minutes is not None]
    longest = max(told, default=0.0)
    earlier = [
        0.0 if one.rested_minutes is None else longest - one.rested_minutes
        for one in visit.readings
    ]
    elapsed = 0.0
    if before is not None:
        elapsed = max(0.0, (visit.when - before.when).total_seconds() / 60)
    if not visit.spells and told and rested_minutes is not None:
        # what is told of the rest goes before the clock
        elapsed = max(elapsed, longest - rested_minutes)
    worked = math.fsum(one.minutes or 0.0 for one in visit.spells)
    slack = max(0.0, elapsed - worked - SET_UP_MINUTES)
    doubtful = not told and bool(visit.spells) and slack > SURELY_WARM_MINUTES
    return Rest(elapsed, longest if told else slack, doubtful, np.array(earlier))
