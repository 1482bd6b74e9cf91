"""How long a surface must rest until its warmth no longer matters."""

from __future__ import annotations

import math

import numpy as np

from fringe.judge.advice.situation import Situation
from fringe.judge.state import shop

SHORTEST_REST, LONGEST_REST = 30.0, 240.0  # minutes
# Warmth that no longer matters, at 95 %: so much of a fringe, or so much of the tolerance, or
# of what is left to do anyway.
_FRINGES, _OF_TOLERANCE, _OF_DISTANCE = 0.12, 0.2, 0.1
_STEP = 10.0


def allowed_um(here: Situation, distance_um: float = 0.0) -> float:
    """Warmth that no longer matters where the surface is so far from the middle [um]."""
    return max(
        _FRINGES * here.fringe_um,
        _OF_TOLERANCE * (here.half_width_um or 0.0),
        _OF_DISTANCE * abs(distance_um),
    )


def rest_after(here: Situation, minutes: float, distance_um: float) -> float:
    """How long to rest after so many minutes of polishing, before reading [min].

    Parameters
    ----------
    here : Situation
        Before the work.
    minutes : float
        Of the work.
    distance_um : float
        How far from the middle it will leave the surface [um].
    """
    allowed = allowed_um(here, distance_um)
    share = min(1.0, minutes / shop.WARM_AFTER_MINUTES)
    fresh = shop.WARMTH_UM * share

    def u95(rest: float) -> float:
        left = np.exp(-rest / shop.DECAY_MINUTES)
        return float(2 * fresh * math.sqrt(shop.DECAY_SHARES @ left**2))

    if u95(0.0) <= allowed:
        return 0.0
    rest = SHORTEST_REST
    while rest < LONGEST_REST and u95(rest) > allowed:
        rest += _STEP
    return rest


def rest_left(here: Situation) -> float:
    """How much longer the surface must rest, after its last visit [min]; 0: it is settled."""
    belief = here.belief
    if belief.rested_minutes is None:
        return 0.0
    allowed = allowed_um(here)

    def u95(rest: float) -> float:
        warmth = belief.warmth(rest)
        return abs(warmth.mean) + 2 * warmth.u

    rested = belief.rested_minutes
    if u95(rested) <= allowed:
        return 0.0
    more = SHORTEST_REST
    while more < LONGEST_REST and u95(rested + more) > allowed:
        more += _STEP
    return more
