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
from fringe.judge.state.scatter import USUAL_SCATTER
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
MOST_TOLD = 2.5  # scatters of one spell that the shop's own is learned from
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
    spell_scatter : float
        Of it what differs from spell to spell.
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
    spell_scatter: float
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
        variance = max(self.gauged.variance, float(self.spell_scatter**2 * share @ share))
        gain: Array = GAUGE_TELLS * self.spell_scatter**2 * share / variance
        return gain


def spells_terms(
    spells: Sequence[Spell],
    layout: Layout,
    gauged: Gauged | None = None,
    spell_scatter: float = USUAL_SCATTER,
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
        scatter.append(math.hypot(spell_scatter, u, MINUTES_U if untold else 0.0))
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
        spell_scatter,
        shop.WARMTH_UM * share * cool,
        1.0 - share,
        gauged,
    )


@dataclass(frozen=True)
class _Problem:
    """One visit's equations for B hypotheses; the state is followed by scatter and warmth.

    The equations see the state through q numbers alone: height and tendency, the logarithm of
    the rate of each term and of the upper piece in its stage, and what each reading adds to the
    height. The iterations are in these.
    """

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

    @property
    def terms(self) -> int:
        """Number of terms."""
        return int(self.amount.shape[1])

    def seen(self, size: int, total: int) -> Array:
        """The q numbers as linear functions of the state (B, q, total)."""
        count, read = self.heights.shape
        terms = self.terms
        rows = np.zeros((count, 2 + 2 * terms + read, total))
        rows[:, 0, HEIGHT] = rows[:, 1, TENDENCY] = 1.0
        readings, optical = rows[:, 2 + 2 * terms :], self.optical[:, None]
        if self.work is None:
            readings[..., WARMTH] = optical * self.warm
        else:
            rows[:, 2 : 2 + terms, :size] = self.work.rows
            rows[:, 2 + terms : 2 + 2 * terms, :size] = self.work.upper_rows
            for term in range(terms):
                rows[:, [2 + term, 2 + terms + term], size + term] = 1.0
            readings[..., WARMTH] = self.work.kept * optical * self.warm
            readings[..., size + terms :] = optical * self.fresh
        readings[..., OFFSET] = self.offsets
        return rows

    def change(self, seen: Array) -> tuple[Array, Array]:
        """Height after the work, and its slope in the q numbers that the equations see."""
        slope = np.zeros_like(seen)
        slope[:, 0] = 1.0
        height = seen[:, 0].copy()
        if self.work is None:
            return height, slope
        terms, base = self.terms, self.work.base
        rates = np.exp(
            np.minimum(np.maximum(seen[:, 2 : 2 + 2 * terms], -LONGEST_LOG), LONGEST_LOG)
        )
        done = self.amount * np.exp(base) * rates[:, :terms]
        drift = self.polish * np.exp(base) * rates[:, terms:]
        tendency, drifted = seen[:, 1], drift.sum(axis=1)
        height += done.sum(axis=1) + tendency * drifted
        slope[:, 1] = drifted
        slope[:, 2 : 2 + terms] = done
        slope[:, 2 + terms : 2 + 2 * terms] = tendency[:, None] * drift
        return height, slope


def updated(
    before: Mixture,
    hypotheses: Sequence[Hypothesis],
    work: SpellTerms | None,
    visit: ObservedVisit,
    rest: Rest,
) -> tuple[Mixture, tuple[float, float]]:
    """Weigh every hypothesis of a visit with every part of the mixture before.

    Returns
    -------
    mixture : Mixture
        Of weights (A, K), means (A, K, n) and covariances (A, K, n, n): A parts before, K
        hypotheses.
    differed : (float, float)
        Squares of what the spells did beyond their medians, and how many spells that tells of.
    """
    parts, kinds = len(before.weights), len(hypotheses)
    size = before.means.shape[1]
    problem = _problem(np.tile(np.arange(kinds), parts), hypotheses, work, visit, rest)
    means, covariances = _augmented(_cooled(before, rest.elapsed_minutes), hypotheses, work)
    logs = np.log(np.maximum(before.weights, 1e-300))[:, None] + np.log(
        [h.chance for h in hypotheses]
    )
    logs = logs.ravel() + problem.log_scale
    seen = problem.seen(size, means.shape[1])
    state = means
    if len(problem.optical):
        state, covariances, fit = _fitted(problem, seen, means, covariances)
        logs = logs + fit
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    as_logged = np.tile([not h.kind for h in hypotheses], parts)
    differed = _differed(work, weights * as_logged, state[:, size:], covariances[:, size:, size:])
    means, covariances = _carried(problem, seen, state, covariances)
    shape = (parts, kinds)
    mixture = Mixture(
        weights.reshape(shape),
        means.reshape(*shape, size),
        covariances.reshape(*shape, size, size),
    )
    return mixture, differed


def _differed(
    work: SpellTerms | None, weights: Array, noise: Array, covariances: Array
) -> tuple[float, float]:
    """Squares of what the spells did beyond their medians, and how many spells that tells of.

    Where readings leave the share r of a spell's variance s^2, the square of what they tell of it
    is (1 - r) s^2 in the mean: it counts as 1 - r spells. One that was unlike its rate is held
    against the shop, but only so far.
    """
    if work is None:
        return 0.0, 0.0
    own = np.flatnonzero(work.scatter <= work.spell_scatter)
    left = covariances[:, own, own] / work.spell_scatter**2
    told = np.clip(1.0 - left, 0.0, 1.0)
    most = (MOST_TOLD * work.spell_scatter) ** 2
    squares = np.minimum(noise[:, own] ** 2, most).sum(axis=1)
    return float(weights @ squares), float(weights @ told.sum(axis=1))


def _fitted(
    problem: _Problem, seen: Array, means: Array, covariances: Array
) -> tuple[Array, Array, Array]:
    """State and covariance given the readings, and the logarithm of their likelihood (B,).

    The solution is means + covariances seen' x; x is iterated, and what the equations see.
    """
    read, terms = len(problem.optical), problem.terms
    spans = covariances @ seen.transpose(0, 2, 1)
    prior, inner = (seen @ means[..., None])[..., 0], seen @ spans
    at, x = prior.copy(), np.zeros_like(prior)
    for iteration in range(1, MOST_ITERATIONS + 1):
        height, slope = problem.change(at)
        slopes = np.repeat(slope[:, None], read, axis=1)
        slopes[:, range(read), range(-read, 0)] += 1.0
        off = problem.heights - height[:, None] - at[:, -read:]
        off -= (slopes @ (prior - at)[..., None])[..., 0]
        cross = inner @ slopes.transpose(0, 2, 1)
        spread = slopes @ cross
        spread[:, range(read), range(read)] += problem.variances
        white = _solved(spread, off[..., None])
        to = (slopes.transpose(0, 2, 1) @ white)[..., 0]
        step = prior + (inner @ to[..., None])[..., 0] - at
        longest = np.abs(step[:, 2 : 2 + terms]).max(axis=1, initial=0.0)
        share = np.minimum(1.0, LONGEST_STEP / np.maximum(longest, 1e-12))[:, None]
        x += share * (to - x)
        at += share * step
        if iteration >= ITERATIONS and float(longest.max()) < CONVERGED:
            break
    whole = spans @ slopes.transpose(0, 2, 1)
    gain = _solved(spread, whole.transpose(0, 2, 1)).transpose(0, 2, 1)
    fit = -0.5 * (np.sum(off * white[..., 0], axis=1) + np.linalg.slogdet(spread)[1])
    state = means + (spans @ x[..., None])[..., 0]
    return state, covariances - gain @ whole.transpose(0, 2, 1), fit


def _solved(spread: Array, right: Array) -> Array:
    """Solutions of B systems of m equations, for k right sides each (B, m, k)."""
    if spread.shape[1] == 1:
        return np.asarray(right / spread)
    return np.asarray(np.linalg.solve(spread, right))


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


def _carried(
    problem: _Problem, seen: Array, state: Array, covariances: Array
) -> tuple[Array, Array]:
    """The state through the work, at the point that the readings found."""
    if problem.work is None:
        return state, _symmetric(covariances)
    height, slope = problem.change((seen @ state[..., None])[..., 0])
    count, total = state.shape
    size = len(problem.work.rows[0])
    carry = np.zeros((count, size, total))
    carry[:, range(size), range(size)] = 1.0
    carry[:, HEIGHT] = (slope[:, None] @ seen)[:, 0]
    first = WARMTH.start
    for i in range(len(shop.DECAY_MINUTES)):
        carry[:, first + i, first + i] = problem.work.kept
        carry[:, first + i, size + problem.terms + i] = problem.left[:, i]
    means = (carry @ state[..., None])[..., 0]
    means[:, HEIGHT] = height
    return means, _symmetric(carry @ covariances @ carry.transpose(0, 2, 1))


def _symmetric(covariances: Array) -> Array:
    """Symmetric, and no variance at or below zero by rounding."""
    made: Array = 0.5 * (covariances + covariances.transpose(0, 2, 1))
    size = made.shape[1]
    diagonal = made[:, range(size), range(size)]
    made[:, range(size), range(size)] = np.maximum(diagonal, 1e-12)
    return made
