"""The ways in which a visit may have come about: as it was logged, or by a blunder."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from fringe.judge.state.observed import SPHEROMETER, ObservedVisit

# Chances of blunders beforehand (common practice, no source)
WRONG_SENSE, DUST, WRONG_MINUTES = 0.03, 0.03, 0.015
# Chance that a surface was read straight from the lap, where the clock left time to rest
STRAIGHT_FROM_LAP = 0.2
# Chance that a polished surface whose rings can be read is measured by the spherometer alone
# at a first visit, and where the visit before did the same
NO_RINGS_LOGGED = (0.3, 0.8)
# Chance that a spell did something quite unlike its rate: nothing that was logged wrongly, so that
# readings after it that agree are not all put down to dust
ODD_WORK = 0.02
REVERSED_POLISH, REVERSED_GRIND = 0.04, 0.005


@dataclass(frozen=True)
class Hypothesis:
    """One way in which a visit may have come about.

    Attributes
    ----------
    kind : str
        Of `Doubt`; empty where all is as it was logged.
    chance : float
        Beforehand.
    sign : float
        Of the fringes' height: as logged, or the other sense.
    dust : bool
        Whether something lay under the spherometer.
    factor : float
        True minutes over those logged.
    way : float
        -1 where the work went the other way.
    odd : bool
        Whether the work did something quite unlike its rate.
    fresh : bool
        Whether it was read straight from the lap, although the clock leaves time for rest.
    crowded : float
        +1 or -1 where the rings are too many to be read, with contact at the centre or edge.
    """

    kind: str = ""
    chance: float = 1.0
    sign: float = 1.0
    dust: bool = False
    factor: float = 1.0
    way: float = 1.0
    odd: bool = False
    fresh: bool = False
    crowded: float = 0.0


def hypotheses_of(
    visit: ObservedVisit, *, unread: int = 0, doubtful_rest: bool = False
) -> tuple[Hypothesis, ...]:
    """The ways in which a visit may have come about, by what it logged.

    Parameters
    ----------
    visit : ObservedVisit
        What was logged.
    unread : int
        How many visits in a row have not read the rings of a polished surface, this one included.
    doubtful_rest : bool
        Whether it may have been read straight from the lap, although the clock left time to rest.
    """
    found = [Hypothesis()]
    optical = [one for one in visit.readings if one.source != SPHEROMETER]
    if any(one.signed for one in optical):
        found.append(Hypothesis("sense", WRONG_SENSE, sign=-1.0))
    if len(optical) < len(visit.readings):
        found.append(Hypothesis("dust", DUST, dust=True))
    if any(one.minutes for one in visit.spells):
        found.append(Hypothesis("minutes twice", WRONG_MINUTES, factor=2.0))
        found.append(Hypothesis("minutes half", WRONG_MINUTES, factor=0.5))
    if visit.spells:
        polish = visit.spells[-1].stage.polish
        chance = REVERSED_POLISH if polish else REVERSED_GRIND
        found.append(Hypothesis("reversed", chance, way=-1.0))
        found.append(Hypothesis(chance=ODD_WORK, odd=True))
    asis = 1.0 - math.fsum(one.chance for one in found[1:])
    found[0] = replace(found[0], chance=asis)
    if doubtful_rest and optical:
        fresh = replace(found[0], chance=STRAIGHT_FROM_LAP * asis, fresh=True)
        found[0] = replace(found[0], chance=(1 - STRAIGHT_FROM_LAP) * asis)
        found.append(fresh)
    if any(not one.signed for one in visit.readings):
        other = [replace(one, sign=-one.sign) for one in found]
        found = [replace(one, chance=one.chance / 2) for one in (*found, *other)]
    if any(one.on_top is None for one in visit.spells):
        other = [replace(one, way=-one.way) for one in found if one.kind != "reversed"]
        found = [replace(one, chance=one.chance / 2) for one in (*found, *other)]
    if unread and visit.readings and not optical:
        seldom = NO_RINGS_LOGGED[min(unread, len(NO_RINGS_LOGGED)) - 1]
        many = [replace(one, crowded=side) for side in (1.0, -1.0) for one in found[:1]]
        found = [replace(one, chance=one.chance * seldom) for one in found]
        found += many
    return tuple(found)


@dataclass(frozen=True)
class Gauged:
    """What a gauge of thickness says of a visit's work.

    Attributes
    ----------
    evidence : mapping of float to float
        Logarithm of its evidence for each factor of the true minutes over those logged.
    pace : float
        Logarithm of the glass removed over what was to be expected of the minutes logged.
    variance : float
        Of that logarithm beforehand.
    """

    evidence: Mapping[float, float]
    pace: float
    variance: float


def weighed_by_gauge(
    hypotheses: tuple[Hypothesis, ...], gauged: Gauged | None
) -> tuple[Hypothesis, ...]:
    """The same, weighed by what a gauge of thickness says of the minutes, if there is one."""
    if gauged is None:
        return hypotheses
    best = max(gauged.evidence.values())
    weights = [one.chance * math.exp(gauged.evidence[one.factor] - best) for one in hypotheses]
    total = math.fsum(weights)
    return tuple(
        replace(one, chance=max(weight / total, 1e-12))
        for one, weight in zip(hypotheses, weights, strict=True)
    )
