"""A surface as it may really be: one draw of what is believed, worked and read by the same laws.

It does what the model of `shop` assumes, so a plan made of such lives is only as good as these
assumptions; how good, is counted with shops of other laws (tests/benchmarks/lives.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.belief import OTHER_WAY, Belief
from fringe.judge.state.observed import Spell
from fringe.judge.state.pits import REMOVAL_STAGE_U, REMOVAL_U, SEEN_UM, own_pits, removal_base
from fringe.judge.state.shop import HEIGHT, OFFSET, RATIO, TENDENCY, WARMTH

Array = NDArray[np.float64]

# Shops keep to the model's laws less closely than it assumes: what differs from spell to spell is
# drawn wider by this factor, so that plans hold in shops of other laws (tests/benchmarks/plans.py)
_WIDER = 1.25


class Life:
    """One surface as it may be, from its last visit on.

    Parameters
    ----------
    belief : Belief
        After its last visit.
    rng : numpy.random.Generator
        That the draw is taken from.
    """

    def __init__(self, belief: Belief, rng: np.random.Generator) -> None:
        self._layout, self._rng, self._scatter = belief.layout, rng, belief.scatter
        part = rng.choice(len(belief.weights), p=belief.weights / belief.weights.sum())
        root = _root(belief.covariances[part])
        self._state = belief.means[part] + _WIDER * root @ rng.standard_normal(len(root))
        # a surface of its own is drawn once for every stage that was not worked yet
        self._new: dict[str, float] = {}
        self._rested = 0.0 if belief.rested_minutes is None else belief.rested_minutes
        self._pits = None if belief.pits is None else _Pits(belief, rng)

    def work(self, spells: Sequence[Spell]) -> float:
        """Work on it.

        Parameters
        ----------
        spells : sequence of Spell
            With minutes and piece on top.

        Returns
        -------
        float
            Glass that it took off [um].
        """
        rng, state = self._rng, self._state
        total = math.fsum(one.minutes or 0.0 for one in spells)
        polish = any(one.stage.polish for one in spells)
        way = -1.0 if rng.random() < OTHER_WAY[polish] else 1.0
        change = 0.0
        for spell in spells:
            minutes, below = spell.minutes or 0.0, spell.on_top == "tool"
            log = self._log_rate(spell.stage) + _WIDER * self._scatter * rng.standard_normal()
            done = minutes * math.exp(log + (state[RATIO] if below else 0.0))
            change += done if below else -done
            if spell.stage.polish:
                change += state[TENDENCY] * minutes * math.exp(log)
        state[HEIGHT] += way * change
        share = min(1.0, total / shop.WARM_AFTER_MINUTES)
        cool = 1.0 if polish else shop.GROUND_WARMTH
        fresh = shop.WARMTH_UM * share * cool * np.sqrt(shop.DECAY_SHARES)
        state[WARMTH] *= 1.0 - share
        state[WARMTH] += fresh * rng.standard_normal(len(fresh))
        self._rested = 0.0
        return 0.0 if self._pits is None else self._pits.work(spells)

    def rest(self, minutes: float) -> None:
        """Let it lie so long [min]."""
        self._rested += minutes

    @property
    def height_um(self) -> float:
        """Its true height of power [um]."""
        return float(self._state[HEIGHT])

    @property
    def shown_um(self) -> float:
        """Height of power that fringes show, warm as it is [um]."""
        left = np.exp(-self._rested / shop.DECAY_MINUTES)
        return self.height_um + float(self._state[WARMTH] @ left)

    @property
    def offset(self) -> float:
        """What all readings of its spherometer share, in their standard uncertainty of it."""
        return float(self._state[OFFSET])

    @property
    def pits_left(self) -> bool:
        """Whether pits of a grit before are left."""
        return self._pits is not None and self._pits.left

    def _log_rate(self, stage: Stage) -> float:
        row, u = self._layout.row(stage)
        if u:
            u *= self._new.setdefault(stage.key, float(self._rng.standard_normal()))
        return shop.base(stage) + float(row @ self._state) + u


class _Pits:
    """Depth of the pits of a life, one of the samples of what is believed of them."""

    def __init__(self, belief: Belief, rng: np.random.Generator) -> None:
        pits = belief.pits
        assert pits is not None
        self._rng, self._layout, self._scatter = rng, pits.layout, pits.scatter
        one = rng.choice(len(pits.weights), p=pits.weights / pits.weights.sum())
        self._rates, self._ratio = pits.log_rates[one], float(pits.log_ratio[one])
        self._grains = pits.grains[[one]]
        self._stage, self._own = pits.stage, float(pits.own_um[one])
        self._depth = float(pits.depth_um[one])
        self._new: dict[str, float] = {}

    @property
    def left(self) -> bool:
        return self._depth - self._own > SEEN_UM

    def work(self, spells: Sequence[Spell]) -> float:
        """Glass that spells take off [um]."""
        total = 0.0
        for spell in spells:
            log = self._log_rate(spell.stage) + self._scatter * self._rng.standard_normal()
            log += self._ratio if spell.on_top == "tool" else 0.0
            if spell.stage.key != self._stage.key:
                self._stage = spell.stage
                self._own = float(own_pits(spell.stage, self._grains)[0])
            removed = (spell.minutes or 0.0) * math.exp(log)
            self._depth = max(self._depth - removed, self._own)
            total += removed
        return total

    def _log_rate(self, stage: Stage) -> float:
        for place, known in enumerate(self._layout.stages):
            if known.key == stage.key:
                return float(self._rates[place])
        off = self._new.setdefault(stage.key, float(self._rng.standard_normal()))
        return removal_base(stage) + math.hypot(REMOVAL_U, REMOVAL_STAGE_U) * off


def _root(covariance: Array) -> Array:
    """A matrix whose square is the covariance, negative rounding errors left out."""
    values, vectors = np.linalg.eigh(covariance)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return root
