"""Pits of the grits before: how deep they still are, by equally likely shops and surfaces.

Each sample has removal rates of its own, a depth of pits over the grain, and a depth to start
with. A spell takes glass off and leaves at least the pits of its own grit,

    depth = max(depth - removed, pits of this grit).

A gauge of thickness corrects rates and depth by an ensemble Kalman update (Evensen 2003,
doi 10.1007/s10236-003-0036-9, from memory), a look through a loupe by weights.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.distribution import Distribution
from fringe.judge.state.hypotheses import WRONG_MINUTES, Gauged
from fringe.judge.state.observed import ObservedVisit, Spell
from fringe.judge.state.scatter import USUAL_SCATTER
from fringe.judge.state.shop import Layout

Array = NDArray[np.float64]

SAMPLES = 320
# Depth of pits over the grain: two to three (calibration/abrasives.toml), or less with soft
# pressure; a surface's grit differs from that by a tenth.
GRAINS_LOW, GRAINS_HIGH, GRAINS_U = 1.0, 3.2, 0.1
LEAST_GRAINS = 0.3
START_GRAINS, START_U = (
    2.0,
    0.5,
)  # of a surface that comes in, over its first grit; of the logarithm
REMOVAL_U, REMOVAL_STAGE_U = 0.35, 0.35  # of the logarithm: shared, and of each stage
SURFACE_U = 0.12  # of the logarithm, from surface to surface
SEEN_UM = 0.5  # depth beyond its own pits at which a surface has pits left
GAUGE_UM, GAUGE_SHARE = 2.0, 0.05  # standard uncertainty of a gauge, and of its scale
# Degrees of freedom of the tail of spells and surfaces far from what their shop is used to
TAIL_DOF = 15.0
LEAST_LEARNED = 0.35  # of a gauge's surprise, where it speaks for other minutes
# A look through a loupe: how often it sees what is there, and what is not.
LOUPE_SEES, LOUPE_ERRS = 0.99, 0.05
# Chance that pits which all samples have are gone all the same: grit and glass were not as here
WRONG = 0.2
LEAST_REMOVED_UM = 1e-6  # less is a typing error in the minutes
_TAIL_STEPS = np.linspace(-8.0, 8.0, 801)
_TAIL_SHARES = (1 + _TAIL_STEPS**2 / TAIL_DOF) ** (-(TAIL_DOF + 1) / 2)
_TAIL_SHARES /= _TAIL_SHARES.sum()
_RATIO, _GRAINS, _COMMON, _STAGES = 0, 1, 2, 3
_ARRAYS = ("theta", "weights", "pace", "own_grains")  # of the filter


@dataclass(frozen=True, eq=False)
class PitsBelief:
    """How deep the pits of the grits before are, as weighted samples.

    Attributes
    ----------
    stage : Stage
        That the surface is in.
    left_by : str or None
        The grit that made the deepest pits; None: before the first spell.
    weights, depth_um, own_um : ndarray, shape (S,)
        Of each sample: its weight, depth of its deepest pits and of those of the present stage.
    log_rates : ndarray, shape (S, K)
        Logarithm of the glass removed in a minute with the work on top, by stage of `layout`.
    log_ratio : ndarray, shape (S,)
        Of the lower piece's rate over the upper one's.
    grains : ndarray, shape (S,)
        Depth of pits over the grain.
    layout : Layout
        Of the stages.
    scatter : float
        Of the logarithm of what a spell takes off.
    """

    stage: Stage
    left_by: str | None
    weights: Array
    depth_um: Array
    own_um: Array
    log_rates: Array
    log_ratio: Array
    grains: Array
    layout: Layout
    scatter: float = USUAL_SCATTER

    @property
    def chance_left(self) -> float:
        """Probability that pits of a grit before are left."""
        return float(self.weights @ (self.depth_um - self.own_um > SEEN_UM))

    @property
    def deepest_um(self) -> Distribution:
        """How much deeper than the present stage's own the deepest pits are [um]."""
        left = np.maximum(self.depth_um - self.own_um, 0.0)
        return Distribution(self.weights, left, np.full(len(left), 0.1))

    def removal_um_min(self, stage: Stage) -> float:
        """Median of the glass that a minute with the work on top takes off [um/min]."""
        return math.exp(_quantile(self._log_rate(stage), self.weights, 0.5))

    def minutes_needed(self, stage: Stage, share: float, on_top: str | None = None) -> float:
        """Work in a stage after which pits are gone with a probability [min].

        Parameters
        ----------
        stage : Stage
            The present one, or one that follows.
        share : float
            Probability.
        on_top : {'work', 'tool'}, optional
            Which piece; otherwise the two take turns of equal length.
        """
        need = np.maximum(0.0, self._depth_in(stage) - self._own(stage))
        low = np.exp(self.log_ratio)
        pace = {"work": np.ones_like(low), "tool": low}.get(on_top or "", 0.5 * (1 + low))
        minutes = need / (np.exp(self._log_rate(stage) + self._scatter) * pace)
        return _quantile(minutes, self.weights, share)

    def chance_left_after(self, spells: Sequence[Spell]) -> float:
        """Probability that pits of a grit before are left after work to come."""
        depth, own = self.depth_um, self.own_um
        for spell in spells:
            rate = np.exp(self._log_rate(spell.stage) + self._scatter)
            rate = rate * (np.exp(self.log_ratio) if spell.on_top == "tool" else 1.0)
            own = self._own(spell.stage)
            depth = np.maximum(depth - rate * (spell.minutes or 0.0), own)
        return float(self.weights @ (depth - own > SEEN_UM))

    @property
    def _scatter(self) -> Array:
        return self.scatter * _normal(len(self.weights), 7)

    def _log_rate(self, stage: Stage) -> Array:
        for place, known in enumerate(self.layout.stages):
            if known.key == stage.key:
                rates: Array = self.log_rates[:, place]
                return rates
        wide = math.hypot(REMOVAL_U, REMOVAL_STAGE_U)
        return removal_base(stage) + wide * _normal(len(self.weights), 8)

    def _own(self, stage: Stage) -> Array:
        """Depth of a stage's own pits."""
        return self.own_um if stage.key == self.stage.key else own_pits(stage, self.grains)

    def _depth_in(self, stage: Stage) -> Array:
        return (
            self.depth_um if stage.key == self.stage.key else np.maximum(self.depth_um, self.own_um)
        )


def removal_base(stage: Stage) -> float:
    """Logarithm of the glass that a minute takes off beforehand [um/min]."""
    return shop.base(stage) - math.log(shop.POWER_SHARE)


def own_pits(stage: Stage, grains: Array) -> Array:
    """Depth of the pits that a stage makes [um]."""
    size = 0.0 if stage.polish else stage.size_um or shop.USUAL_GRAIN_UM
    return grains * size


class PitsFilter:
    """Samples of a shop's removal rates and pits, and of the surface that it works on."""

    def __init__(
        self, layout: Layout, factor: float | None = None, samples: Array | None = None
    ) -> None:
        self._layout = layout
        self._theta = _prior(layout, factor)
        if samples is not None:
            self._theta[:, : samples.shape[1]] = samples
        self._weights = np.full(SAMPLES, 1 / SAMPLES)
        self._base = np.array([removal_base(one) for one in layout.stages])
        self._pace = SURFACE_U * _normal(SAMPLES, 3)
        self._own_grains = np.exp(GRAINS_U * _normal(SAMPLES, 4))
        self._depth: Array | None = None
        self._stage: Stage | None = None
        self._left_by: str | None = None
        self._scatter = USUAL_SCATTER
        self._count = 0
        self._polished = False

    def shop(self) -> Array:
        """Samples of what the shop takes on to its next surface, equally likely."""
        self._resample()
        return self._theta

    def kept(self) -> tuple[dict[str, Array], dict[str, Any]]:
        """All that one of the same shop needs to go on from here: arrays, and the rest."""
        arrays = {name: getattr(self, f"_{name}") for name in _ARRAYS}
        if self._depth is not None:
            arrays["depth"] = self._depth
        facts = {
            "left_by": self._left_by,
            "count": self._count,
            "polished": self._polished,
            "scatter": self._scatter,
        }
        return arrays, facts

    def go_on(
        self, arrays: Mapping[str, Array], facts: Mapping[str, Any], stage: Stage | None
    ) -> None:
        """Undo :meth:`kept`, in a stage; None before any work."""
        for name in _ARRAYS:
            setattr(self, f"_{name}", arrays[name])
        self._depth, self._stage = arrays.get("depth"), stage
        self._left_by, self._count = facts["left_by"], facts["count"]
        self._polished, self._scatter = facts["polished"], facts["scatter"]

    def step(self, visit: ObservedVisit, scatter: float = USUAL_SCATTER) -> Gauged | None:
        """Take one visit in.

        Parameters
        ----------
        visit : ObservedVisit
            As it was logged.
        scatter : float
            Of the logarithm of what a spell takes off.

        Returns
        -------
        Gauged or None
            What a gauge says of the work; None without a gauge.
        """
        self._scatter = scatter
        if not visit.spells:
            if self._stage is None and any(one.source != "spherometer" for one in visit.readings):
                self._polished = True  # rings are read on polished glass
            if visit.pits is not None and self._depth is not None and self._stage is not None:
                self._loupe(visit.pits, self._depth - self._own(self._stage))
            return None
        self._count += 1
        removed = np.zeros(SAMPLES)
        for number, spell in enumerate(visit.spells):
            self._turn_to(spell.stage)
            removed += self._removed(spell, number)
        told = [one.removed_um for one in visit.spells if one.removed_um is not None]
        gauged = None
        if told and removed.max() > LEAST_REMOVED_UM:
            gauged = self._gauge(math.fsum(told), removed)
        assert self._depth is not None
        assert self._stage is not None
        own = self._own(self._stage)
        self._depth = np.maximum(self._depth - removed, own)
        seen = next((one.pits for one in reversed(visit.spells) if one.pits is not None), None)
        if seen is not None:
            self._loupe(seen, self._depth - own)
        return gauged

    def belief(self) -> PitsBelief | None:
        """What is believed of the pits; None before any work."""
        if self._stage is None or self._depth is None:
            return None
        return PitsBelief(
            self._stage,
            self._left_by,
            self._weights,
            self._depth,
            self._own(self._stage),
            self._log_rates(),
            self._theta[:, _RATIO],
            self._theta[:, _GRAINS],
            self._layout,
            self._scatter,
        )

    def _log_rates(self) -> Array:
        common = (self._theta[:, _COMMON] + self._pace)[:, None]
        polish = np.array([one.polish for one in self._layout.stages])
        rates: Array = self._base + self._theta[:, _STAGES:] + np.where(polish, 0.5, 1.0) * common
        return rates

    def _own(self, stage: Stage) -> Array:
        return own_pits(stage, self._theta[:, _GRAINS] * self._own_grains)

    def _turn_to(self, stage: Stage) -> None:
        """A spell of a stage begins: the pits of the stage before are those to remove now."""
        if self._stage is None or self._depth is None:
            grain = 0.0 if self._polished or stage.polish else stage.size_um or shop.USUAL_GRAIN_UM
            self._depth = START_GRAINS * grain * np.exp(START_U * _normal(SAMPLES, 5))
        elif stage.key != self._stage.key and stage.fineness > self._stage.fineness:
            self._left_by = self._stage.name
        self._stage = stage

    def _removed(self, spell: Spell, number: int) -> Array:
        """Glass that each sample loses in a spell."""
        place = next(i for i, one in enumerate(self._layout.stages) if one.key == spell.stage.key)
        scatter = self._scatter * _normal(SAMPLES, 100 + 7 * self._count + number)
        minutes, log = spell.minutes, self._log_rates()[:, place] + scatter
        if minutes is None:
            minutes = 30.0
            log = log + 0.7 * _normal(SAMPLES, 99)
        if spell.on_top == "tool":
            log = log + self._theta[:, _RATIO]
        removed: Array = minutes * np.exp(np.clip(log, -12, 8))
        return removed

    def _gauge(self, told_um: float, removed: Array) -> Gauged:
        """Correct rates and what was removed by a gauge; in place.

        The evidence is that of Student's t with the samples' moments: now and then a spell, or a
        surface, is far from what its shop is used to. Where it speaks for other minutes, the
        gauge tells what was removed, but not the rate.
        """
        u = math.hypot(GAUGE_UM, GAUGE_SHARE * told_um)
        logs = np.log(np.maximum(removed, LEAST_REMOVED_UM))
        middle = float(self._weights @ logs)
        spread = math.sqrt(float(self._weights @ (logs - middle) ** 2))
        evidence = {
            factor: log_evidence(told_um, u, middle + math.log(factor), spread)
            for factor in (2.0, 0.5, 1.0)
        }
        mean = float(self._weights @ removed)
        variance = float(self._weights @ (removed - mean) ** 2) + u**2
        # removal is skewed as a lognormal: both compared where it is even
        wide = math.log1p(variance / mean**2)
        pace = math.log(max(told_um, u)) - math.log(max(mean, u)) + wide / 2
        odds = [WRONG_MINUTES * math.exp(evidence[f] - evidence[1.0]) for f in (2.0, 0.5)]
        as_logged = 1 / (1 + math.fsum(odds))
        state = np.column_stack([self._theta, self._pace, removed])
        off = state - self._weights @ state
        predicted = off[:, -1]
        cross = (self._weights * predicted) @ off
        gain = cross / (float(self._weights @ predicted**2) + u**2)
        # not all: where the rate itself is wrong, every spell would be put down to its minutes
        gain[:-1] *= max(as_logged, LEAST_LEARNED)
        noise = u * _normal(SAMPLES, 50 + 3 * self._count)
        state = state + (told_um + noise - removed)[:, None] * gain
        self._theta = state[:, : self._theta.shape[1]]
        self._theta[:, _GRAINS] = np.maximum(self._theta[:, _GRAINS], LEAST_GRAINS)
        self._pace = state[:, -2]
        removed[:] = np.maximum(state[:, -1], 0.0)
        return Gauged(evidence, pace, wide)

    def _loupe(self, seen: str, left_um: Array) -> None:
        """Weigh the samples by what a loupe saw; pits hardly deeper than its own are missed."""
        assert self._stage is not None
        own = self._own(self._stage)
        visible = 1 - np.exp(-np.maximum(left_um, 0.0) / (SEEN_UM + 0.1 * own))
        says_left = LOUPE_ERRS + (LOUPE_SEES - LOUPE_ERRS) * visible
        weights = self._weights * (says_left if seen == "left" else 1 - says_left)
        evidence = float(weights.sum())
        self._weights = weights / evidence
        if seen == "gone":
            self._gone_all_the_same(evidence)
        elif 1 / float(np.sum(self._weights**2)) < SAMPLES / 3:
            self._resample()

    def _gone_all_the_same(self, evidence: float) -> None:
        """Let a share of the samples have lost their pits, as a look says that they are gone."""
        self._resample()
        other = WRONG * (1 - LOUPE_ERRS)
        count = round(SAMPLES * other / (other + (1 - WRONG) * evidence))
        places = ((np.arange(count) + 0.5) * SAMPLES / max(count, 1)).astype(int)
        assert self._depth is not None
        assert self._stage is not None
        depth = self._depth.copy()
        depth[places] = self._own(self._stage)[places]
        self._depth = depth

    def _resample(self) -> None:
        """Draw the samples anew by their weights, and spread equal ones a little."""
        if float(np.ptp(self._weights)) == 0.0:
            return
        places = np.searchsorted(np.cumsum(self._weights), (np.arange(SAMPLES) + 0.5) / SAMPLES)
        places = np.minimum(places, SAMPLES - 1)
        # what is deeper than the stage's own pits stays so much deeper, whatever the grains are
        deeper = None
        if self._depth is not None and self._stage is not None:
            deeper = (self._depth - self._own(self._stage))[places]
        mean = self._weights @ self._theta
        # shrunk toward the mean by as much as the jitter adds (Liu and West 2001, from memory)
        shrink = 0.97
        sds = np.sqrt(self._weights @ (self._theta - mean) ** 2)
        jitter = np.column_stack([_normal(SAMPLES, 200 + i) for i in range(len(sds))])
        grown = math.sqrt(1 - shrink**2)
        self._theta = mean + shrink * (self._theta[places] - mean) + grown * sds * jitter
        self._theta[:, _GRAINS] = np.maximum(self._theta[:, _GRAINS], LEAST_GRAINS)
        self._pace, self._own_grains = self._pace[places], self._own_grains[places]
        if deeper is not None and self._stage is not None:
            self._depth = deeper + self._own(self._stage)
        self._weights = np.full(SAMPLES, 1 / SAMPLES)


def log_evidence(told_um: float, u_um: float, middle: float, spread: float) -> float:
    """Logarithm of a gauge's likelihood where removal's logarithm follows Student's t.

    Parameters
    ----------
    told_um, u_um : float
        What the gauge says, and its standard uncertainty [um].
    middle, spread : float
        Of removal's logarithm. The integral over it is a sum over even steps.
    """
    reach = spread * _TAIL_STEPS
    density = _TAIL_SHARES * np.exp(-0.5 * ((told_um - np.exp(middle + reach)) / u_um) ** 2)
    return math.log(max(float(density.sum()), 1e-300))


def _prior(layout: Layout, factor: float | None) -> Array:
    """Samples of a shop that was not seen yet."""
    theta = np.zeros((SAMPLES, _STAGES + len(layout.stages)))
    theta[:, _RATIO] = math.log(shop.RATIO_MEDIAN) + shop.RATIO_U * _normal(SAMPLES, 0)
    grains = np.random.default_rng(1).permutation((np.arange(SAMPLES) + 0.5) / SAMPLES)
    theta[:, _GRAINS] = GRAINS_LOW + (GRAINS_HIGH - GRAINS_LOW) * grains
    if factor is not None:
        theta[:, _GRAINS] = factor * np.exp(GRAINS_U * _normal(SAMPLES, 1))
    theta[:, _COMMON] = REMOVAL_U * _normal(SAMPLES, 2)
    for place in range(len(layout.stages)):
        theta[:, _STAGES + place] = REMOVAL_STAGE_U * _normal(SAMPLES, 10 + place)
    return theta


_NORMALS: dict[tuple[int, int], Array] = {}


def _normal(count: int, which: int) -> Array:
    """Even normal numbers, in an order of their own for each `which`: the same every time."""
    key = count, which
    if key not in _NORMALS:
        order = np.random.default_rng(1000 + which).permutation(count)
        _NORMALS[key] = ndtri((np.arange(count) + 0.5) / count)[order]
    return _NORMALS[key]


def _quantile(values: Array, weights: Array, share: float) -> float:
    order = np.argsort(values)
    place = int(np.searchsorted(np.cumsum(weights[order]), share))
    return float(values[order[min(place, len(order) - 1)]])
