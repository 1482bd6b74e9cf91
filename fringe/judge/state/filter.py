"""A surface's state carried from visit to visit: what work did to it, and what readings say of it.

An extended Kalman filter over the quantities of `shop`. At each visit, one Gauss-Newton problem
is solved for the state before, what the spell did beyond its median and the fresh warmth, given
the readings; then the state is carried through the work at that solution. Every blunder that
might explain the visit is a hypothesis, weighted by its evidence. The hypotheses of a visit are
kept apart until the next one has been weighed with each of them, then those of the earlier visit
are merged (the generalised pseudo-Bayes method of second order) but for those of another height.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.belief import Belief, Doubt
from fringe.judge.state.hypotheses import Hypothesis, hypotheses_of, weighed_by_gauge
from fringe.judge.state.mixture import Mixture, merge_earlier, moments
from fringe.judge.state.observed import SPHEROMETER, ObservedVisit, OtherSurface, Spell
from fringe.judge.state.pits import PitsFilter
from fringe.judge.state.shop import HEIGHT, OFFSET, TENDENCY, WARMTH, Layout

Array = NDArray[np.float64]

USUAL_MINUTES, MINUTES_U = 30.0, 1.0  # of a spell that tells none; u of the logarithm
ITERATIONS = 3  # Gauss-Newton
LONGEST_LOG = 8.0  # of a spell's rate over its median beforehand
DUST_U_UM = 15.0  # of a spherometer's reading with dust under a foot, on its own ring


@dataclass(frozen=True)
class _Work:
    """The spells of one visit as terms of the change of height; J terms, n quantities.

    Attributes
    ----------
    rows, upper_rows : ndarray, shape (J, n)
        Logarithm of the rate of each term, and of the upper piece in the same stage.
    base, amount, polish : ndarray, shape (J,)
        Logarithm of the median rate; signed minutes; minutes of polishing.
    scatter : ndarray, shape (J,)
        Standard deviation of the logarithm of what each term does.
    warm_um : float
        Standard deviation of the warmth that the work leaves [um].
    kept : float
        Share of the warmth before that is still there.
    """

    rows: Array
    upper_rows: Array
    base: Array
    amount: Array
    polish: Array
    scatter: Array
    warm_um: float
    kept: float

    @property
    def warm_sds(self) -> Array:
        """Of the fresh warmth's parts [um]."""
        sds: Array = self.warm_um * np.sqrt(shop.DECAY_SHARES)
        return sds


def believe(
    visits: Sequence[ObservedVisit],
    *,
    others: Sequence[OtherSurface] = (),
    pit_factor: float | None = None,
) -> list[Belief]:
    """Infer the state of a surface after each of its visits.

    Parameters
    ----------
    visits : sequence of ObservedVisit
        Of the surface, in their order.
    others : sequence of OtherSurface
        Other surfaces of the shop, the oldest first: what they teach of the shop is carried on
        to this one.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; learned otherwise.

    Returns
    -------
    list of Belief
        One a visit: by what was known after it.
    """
    known = taught_shop(tuple(others), pit_factor).extended(visits)
    started = _Filter(known, PitsFilter(known.layout, pit_factor, known.pits))
    return [started.belief(visit, started.step(visit), known.taught) for visit in visits]


@dataclass(frozen=True, eq=False)
class ShopBelief:
    """What the surfaces of a shop teach of it, before its next one.

    Attributes
    ----------
    layout : Layout
        Stages that it worked.
    mean, covariance : ndarray, shapes (n,), (n, n)
        Of the state of a surface that was not seen yet.
    pits : ndarray or None, shape (S, m)
        Samples of its removal rates and grains, as `PitsFilter` keeps them.
    taught : dict of str to int
        Surfaces that were worked in each stage, by its key.
    """

    layout: Layout
    mean: Array
    covariance: Array
    pits: Array | None
    taught: dict[str, int]

    def extended(self, visits: Sequence[ObservedVisit]) -> ShopBelief:
        """The same with the stages of further visits."""
        layout = self.layout.extended([one.stage for v in visits for one in v.spells])
        if layout == self.layout:
            return self
        known = self.layout.size
        mean, covariance = shop.prior(layout)
        mean[:known] = self.mean
        covariance[:known, :known] = self.covariance
        return replace(self, layout=layout, mean=mean, covariance=covariance)


# surfaces of a list have nearly the same others, in one order
@lru_cache(maxsize=256)
def taught_shop(others: tuple[OtherSurface, ...], pit_factor: float | None = None) -> ShopBelief:
    """What other surfaces teach of their shop, the oldest first."""
    if not others:
        return ShopBelief(Layout(), *shop.prior(Layout()), None, {})
    visits = others[-1].visits
    known = taught_shop(others[:-1], pit_factor).extended(visits)
    pits = PitsFilter(known.layout, pit_factor, known.pits)
    ended = _Filter(known, pits)
    for visit in visits:
        ended.step(visit)
    mean, covariance = shop.next_surface(*ended.merged(), known.layout)
    taught = dict(known.taught)
    for key in {spell.stage.key for visit in visits for spell in visit.spells}:
        taught[key] = taught.get(key, 0) + 1
    return ShopBelief(known.layout, mean, covariance, pits.shop(), taught)


class _Filter:
    """One surface's filter: its mixture, and what was logged so far."""

    def __init__(self, known: ShopBelief, pits: PitsFilter) -> None:
        self._layout, self._pits = known.layout, pits
        self._mixture = Mixture(np.ones(1), known.mean[None], known.covariance[None])
        self._hypotheses: Sequence[Hypothesis] = (Hypothesis(),)
        self._last: ObservedVisit | None = None
        self._off_lap: datetime | None = None
        self._worked: list[Spell] = []
        self._unread = False
        self._readings = 0

    def step(self, visit: ObservedVisit) -> tuple[Doubt, ...]:
        """Take one visit in; what is doubted of it and of the one before."""
        hypotheses = weighed_by_gauge(hypotheses_of(visit), self._pits.step(visit))
        work = _work(visit.spells, self._layout)
        rest = self._rest(visit)
        before = self._mixture
        joint = _update(before, hypotheses, work, visit, rest)
        doubts = (
            *_doubts(joint, self._hypotheses, self._last, 0),
            *_doubts(joint, hypotheses, visit, 1),
        )
        self._mixture, places = merge_earlier(joint)
        self._hypotheses = [hypotheses[place] for place in places]
        self._last = visit
        self._worked.extend(visit.spells)
        self._unread = (self._unread or bool(visit.spells)) and not visit.readings
        self._readings += len(visit.readings)
        return doubts

    def merged(self) -> tuple[Array, Array]:
        """Mean and covariance of the whole mixture."""
        one = self._mixture
        mean, covariance = moments(one.weights[None], one.means[None], one.covariances[None])
        return mean[0], covariance[0]

    def _rest(self, visit: ObservedVisit) -> Array:
        """Minutes since the lap at each reading; the lap ends at a visit that worked."""
        told = [one.rested_minutes for one in visit.readings if one.rested_minutes is not None]
        if visit.spells:
            self._off_lap = visit.when - timedelta(minutes=max(told, default=0.0))
        if self._off_lap is None:
            return np.full(len(visit.readings), np.inf)
        since = max(0.0, (visit.when - self._off_lap).total_seconds() / 60)
        rest = [
            since if one.rested_minutes is None else one.rested_minutes for one in visit.readings
        ]
        return np.array(rest)

    def belief(
        self, visit: ObservedVisit, doubts: tuple[Doubt, ...], taught: dict[str, int]
    ) -> Belief:
        last = self._worked[-1] if self._worked else None
        off = self._off_lap
        one = self._mixture
        return Belief(
            layout=self._layout,
            weights=one.weights,
            means=one.means,
            covariances=one.covariances,
            doubts=doubts,
            spells=tuple(self._worked),
            last_stage=None if last is None else last.stage,
            last_on_top=None if last is None else last.on_top,
            worked_since_reading=self._unread,
            readings=self._readings,
            rested_minutes=None if off is None else (visit.when - off).total_seconds() / 60,
            taught=taught,
            pits=self._pits.belief(),
        )


def _work(spells: Sequence[Spell], layout: Layout) -> _Work | None:
    """Terms of the change of height, one for each stage and piece on top."""
    if not spells:
        return None
    groups: dict[tuple[str, str | None, bool], list[Spell]] = {}
    for spell in spells:
        key = spell.stage.key, spell.on_top, spell.minutes is None
        groups.setdefault(key, []).append(spell)
    rows, upper, base, amount, polish, scatter = [], [], [], [], [], []
    for (_, on_top, untold), same in groups.items():
        one = same[0].stage
        minutes = USUAL_MINUTES * len(same) if untold else math.fsum(s.minutes or 0.0 for s in same)
        below = on_top == "tool"
        row, u = layout.row(one, reversed_piece=below)
        rows.append(row)
        upper.append(layout.row(one)[0])
        base.append(shop.base(one))
        amount.append(minutes if below else -minutes)
        polish.append(minutes if one.polish else 0.0)
        scatter.append(math.hypot(shop.SCATTER, u, MINUTES_U if untold else 0.0))
    total = float(np.sum(np.abs(amount)))
    share = min(1.0, total / shop.WARM_AFTER_MINUTES)
    cool = shop.GROUND_WARMTH if not spells[-1].stage.polish else 1.0
    return _Work(
        np.array(rows),
        np.array(upper),
        np.array(base),
        np.array(amount),
        np.array(polish),
        np.array(scatter),
        shop.WARMTH_UM * share * cool,
        1.0 - share,
    )


@dataclass(frozen=True)
class _Problem:
    """One visit's equations for B hypotheses; the state is followed by scatter and warmth."""

    work: _Work | None
    amount: Array  # (B, J) minutes, signed
    polish: Array  # (B, J)
    heights: Array  # (B, m)
    variances: Array  # (B, m)
    optical: Array  # (m,) 1 for fringes
    decay: Array  # (m, 3)
    offsets: Array  # (m,)

    def change(self, state: Array, size: int) -> tuple[Array, Array]:
        """Height after the work and its Jacobian."""
        jacobian = np.zeros_like(state)
        jacobian[:, HEIGHT] = 1.0
        height = state[:, HEIGHT].copy()
        if self.work is None:
            return height, jacobian
        work, terms = self.work, len(self.work.base)
        noise = state[:, size : size + terms]
        logs = state[:, :size] @ work.rows.T + noise
        upper = state[:, :size] @ work.upper_rows.T + noise
        done = self.amount * np.exp(work.base + np.clip(logs, -LONGEST_LOG, LONGEST_LOG))
        drift = self.polish * np.exp(work.base + np.clip(upper, -LONGEST_LOG, LONGEST_LOG))
        tendency = state[:, TENDENCY]
        height += done.sum(axis=1) + tendency * drift.sum(axis=1)
        jacobian[:, :size] += done @ work.rows + tendency[:, None] * (drift @ work.upper_rows)
        jacobian[:, TENDENCY] += drift.sum(axis=1)
        jacobian[:, size : size + terms] = done + tendency[:, None] * drift
        return height, jacobian

    def warm_rows(self, size: int, total: int) -> Array:
        """Warmth at each reading as a linear function of the state (m, total)."""
        rows = np.zeros((len(self.optical), total))
        share = self.optical[:, None] * self.decay
        if self.work is None:
            rows[:, WARMTH] = share
        else:
            rows[:, WARMTH] = self.work.kept * share
            rows[:, size + len(self.work.base) :] = share
        rows[:, OFFSET] = self.offsets
        return rows


def _update(
    before: Mixture,
    hypotheses: Sequence[Hypothesis],
    work: _Work | None,
    visit: ObservedVisit,
    rest: Array,
) -> Mixture:
    """Weigh every hypothesis of a visit with every part of the mixture before.

    Returns
    -------
    Mixture
        Of weights (A, K), means (A, K, n) and covariances (A, K, n, n): A parts before, K
        hypotheses.
    """
    parts, kinds = len(before.weights), len(hypotheses)
    size = before.means.shape[1]
    problem = _problem(np.tile(np.arange(kinds), parts), hypotheses, work, visit, rest)
    means, covariances = _augmented(before, kinds, work)
    logs = np.log(np.maximum(before.weights, 1e-300))[:, None] + np.log(
        [h.chance for h in hypotheses]
    )
    logs = logs.ravel()
    state = means
    rows = problem.warm_rows(size, means.shape[1])
    for _ in range(ITERATIONS if len(visit.readings) else 0):
        height, jacobian = problem.change(state, size)
        slope = jacobian[:, None, :] + rows
        found = height[:, None] + state @ rows.T
        innovation = problem.heights - found - np.einsum("bmn,bn->bm", slope, means - state)
        cross = covariances @ slope.transpose(0, 2, 1)
        spread = slope @ cross
        spread[:, range(len(rest)), range(len(rest))] += problem.variances
        gain = np.linalg.solve(spread, cross.transpose(0, 2, 1)).transpose(0, 2, 1)
        state = means + np.einsum("bnm,bm->bn", gain, innovation)
    if len(visit.readings):
        covariances = covariances - gain @ cross.transpose(0, 2, 1)
        white = np.linalg.solve(spread, innovation[..., None])[..., 0]
        logs = logs - 0.5 * (np.sum(innovation * white, axis=1) + np.linalg.slogdet(spread)[1])
    means, covariances = _carried(problem, state, covariances, size)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    shape = (parts, kinds)
    return Mixture(
        weights.reshape(shape),
        means.reshape(*shape, size),
        covariances.reshape(*shape, size, size),
    )


def _problem(
    which: NDArray[np.intp],
    hypotheses: Sequence[Hypothesis],
    work: _Work | None,
    visit: ObservedVisit,
    rest: Array,
) -> _Problem:
    readings = visit.readings
    optical = np.array([one.source != SPHEROMETER for one in readings], dtype=float)
    heights = np.array([one.height_um for one in readings])
    signs = np.array([h.sign for h in hypotheses])[:, None]
    dust = np.array([h.dust for h in hypotheses])[:, None]
    signs = np.where(optical > 0, signs, 1.0)
    offsets = np.array([one.u_offset_um for one in readings])
    variances = np.array([one.u_um for one in readings]) ** 2
    dusty = (DUST_U_UM * offsets / 3.0) ** 2
    variances = variances + np.where(dust & (optical == 0), dusty, 0.0)
    with np.errstate(over="ignore"):
        decay = np.exp(-rest[:, None] / shop.DECAY_MINUTES)
    nothing = np.zeros((len(which), 0))
    amount = polish = nothing
    if work is not None:
        factor = np.array([h.factor for h in hypotheses])[:, None]
        way = np.array([h.way for h in hypotheses])[:, None]
        amount = (factor * way * work.amount)[which]
        polish = (factor * np.ones_like(way) * work.polish)[which]
    return _Problem(
        work, amount, polish, (signs * heights)[which], variances[which], optical, decay, offsets
    )


def _augmented(before: Mixture, kinds: int, work: _Work | None) -> tuple[Array, Array]:
    """State, the spells' scatter and the fresh warmth, repeated for each hypothesis."""
    means = np.repeat(before.means, kinds, axis=0)
    covariances = np.repeat(before.covariances, kinds, axis=0)
    covariances[:, OFFSET, OFFSET] += shop.OFFSET_DRIFT**2
    if work is None:
        return means, covariances
    count, size = means.shape
    noise = np.concatenate([work.scatter, work.warm_sds]) ** 2
    total = size + len(noise)
    wide = np.zeros((count, total, total))
    wide[:, :size, :size] = covariances
    wide[:, range(size, total), range(size, total)] = noise
    return np.concatenate([means, np.zeros((count, len(noise)))], axis=1), wide


def _carried(problem: _Problem, state: Array, covariances: Array, size: int) -> tuple[Array, Array]:
    """The state through the work, at the point that the readings found."""
    if problem.work is None:
        return state, _symmetric(covariances)
    height, jacobian = problem.change(state, size)
    total = state.shape[1]
    carry = np.zeros((len(state), size, total))
    carry[:, range(size), range(size)] = 1.0
    carry[:, HEIGHT] = jacobian
    first = WARMTH.start
    for i in range(len(shop.DECAY_MINUTES)):
        carry[:, first + i, first + i] = problem.work.kept
        carry[:, first + i, size + len(problem.work.base) + i] = 1.0
    means = np.einsum("bij,bj->bi", carry, state)
    means[:, HEIGHT] = height
    return means, _symmetric(carry @ covariances @ carry.transpose(0, 2, 1))


def _symmetric(covariances: Array) -> Array:
    """Symmetric, and no variance at or below zero by rounding."""
    made: Array = 0.5 * (covariances + covariances.transpose(0, 2, 1))
    size = made.shape[1]
    diagonal = made[:, range(size), range(size)]
    made[:, range(size), range(size)] = np.maximum(diagonal, 1e-12)
    return made


def _doubts(
    joint: Mixture, hypotheses: Sequence[Hypothesis], visit: ObservedVisit | None, axis: int
) -> tuple[Doubt, ...]:
    """What else may have been, of one visit: the earlier one's axis is 0."""
    if visit is None:
        return ()
    weights = joint.weights.sum(axis=1 - axis)
    found = []
    for kind in dict.fromkeys(h.kind for h in hypotheses if h.kind):
        places = [i for i, h in enumerate(hypotheses) if h.kind == kind]
        chance = float(weights[places].sum())
        if chance < 1e-3:
            continue
        mine = np.take(joint.weights, places, axis).ravel()
        means = np.take(joint.means[..., HEIGHT], places, axis).ravel()
        spread = np.take(joint.covariances[..., HEIGHT, HEIGHT], places, axis).ravel()
        mine = mine / mine.sum()
        mean = float(mine @ means)
        u = math.sqrt(float(mine @ (spread + (means - mean) ** 2)))
        found.append(Doubt(kind, visit.number, chance, mean, u))
    return tuple(found)
