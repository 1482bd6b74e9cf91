"""What is believed of a surface after a visit, and what work to come would make of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.distribution import Distribution
from fringe.judge.state.observed import Spell
from fringe.judge.state.pits import PitsBelief
from fringe.judge.state.shop import HEIGHT, TENDENCY, WARMTH, Layout

Array = NDArray[np.float64]

# Chance that a spell to come moves the surface the other way (common practice, no source)
OTHER_WAY = {True: 0.04, False: 0.005}
# nodes of the quadrature over the rates of so many kinds of work in one visit
_NODES = {1: 9, 2: 5, 3: 3, 4: 3}
_LEAST = 5e-4  # weight of a part that is still looked at


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
    _rates: dict[tuple[str, str], Rate] = field(default_factory=dict, init=False, repr=False)

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
        key = stage.key, on_top
        if key not in self._rates:
            self._rates[key] = self._rate(stage, on_top)
        return self._rates[key]

    def _rate(self, stage: Stage, on_top: str) -> Rate:
        weights, change, _, variance, _ = self._changes([Spell(stage, 1.0, on_top)])
        found = Distribution(weights, change, np.sqrt(np.maximum(variance, 0.0)))
        low, median, high = found.quantiles((0.05, 0.5, 0.95))
        mine = [s for s in self.spells if s.stage.key == stage.key and s.on_top == on_top]
        minutes = math.fsum(s.minutes or 0.0 for s in mine)
        surfaces = self.taught.get(stage.key, 0)
        return Rate(median, low, high, len(mine), minutes, surfaces)

    def after(self, spells: Sequence[Spell]) -> Distribution:
        """Height of power after work to come, what differs from spell to spell included [um].

        Parameters
        ----------
        spells : sequence of Spell
            With minutes and piece on top.
        """
        told = [one for one in spells if one.minutes]
        if not told:
            return self.height
        weights, change, height, _, total = self._changes(told)
        polish = any(one.stage.polish for one in told)
        other = OTHER_WAY[polish]
        return Distribution(
            np.concatenate([weights * (1 - other), weights * other]),
            np.concatenate([height + change, height - change]),
            np.sqrt(np.maximum(np.concatenate([total, total]), 1e-12)),
        )

    def _changes(self, spells: Sequence[Spell]) -> tuple[Array, Array, Array, Array, Array]:
        """Quadrature over the rates of work to come.

        Returns
        -------
        weights, change, height, variance, total : ndarray, shape (K', )
            Of each node of each part: mean change of height by the work, mean height before,
            variances of the change and of the height after [um, um^2].
        """
        keep = self.weights > _LEAST
        weights = self.weights[keep] / self.weights[keep].sum()
        means, covariances = self.means[keep], self.covariances[keep]
        rows, base, amount, polish, extra = _terms(spells, self.layout)
        logs = means @ rows.T + base
        spread = rows @ covariances @ rows.T + np.diag(extra)
        nodes, shares = _nodes(len(base))
        root = np.linalg.cholesky(spread)
        off = np.einsum("kij,qj->kqi", root, nodes)
        pace = np.exp(logs[:, None] + off)
        change = pace @ amount
        # of the upper piece, which the tendency in polishing is counted in
        below = np.exp(means[:, shop.RATIO, None] * rows[:, shop.RATIO])
        drift = (pace / below[:, None]) @ polish
        # height and tendency given the rates
        both = covariances[:, [HEIGHT, TENDENCY]] @ rows.T
        gain = np.linalg.solve(spread, both.transpose(0, 2, 1)).transpose(0, 2, 1)
        given = means[:, None, [HEIGHT, TENDENCY]] + np.einsum("kij,kqj->kqi", gain, off)
        places = np.ix_([HEIGHT, TENDENCY], [HEIGHT, TENDENCY])
        left = covariances[:, places[0], places[1]] - gain @ both.transpose(0, 2, 1)
        change = change + drift * given[..., 1]
        variance = drift**2 * left[:, None, 1, 1]
        total = left[:, None, 0, 0] + variance + 2 * drift * left[:, None, 0, 1]
        share = (weights[:, None] * shares).ravel()
        return share, change.ravel(), given[..., 0].ravel(), variance.ravel(), total.ravel()


def _terms(spells: Sequence[Spell], layout: Layout) -> tuple[Array, Array, Array, Array, Array]:
    """Logarithm of the rate of each kind of work in the spells, and its minutes."""
    groups: dict[tuple[str, str | None], list[Spell]] = {}
    for spell in spells:
        groups.setdefault((spell.stage.key, spell.on_top), []).append(spell)
    rows, base, amount, polish, extra = [], [], [], [], []
    for (_, on_top), same in itertools.islice(groups.items(), max(_NODES)):
        one, minutes = same[0].stage, math.fsum(s.minutes or 0.0 for s in same)
        row, u = layout.row(one, reversed_piece=on_top == "tool")
        rows.append(row)
        base.append(shop.base(one))
        amount.append(minutes if on_top == "tool" else -minutes)
        polish.append(minutes if one.polish else 0.0)
        extra.append(shop.SCATTER**2 + u**2)
    return np.array(rows), np.array(base), np.array(amount), np.array(polish), np.array(extra)


@cache
def _nodes(dimensions: int) -> tuple[Array, Array]:
    """Nodes (Q, J) and weights (Q,) of Gauss-Hermite quadrature over standard normals."""
    points, weights = np.polynomial.hermite_e.hermegauss(_NODES[dimensions])
    weights = weights / weights.sum()
    nodes = np.array(list(itertools.product(points, repeat=dimensions)))
    shares = np.array([math.prod(one) for one in itertools.product(weights, repeat=dimensions)])
    return nodes, shares
