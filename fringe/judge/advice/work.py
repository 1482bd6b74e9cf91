"""Which stage to work in next: this one, the next finer one, or back a grit."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np

from fringe.judge.advice import words
from fringe.judge.advice.ahead import forecast
from fringe.judge.advice.ladder import USUAL_FIRST
from fringe.judge.advice.rest import rest_after
from fringe.judge.advice.situation import Situation
from fringe.judge.advice.spell import Turns, turns, untried
from fringe.judge.advice.step import NextStep, worked
from fringe.judge.state.abrasives import Stage, pit_factor
from fringe.judge.state.observed import Spell
from fringe.judge.state.pits import START_GRAINS

# What one more visit is worth, in minutes of work (ours, no source)
VISIT_MINUTES = 45.0
# A coarser grit must save this many times what it costs; else stages would take turns.
SAVES = 1.5
# Chances that pits are left, below which a grit is handed on and a surface is finished
HANDED_ON, FINISHED = 0.1, 0.05
# Pits that are so quickly gone are left to the next stage: minutes, or share of its own time
QUICK_MINUTES, QUICK_SHARE = 3.0, 0.12
# The first spell of a stage gets the minutes for pits that suffice with this chance, where loupe
# or gauge will tell what is left; of them, of polish and of a grit, this part: power is brought
# to the middle while the last of them go.
FIRST_SHARE = 0.75
FIRST_PART = {True: 0.6, False: 1.0}
# a later one, and all where nobody tells, get them so that the chance that is asked for is met
MARGIN = 0.6
LEAST_PITS = {True: 15.0, False: 5.0}  # minutes
SEEN_PITS = 20.0  # minutes for pits that a loupe saw, whatever else is believed
# where irregularity alone is to be bettered: both pieces in turn, so that power stays [min]
FORM_MINUTES = 20.0


def next_work(here: Situation, why: str = "") -> NextStep:
    """Say which work comes next.

    Parameters
    ----------
    here : Situation
        With a height whose sign is known, or pits that must go anyway.
    why : str
        What was found before, to begin the reason with.
    """
    now = here.stage
    if now is None:
        first = begin(here)
        pits = START_GRAINS * (first.size_um or 0.0) / here.removal_um_min(first)
        return _spell(here, first, pits, words.begin(here, first))
    if here.polished and _only_irregular(here):
        why = "power is inside its limit, irregularity is not"
        return _spell(here, now, FORM_MINUTES, why, here.half_width_um)
    found = _polish(here, now) if here.polished else _grind(here, now)
    return dataclasses.replace(found, reason=f"{why}{found.reason}") if why else found


def begin(here: Situation) -> Stage:
    """Where nothing tells the stage: the coarsest that the shop has, as pits may be deep."""
    grits = here.ladder.grits()
    return grits[-1] if here.ladder.known else USUAL_FIRST


def _grind(here: Situation, now: Stage) -> NextStep:
    finer = here.ladder.finer(now)
    back = _coarser(here, now)
    if back is not None:
        return _spell(here, back, 0.0, words.back(here, now, back))
    if not here.ladder.has(now):
        return _spell(here, finer, _first(here, finer), words.came_in(here, now, finer))
    pits = _pits_now(here, now)
    done = pits <= 0.0 or _quick(here, now, finer, pits)
    if done and _takes(here, now, finer):
        return _spell(here, finer, _first(here, finer), words.handed_on(here, now, finer))
    pits = 0.0 if done else pits
    half = _band_um(here, now, finer)
    return _spell(here, now, pits, words.going_on(here, now, pits), half)


def _polish(here: Situation, now: Stage) -> NextStep:
    back = _coarser(here, now)
    if back is not None:
        return _spell(here, back, 0.0, words.back(here, now, back))
    pits = _pits_now(here, now)
    return _spell(here, now, pits, words.going_on(here, now, pits), here.half_width_um)


def _spell(
    here: Situation, stage: Stage, pits: float, reason: str, half_um: float | None = None
) -> NextStep:
    """A spell in a stage, with its forecast, its rest and which way it moves the surface."""
    half = here.half_width_um if half_um is None else half_um
    made = turns(here, stage, pits, half)
    polish = stage.polish or (here.polished and here.stage is stage)
    step = dataclasses.replace(
        worked("polish" if polish else "grind", reason, made),
        stage=stage.name or "polish",
        rest_minutes=_rest(here, stage, made) if polish else None,
        trial=untried(here, stage),
    )
    if here.brief:
        return step
    toward = here.toward(stage)
    ahead = forecast(here.belief, stage, made, half, toward)
    return dataclasses.replace(
        step,
        reason=f"{reason}; {words.pace(here, stage, ahead, trial=step.trial)}",
        moves=here.moves(toward),
        forecast=ahead,
        pits=here.pits,
    )


def _rest(here: Situation, stage: Stage, made: Turns) -> float | None:
    """How long to rest after the spell, before it is read [min]."""
    after = here.likely.after([Spell(stage, minutes, piece) for piece, minutes in made])
    return rest_after(here, math.fsum(minutes for _, minutes in made), after.mean) or None


def minutes_to_middle(here: Situation, stage: Stage) -> float:
    """How long a stage takes to bring power to the middle, at the likeliest rate."""
    rate = here.pace(stage, here.toward(stage))
    return abs(here.median_um) / rate


def _pits_now(here: Situation, now: Stage) -> float:
    """Minutes for pits of the spell to come, in the stage that the surface is in."""
    if here.pits_seen:
        return max(SEEN_PITS, _modelled(here, now))
    return _modelled(here, now)


def _modelled(here: Situation, now: Stage) -> float:
    pits = here.belief.pits
    if pits is None or pits.chance_left <= _allowed(now):
        return 0.0
    if pits.stage.key != now.key:
        return _first(here, now)
    return max(LEAST_PITS[now.polish], pits.minutes_needed(now, _sure(now)))


def _allowed(stage: Stage) -> float:
    """Chance of pits with which a stage is done."""
    return FINISHED if stage.polish else HANDED_ON


def _sure(stage: Stage) -> float:
    return 1 - MARGIN * _allowed(stage)


def _first(here: Situation, stage: Stage) -> float:
    """Minutes for pits of the first spell in a stage."""
    pits = here.belief.pits
    if pits is None:
        return pits_after(here, stage)
    share = FIRST_SHARE if here.pits_told else _sure(stage)
    return FIRST_PART[stage.polish] * pits.minutes_needed(stage, share)


def pits_after(here: Situation, stage: Stage, before: Stage | None = None) -> float:
    """Minutes that a stage takes over the pits of the grit before it, at the likeliest rate."""
    coarse = before or here.stage
    if coarse is None or coarse.size_um is None or coarse.fineness >= stage.fineness:
        return 0.0
    return pit_factor() * coarse.size_um / here.removal_um_min(stage)


def _quick(here: Situation, now: Stage, finer: Stage, minutes: float) -> bool:
    """Whether what is left of the pits is so little that the next stage takes it as well."""
    if minutes <= QUICK_MINUTES:
        return True
    there = minutes * here.removal_um_min(now) / here.removal_um_min(finer)
    return there <= QUICK_SHARE * pits_after(here, finer, now)


def _band_um(here: Situation, now: Stage, finer: Stage) -> float:
    """Height that the next stage takes with it while it takes the pits of this one [um]."""
    rate = here.pace(finer, here.toward(finer))
    free = rate * pits_after(here, finer, now)
    return max(here.half_width_um or 0.0, 0.8 * free)


def _takes(here: Situation, now: Stage, finer: Stage) -> bool:
    """Whether going on to the next stage saves more than another spell in this one."""
    if here.half_width_um is None:
        return True
    band = _band_um(here, now, finer)
    rate = here.pace(finer, here.toward(finer))
    heights = here.likely.height.draws(64)
    over = np.maximum(np.abs(heights) - band, 0.0).mean()
    over_centred = np.maximum(np.abs(heights - here.median_um) - band, 0.0).mean()
    saved = (over - over_centred) / rate
    return bool(saved <= VISIT_MINUTES + minutes_to_middle(here, now))


def _coarser(here: Situation, now: Stage) -> Stage | None:
    """The grit to go back to, where all that follows it is quicker than this stage alone."""
    stay = max(_power_minutes(here, now), _pit_minutes(here, now))
    best, least = None, stay / SAVES
    stages = [now]
    for grit in here.ladder.coarser(now):
        stages.insert(0, grit)
        cost = VISIT_MINUTES * len(stages)
        if cost >= least:  # and so are all that are coarser
            break
        cost += math.fsum(pits_after(here, fine, coarse) for coarse, fine in pairwise(stages))
        if cost >= least:
            continue
        cost += max(_power_minutes(here, grit), _pit_minutes(here, grit))
        if cost < least:
            best, least = grit, cost
    return best


def _power_minutes(here: Situation, stage: Stage) -> float:
    return 0.0 if here.half_width_um is None else minutes_to_middle(here, stage)


def _pit_minutes(here: Situation, stage: Stage) -> float:
    """Likely time over the pits that are left, in this stage."""
    pits = here.belief.pits
    if pits is None or pits.chance_left <= HANDED_ON:
        return 0.0
    return pits.minutes_needed(stage, 0.5)


def _only_irregular(here: Situation) -> bool:
    """Whether power is inside its limit, so that only irregularity is left to better."""
    row, limit = here.row, here.tolerance.power_fringes
    power, u95 = row.power_fringes, row.power_u95_fringes
    if here.tolerance.irregularity_fringes is None or power is None or row.verdict != "outside":
        return False
    return limit is None or abs(power) + (u95 or 0.0) < limit
