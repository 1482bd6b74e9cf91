"""Why a step is advised, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fringe.format import figures
from fringe.judge.advice.situation import Situation
from fringe.judge.advice.step import minutes_text
from fringe.judge.state.abrasives import Stage
from fringe.units import times

if TYPE_CHECKING:
    from fringe.judge.state.forecast import Forecast

_SURE = 0.9


def pace(here: Situation, stage: Stage, ahead: Forecast, *, trial: bool) -> str:
    """How fast the work moves power, and when it is there."""
    name = stage.name or "this work"
    if (here.toward(stage) == "work") != (here.median_um > 0):
        return turned(here, stage)
    if here.stage is None:
        return f"a trial, to see how fast {name} goes"
    if trial:
        return f"no such work is logged: a trial, to see how fast {name} goes"
    scale = 1.0 / here.fringe_um
    ends = sorted(
        (times(end, scale) or 0.0 for end in (ahead.rate_um_h.low, ahead.rate_um_h.high)), key=abs
    )
    shown = [figures(end, 2, signed=True) for end in ends]
    text = f"{name} moves it by {shown[0]} to {shown[1]} fringes/h"
    return f"{text}, {_reach(here, ahead)}"


def turned(here: Situation, stage: Stage) -> str:
    """Why another piece goes on top than practice has it."""
    name = stage.name or "this work"
    usual = "work" if here.median_um > 0 else "tool"
    return (
        f"the last two spells of {name} with the {usual} on top moved it the wrong way: turn the "
        "two round, a short trial"
    )


def _reach(here: Situation, ahead: Forecast) -> str:
    wider = here.half_width_um is not None and ahead.half_width_um > 1.001 * here.half_width_um
    if ahead.minutes.median == 0:
        return "near enough for the next stage" if wider else "it is there as likely as not"
    there = "as near as the next stage needs" if wider else "inside"
    text = f"{there} in {minutes_text(ahead.minutes.low, ahead.minutes.high)}"
    return text if ahead.chance > _SURE else f"{text} ({100 * ahead.chance:.0f} % likely at all)"


def begin(here: Situation, first: Stage) -> str:
    """Where no stage is known."""
    return (
        f"{here.power_text()}, and no work is logged: begin with {first.name}, or log the grit "
        "that it was worked with last (--stage)"
    )


def back(here: Situation, now: Stage, grit: Stage) -> str:
    """Why a coarser grit."""
    name = now.name or "this work"
    return f"{here.power_text()}; too far for {name}: go back to {grit.name}"


def came_in(here: Situation, now: Stage, finer: Stage) -> str:
    """Why another grit than the one that it came in with."""
    return f"{here.power_text()}; it came in with {now.name}: begin with {finer.name}"


def handed_on(here: Situation, now: Stage, finer: Stage) -> str:
    """Why a grit is done."""
    del now
    return f"{here.power_text()}: {finer.name} can take what is left"


def going_on(here: Situation, now: Stage, pits: float) -> str:
    """Why this stage goes on."""
    del now
    text, state = here.power_text(), here.pits
    if not pits or state is None:
        return text
    left = f"pits of {state.left_by}, up to {state.depth_um:.0f} µm deep,"
    return f"{left} are {100 * state.chance_left:.0f} % likely left; {text}"
