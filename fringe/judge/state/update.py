"""One visit weighed: the state through its work, given its readings, for every hypothesis of it.

A Gauss-Newton problem in the state before, what the spells did beyond their median and the fresh
warmth; its solution is carried through the work.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.hypotheses import Gauged, Hypothesis
from fringe.judge.state.mixture import Mixture
from fringe.judge.state.observed import SPHEROMETER, ObservedVisit, Spell
from fringe.judge.state.rest import FRESH_MINUTES, Rest
from fringe.judge.state.shop import HEIGHT, OFFSET, TENDENCY, WARMTH, Layout

Array = NDArray[np.float64]

USUAL_MINUTES, MINUTES_U = 30.0, 1.0  # of a spell that tells none; u of the logarithm
# Gauss-Newton: so many iterations at least and at most; until the logarithm of what a spell does
# changes by less than that, and by no more than that at once (a large spell that was read
# precisely is far from linear)
ITERATIONS, MOST_ITERATIONS = 3, 15
CONVERGED, LONGEST_STEP = 0.02, 1.0
NO_READING_UM = 1e5  # standard uncertainty of a reading that says nothing
GAUGE_TELLS = 0.85  # share of a spell's own pace that glass and height have in common (ours)
ODD_TIMES = 3.0  # scatter of a spell unlike its rate, over the usual one
LONGEST_LOG = 8.0  # of a spell's rate over its median beforehand
# Height at which rings are too many to be read, as a soft limit: the middle of a range [um].
CROWDED_UM, CROWDED_U_UM = 25.0, 12.0
DUST_U_UM = 15.0  # of a spherometer's reading with dust under a foot, on its own ring


@dataclass(frozen=True)
class SpellTerms:
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
    gauged : Gauged or None
        What a gauge says of the work: glass and height go together, so that it tells most of
        what the spell did beyond its median.
    """

    rows: Array
    upper_rows: Array
    base: Array
    amount: Array
    polish: Array
    scatter: Array
    warm_um: float
    kept: float
    gauged: Gauged | None = None

    @property
    def warm_sds(self) -> Array:
        """Of the fresh warmth's parts [um]."""
        sds: Array = self.warm_um * np.sqrt(shop.DECAY_SHARES)
        return sds

    @property
    def gauge_gain(self) -> Array:
        """What of the gauge's surprise each term's scatter takes, by its share of the glass."""
        assert self.gauged is not None
        glass = np.abs(self.amount) * np.exp(self.base)
        share = glass / glass.sum()
        variance = max(self.gauged.variance, float(shop.SCATTER**2 * share @ share))
        gain: Array = GAUGE_TELLS * shop.SCATTER**2 * share / variance
        return gain


def spells_terms(
    spells: Sequence[Spell], layout: Layout, gauged: Gauged | None = None
) -> SpellTerms | None:
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
    return SpellTerms(
        np.array(rows),
        np.array(upper),
        np.array(base),
        np.array(amount),
        np.array(polish),
        np.array(scatter),
        shop.WARMTH_UM * share * cool,
        1.0 - share,
        gauged,
    )


@dataclass(frozen=True)
class _Problem:
    """One visit's equations for B hypotheses; the state is followed by scatter and warmth."""

    work: SpellTerms | None
    amount: Array  # (B, J) minutes, signed
    polish: Array  # (B, J)
    heights: Array  # (B, m)
    variances: Array  # (B, m)
    optical: Array  # (m,) 1 for fringes
    warm: Array  # (B, m, 3) share of the warmth after the work that a reading sees
    fresh: Array  # (B, m, 3) the same of the warmth that the work left at its end
    left: Array  # (B, 3) what of that is left at the visit
    offsets: Array  # (m,)
    log_scale: Array  # (B,) what brings a likelihood of rings that cannot be read to one

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
        """Warmth and offset at each reading as linear functions of the state (B, m, total)."""
        count, read = self.heights.shape
        rows = np.zeros((count, read, total))
        optical = self.optical[:, None]
        if self.work is None:
            rows[..., WARMTH] = optical * self.warm
        else:
            rows[..., WARMTH] = self.work.kept * optical * self.warm
            rows[..., size + len(self.work.base) :] = optical * self.fresh
        rows[..., OFFSET] = self.offsets
        return rows


def updated(
    before: Mixture,
    hypotheses: Sequence[Hypothesis],
    work: SpellTerms | None,
    visit: ObservedVisit,
    rest: Rest,
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
    means, covariances = _augmented(_cooled(before, rest.elapsed_minutes), hypotheses, work)
    logs = np.log(np.maximum(before.weights, 1e-300))[:, None] + np.log(
        [h.chance for h in hypotheses]
    )
    logs = logs.ravel() + problem.log_scale
    state = means
    rows = problem.warm_rows(size, means.shape[1])
    read = len(problem.optical)
    for iteration in range(1, MOST_ITERATIONS + 1 if read else 1):
        height, jacobian = problem.change(state, size)
        slope = jacobian[:, None, :] + rows
        found = height[:, None] + np.einsum("bmn,bn->bm", rows, state)
        innovation = problem.heights - found - np.einsum("bmn,bn->bm", slope, means - state)
        cross = covariances @ slope.transpose(0, 2, 1)
        spread = slope @ cross
        spread[:, range(read), range(read)] += problem.variances
        gain = np.linalg.solve(spread, cross.transpose(0, 2, 1)).transpose(0, 2, 1)
        step = means + np.einsum("bnm,bm->bn", gain, innovation) - state
        longest = _log_step(work, step, size)
        state = state + step * np.minimum(1.0, LONGEST_STEP / np.maximum(longest, 1e-12))[:, None]
        if iteration >= ITERATIONS and float(longest.max()) < CONVERGED:
            break
    if read:
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


def _log_step(work: SpellTerms | None, step: Array, size: int) -> Array:
    """Largest change of the logarithm of what a spell does, in each of B steps (B,)."""
    if work is None:
        return np.zeros(len(step))
    terms = len(work.base)
    change: Array = np.abs(step[:, :size] @ work.rows.T + step[:, size : size + terms])
    most: Array = change.max(axis=1)
    return most


def _problem(
    which: NDArray[np.intp],
    hypotheses: Sequence[Hypothesis],
    work: SpellTerms | None,
    visit: ObservedVisit,
    rest: Rest,
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
    lasted = np.array([FRESH_MINUTES if h.fresh else rest.minutes for h in hypotheses])
    earlier = rest.earlier_minutes
    since = np.maximum(0.0, lasted[:, None] - earlier)
    fresh = np.exp(-since[..., None] / shop.DECAY_MINUTES)
    warm = np.tile(np.exp(earlier[:, None] / shop.DECAY_MINUTES), (len(hypotheses), 1, 1))
    left = np.exp(-lasted[:, None] / shop.DECAY_MINUTES)
    crowded = np.array([h.crowded for h in hypotheses])
    log_scale = np.zeros(len(hypotheses))
    if crowded.any():
        # one more reading, of a height at which rings are too many; it says nothing otherwise
        wide = np.where(crowded != 0, CROWDED_U_UM, NO_READING_UM)
        log_scale = np.log(wide)
        middle = CROWDED_UM * crowded
        signed = np.concatenate([signs * heights, middle[:, None]], axis=1)
        variances = np.concatenate([variances, wide[:, None] ** 2], axis=1)
        optical, offsets = np.append(optical, 0.0), np.append(offsets, 0.0)
        none = np.zeros((len(hypotheses), 1, len(shop.DECAY_MINUTES)))
        fresh, warm = np.concatenate([fresh, none], 1), np.concatenate([warm, none], 1)
    else:
        signed = signs * heights
    amount = polish = np.zeros((len(which), 0))
    if work is not None:
        factor = np.array([h.factor for h in hypotheses])[:, None]
        way = np.array([h.way for h in hypotheses])[:, None]
        amount = (factor * way * work.amount)[which]
        polish = (factor * np.ones_like(way) * work.polish)[which]
    return _Problem(
        work,
        amount,
        polish,
        signed[which],
        variances[which],
        optical,
        warm[which],
        fresh[which],
        left[which],
        offsets,
        log_scale[which],
    )


def _cooled(before: Mixture, minutes: float) -> Mixture:
    """The same some minutes later."""
    left = np.exp(-minutes / shop.DECAY_MINUTES)
    means, covariances = before.means.copy(), before.covariances.copy()
    means[:, WARMTH] *= left
    covariances[:, WARMTH] *= left[:, None]
    covariances[:, :, WARMTH] *= left
    return Mixture(before.weights, means, covariances)


def _augmented(
    before: Mixture, hypotheses: Sequence[Hypothesis], work: SpellTerms | None
) -> tuple[Array, Array]:
    """State, the spells' scatter and the fresh warmth, repeated for each hypothesis."""
    kinds = len(hypotheses)
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
    much = np.array([ODD_TIMES**2 if h.odd else 1.0 for h in hypotheses])
    terms = len(work.scatter)
    wide[:, range(size, total), range(size, total)] = noise
    wide[:, range(size, size + terms), range(size, size + terms)] *= np.tile(
        much, len(before.weights)
    )[:, None]
    beyond = np.zeros((count, len(noise)))
    if work.gauged is not None:
        pace = work.gauged.pace - np.log([h.factor for h in hypotheses])
        gain = work.gauge_gain
        block = slice(size, size + len(gain))
        wide[:, block, block] -= np.outer(gain, gain) * work.gauged.variance / GAUGE_TELLS
        beyond[:, : len(gain)] = np.tile(pace, len(before.weights))[:, None] * gain
    return np.concatenate([means, beyond], axis=1), wide


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
        carry[:, first + i, size + len(problem.work.base) + i] = problem.left[:, i]
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
