"""What work to come makes of a surface: its forecast, read off what is believed of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fringe.judge.state.abrasives import Stage
from fringe.judge.state.belief import Belief, Rate
from fringe.judge.state.distribution import Distribution
from fringe.judge.state.forecast import LONGEST_MINUTES, SHARE, Forecast, Interval, Kind
from fringe.judge.state.observed import Spell

_MINUTES = np.geomspace(0.5, LONGEST_MINUTES, 30)
_TAIL = (1 - SHARE) / 2


def forecast(
    belief: Belief,
    stage: Stage,
    turns: Sequence[tuple[str, float]],
    half_width_um: float | None,
    toward: str | None = None,
) -> Forecast:
    """Foretell what a spell does, and how long one piece on top takes to the band.

    Parameters
    ----------
    belief : Belief
        Of the surface.
    stage : Stage
        The work.
    turns : sequence of (str, float)
        Each piece on top and its minutes; of no minutes: only the rate and the time.
    half_width_um : float or None
        Height of power, of either sign, that it is to come within [um]; None: no limit.
    toward : {'work', 'tool'}, optional
        Which piece leads there; otherwise that of the first turn. Of a spell that is split so that
        power stays, the longer turn may lead away.
    """
    on_top = toward or turns[0][0]
    rate = belief.rate(stage, on_top)
    half = math.inf if half_width_um is None else half_width_um
    chances = _Reached(belief, stage, on_top, half)
    total = math.fsum(minutes for _, minutes in turns)
    after = belief.after([Spell(stage, minutes, piece) for piece, minutes in turns])
    return Forecast(
        kind=Kind(stage.key, on_top, stage.name),
        rate_um_h=_hourly(rate),
        half_width_um=0.0 if half_width_um is None else half_width_um,
        minutes=Interval(*(chances.minutes(share) for share in (0.5, _TAIL, 1 - _TAIL))),
        chance=chances.ever,
        advised_minutes=total or None,
        after_um=_interval(after) if total else None,
        inside_after=after.chance_between(-half, half) if total else None,
        spells=rate.spells,
        learned_minutes=rate.minutes,
        surfaces=rate.surfaces,
        borrowed=not rate.spells and _worked(belief, stage),
    )


def learned(belief: Belief, half_width_um: float | None) -> tuple[Forecast, ...]:
    """Forecast every kind of work that was logged on a surface, the latest kind last."""
    kinds: dict[tuple[str, str], Stage] = {}
    for spell in reversed(belief.spells):
        if spell.minutes and spell.on_top is not None:
            kinds.setdefault((spell.stage.key, spell.on_top), spell.stage)
    return tuple(
        forecast(belief, stage, ((on_top, 0.0),), half_width_um)
        for (_, on_top), stage in reversed(kinds.items())
    )


class _Reached:
    """Chance that the work has come to the band after so many minutes."""

    def __init__(self, belief: Belief, stage: Stage, on_top: str, half: float) -> None:
        # the side that it comes from decides; what lies beyond the band has passed it
        height = belief.height
        down = height.median > 0
        edge = half if down else -half
        below = belief.chances_below(edge, stage, on_top, _MINUTES)
        self._now = height.below(edge) if down else 1 - height.below(edge)
        self._chances = np.maximum.accumulate(below if down else 1 - below)

    @property
    def ever(self) -> float:
        """That chance after all useful time."""
        return max(self._now, float(self._chances[-1]))

    def minutes(self, share: float) -> float | None:
        """Until that chance is so large; None where that lies beyond all useful time."""
        if self._now >= share:
            return 0.0
        if self._chances[-1] < share:
            return None
        return math.exp(float(np.interp(share, self._chances, np.log(_MINUTES))))


def _worked(belief: Belief, stage: Stage) -> bool:
    return any(spell.stage.key == stage.key for spell in belief.spells)


def _hourly(rate: Rate) -> Interval:
    return Interval(60 * rate.median, 60 * rate.low, 60 * rate.high)


def _interval(one: Distribution) -> Interval:
    low, high = one.interval(SHARE)
    return Interval(one.quantile(0.5), low, high)
