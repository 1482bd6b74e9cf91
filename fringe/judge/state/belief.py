"""What is believed of a surface after a visit, and what work to come would make of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.distribution import Distribution
from fringe.judge.state.mixture import Mixture
from fringe.judge.state.observed import Spell
from fringe.judge.state.outlook import MOST_KINDS, Outlook, outlook
from fringe.judge.state.pits import PitsBelief
from fringe.judge.state.scatter import USUAL_SCATTER
from fringe.judge.state.shop import HEIGHT, WARMTH, Layout

Array = NDArray[np.float64]

# Chance that a spell to come moves the surface the other way (common practice, no source)
OTHER_WAY = {True: 0.04, False: 0.005}


@dataclass(frozen=True)
class Doubt:
    """A blunder that may have been made at a visit.

    Attributes
    ----------
    kind : {'sense', 'dust', 'minutes twice', 'minutes half', 'reversed'}
        The contact is on the other side; something lay under the spherometer; the work lasted
        twice or half as long as logged; it went the other way.
    visit : int
        Its number.
    probability : float
        Probability that it was made, by all visits until now.
    height_um, u_um : float
        Height of power now, if it was, and its standard uncertainty [um].
    """

    kind: str
    visit: int
    probability: float
    height_um: float
    u_um: float


@dataclass(frozen=True)
class Rate:
    """What one kind of work does to the height of power, scatter of a spell included.

    Attributes
    ----------
    median, low, high : float
        Of a spell to come, and the ends of its 90 % interval [um/min].
    spells, minutes, surfaces : int, float, int
        What it was learned from: own spells of this kind, their minutes, and other surfaces
        that were worked in this stage.
    """

    median: float
    low: float
    high: float
    spells: int
    minutes: float
    surfaces: int


@dataclass(frozen=True, eq=False)
class Belief:
    """The state of a surface after a visit: a mixture of normal distributions of K parts.

    Attributes
    ----------
    layout : Layout
        Which stages the state has rates of.
    weights, means, covariances : ndarray, shapes (K,), (K, n), (K, n, n)
        The parts.
    doubts : tuple of Doubt
        Of the last two visits, those of at least one in a thousand.
    spells : tuple of Spell
        All work until now, in its order.
    last_stage, last_on_top : Stage or None, str or None
        Of the last spell.
    worked_since_reading : bool
        Whether work was done since the last reading.
    readings : int
        Readings until now.
    rested_minutes : float or None
        Since the lap, at the time of the visit, as told or most likely [min]; None: no work was
        logged.
    taught : mapping of str to int
        Other surfaces that were worked in each stage, by its key.
    pits : PitsBelief or None
        How deep the pits of the grits before are; None before any work.
    scatter : float
        Standard deviation of the logarithm of what a spell of this shop does beyond its median.
    """

    layout: Layout
    weights: Array
    means: Array
    covariances: Array
    doubts: tuple[Doubt, ...] = ()
    spells: tuple[Spell, ...] = ()
    last_stage: Stage | None = None
    last_on_top: str | None = None
    worked_since_reading: bool = False
    readings: int = 0
    rested_minutes: float | None = None
    taught: Mapping[str, int] = field(default_factory=dict)
    pits: PitsBelief | None = None
    scatter: float = USUAL_SCATTER
    _paces: dict[tuple[str, str], float] = field(default_factory=dict, init=False, repr=False)
    _outlooks: dict[tuple[tuple[str, str | None], ...], Outlook] = field(
        default_factory=dict, init=False, repr=False
    )

    @property
    def height(self) -> Distribution:
        """Height of power now, warmth taken off [um]."""
        return Distribution(
            self.weights, self.means[:, HEIGHT], np.sqrt(self.covariances[:, HEIGHT, HEIGHT])
        )

    def chance_inside(self, half_width_um: float) -> float:
        """Probability that the height of power lies within a half-width of either sign."""
        return self.height.chance_between(-half_width_um, half_width_um)

    def warmth(self, minutes_rested: float) -> Distribution:
        """What warmth adds to the height that fringes show, so long after the lap [um]."""
        since = minutes_rested - (self.rested_minutes or 0.0)
        row = np.exp(-since / shop.DECAY_MINUTES)
        means = self.means[:, WARMTH] @ row
        spread = np.einsum("i,kij,j->k", row, self.covariances[:, WARMTH, WARMTH], row)
        return Distribution(self.weights, means, np.sqrt(np.maximum(spread, 0.0)))

    def rate(self, stage: Stage, on_top: str) -> Rate:
        """What one minute of a spell to come does, with one piece on top [um/min].

        It is that of a spell that goes the way it should.
        """
        low, high = self._minute(stage, on_top).interval(0.9)
        mine = [s for s in self.spells if s.stage.key == stage.key and s.on_top == on_top]
        minutes = math.fsum(s.minutes or 0.0 for s in mine)
        surfaces = self.taught.get(stage.key, 0)
        return Rate(self.pace(stage, on_top), low, high, len(mine), minutes, surfaces)

    def pace(self, stage: Stage, on_top: str) -> float:
        """Median of that rate [um/min]."""
        key = stage.key, on_top
        if key not in self._paces:
            self._paces[key] = self._minute(stage, on_top).median
        return self._paces[key]

    def _minute(self, stage: Stage, on_top: str) -> Distribution:
        ahead = self._outlook(((stage, on_top),))
        change, _, variance, _ = ahead.after(np.ones(1))
        return Distribution(ahead.weights, change, np.sqrt(np.maximum(variance, 0.0)))

    def after(self, spells: Sequence[Spell]) -> Distribution:
        """Height of power after work to come, what differs from spell to spell included [um].

        Parameters
        ----------
        spells : sequence of Spell
            With minutes and piece on top.
        """
        minutes: dict[tuple[str, str | None], float] = {}
        kinds: dict[tuple[str, str | None], Stage] = {}
        for one in spells:
            if one.minutes:
                key = one.stage.key, one.on_top
                kinds.setdefault(key, one.stage)
                minutes[key] = minutes.get(key, 0.0) + one.minutes
        if not minutes:
            return self.height
        told = [(stage, on_top) for (_, on_top), stage in kinds.items()][:MOST_KINDS]
        ahead = self._outlook(tuple(told))
        weights, means, sds = _either_way(
            ahead,
            np.array(list(minutes.values())[:MOST_KINDS]),
            polish=any(one.polish for one in kinds.values()),
        )
        return Distribution(weights, means, sds)

    def chances_below(self, value_um: float, stage: Stage, on_top: str, minutes: Array) -> Array:
        """Probability of a height below a value after so many minutes of one kind of work.

        Parameters
        ----------
        value_um : float
            The height [um].
        stage, on_top
            The work.
        minutes : ndarray, shape (M,)
            None of them zero [min].

        Returns
        -------
        ndarray, shape (M,)
        """
        ahead = self._outlook(((stage, on_top),))
        weights, means, sds = _either_way(ahead, minutes[:, None], polish=stage.polish)
        chances: Array = ndtr((value_um - means) / sds) @ weights
        return chances

    def _outlook(self, kinds: tuple[tuple[Stage, str | None], ...]) -> Outlook:
        key = tuple((stage.key, on_top) for stage, on_top in kinds)
        if key not in self._outlooks:
            mixture = Mixture(self.weights, self.means, self.covariances)
            self._outlooks[key] = outlook(mixture, self.layout, kinds, self.scatter)
        return self._outlooks[key]


def _either_way(ahead: Outlook, minutes: Array, *, polish: bool) -> tuple[Array, Array, Array]:
    """Weights, means and widths of the height after work that may go the other way (..., 2 N)."""
    other = OTHER_WAY[polish]
    change, height, _, total = ahead.after(minutes)
    sds = np.sqrt(np.maximum(total, 1e-12))
    return (
        np.concatenate([ahead.weights * (1 - other), ahead.weights * other]),
        np.concatenate([height, ahead.height - change], axis=-1),
        np.concatenate([sds, sds], axis=-1),
    )
