"""How fast each kind of work moves a surface: learned from the log, its own first.

Model
-----
The surface's height of power y [um], rim minus centre of the gap, changes in a spell of m
minutes by m (r + e): r is the rate of this surface in this kind of work (a stage, with one
piece on top), e what differs from spell to spell. Rates of like surfaces scatter about a
common one, mu. With the readings' own errors v,

    y_k - y_(k-1) = sum over the spells of m (mu + d + e) + v_k - v_(k-1),
    d ~ N(0, (omega s)^2),  e ~ N(0, (rho s)^2),  v_k ~ N(0, u_k^2),  mu ~ N(0, large),

s being the size of the rate itself. It is linear and Gaussian for given rho and omega; these
two are averaged over, with the priors below and by how well each pair foretells the log. A
reading that ends one change starts the next, so its error enters both with opposite signs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Priors, common practice without source, wide: spells of one kind differ by about a quarter of
# the rate, and surfaces by four tenths; each within a factor of about two (standard deviation).
SPELLS_DIFFER, SURFACES_DIFFER, SPREAD = 0.27, 0.4, 0.6
_RHO = np.geomspace(0.05, 1.2, 9)
_OMEGA = np.geomspace(0.1, 1.6, 5)
_WIDE = 30.0  # of mu, in sizes of the rate: as good as not known
# the latest changes are the best evidence of how the lap works now
MOST_CHANGES = 24


@dataclass(frozen=True, order=True)
class Kind:
    """A kind of work: stage and upper piece, as rates are learned by.

    Attributes
    ----------
    stage : str
        The stage's key.
    on_top : str
        `work`, `tool`, or empty where it was not logged.
    name : str
        How the log calls the stage; makes no difference between kinds.
    """

    stage: str
    on_top: str = ""
    name: str = field(default="", compare=False)

    @property
    def reversed(self) -> Kind | None:
        """The same stage with the other piece on top."""
        other = {"work": "tool", "tool": "work"}.get(self.on_top)
        return None if other is None else Kind(self.stage, other, self.name)


@dataclass(frozen=True)
class HeightChange:
    """Change of height by the work between two visits that measured.

    Attributes
    ----------
    height_um : float
        Change of the height of power: rim minus centre of the gap [um].
    u_before_um, u_after_um : float
        Standard uncertainties of the two readings [um].
    minutes : tuple of (Kind, float)
        The spells between them [min].
    follows : bool
        Whether it starts with the reading that ended the change before it.
    """

    height_um: float
    u_before_um: float
    u_after_um: float
    minutes: tuple[tuple[Kind, float], ...]
    follows: bool = False


@dataclass(frozen=True)
class Mixture:
    """State and rate as draws of a joint distribution, equally likely.

    Attributes
    ----------
    height_um : ndarray, shape (K,)
        Height of power at the last reading [um].
    rate_um_min : ndarray, shape (K,)
        Rate of this surface in the kind of work asked for [um/min].
    spell_um_min : ndarray, shape (K,)
        Standard deviation of what a spell adds to it [um/min].
    spells, minutes : int, float
        Own spells of this kind that it was learned from, and their minutes.
    surfaces : int
        Like surfaces that it was learned from.
    borrowed : bool
        Taken from the reversed kind of work: nothing of this kind was logged.
    """

    height_um: Array
    rate_um_min: Array
    spell_um_min: Array
    spells: int
    minutes: float
    surfaces: int
    borrowed: bool = False

    def interval(self, share: float = 0.9) -> tuple[float, float]:
        """Interval of the rate of one spell to come [um/min]."""
        tail = (1 - share) / 2
        spread = self.rate_um_min + self.spell_um_min * normal_draws(len(self.rate_um_min), 2)
        low, high = np.quantile(spread, [tail, 1 - tail])
        return float(low), float(high)


def learn(
    kind: Kind,
    changes: Sequence[HeightChange],
    height_um: float,
    u_um: float,
    like: Sequence[Sequence[HeightChange]] = (),
    *,
    draws: int = 4000,
) -> Mixture | None:
    """Learn the rate of one kind of work and, with it, where the surface stands.

    Parameters
    ----------
    kind : Kind
        The work that is to come.
    changes : sequence of HeightChange
        Of this surface, in their order; the last one ends with the last reading.
    height_um, u_um : float
        The last reading's height of power and its standard uncertainty [um].
    like : sequence of sequence of HeightChange
        Changes of like surfaces, a surface each.
    draws : int
        Size of the mixture.

    Returns
    -------
    Mixture or None
        None where neither this kind of work nor its reverse was logged anywhere.
    """
    every = [list(changes), *(list(changes_of) for changes_of in like)]
    if _has(every, kind):
        return _learn(kind, every, height_um, u_um, draws)
    other = kind.reversed
    if other is None or not _has(every, other):
        return None
    return _reverse(_learn(other, every, height_um, u_um, draws))


def _has(every: Sequence[Sequence[HeightChange]], kind: Kind) -> bool:
    return any(k == kind and m > 0 for own in every for change in own for k, m in change.minutes)


def _reverse(mixture: Mixture) -> Mixture:
    """Turn a mixture round: the other piece on top.

    Common practice, no source: the upper piece goes concave, and faster than the lower goes
    convex; so the same work turned round moves power the other way, at 0.4 to 1 of the pace
    or 1 to 2.5 of it. Which of the two is not held against the log: a factor of 2.5 either way
    is two standard deviations.
    """
    factor = np.exp(0.46 * normal_draws(len(mixture.rate_um_min), 3))
    return Mixture(
        mixture.height_um,
        -factor * mixture.rate_um_min,
        factor * mixture.spell_um_min,
        mixture.spells,
        mixture.minutes,
        mixture.surfaces,
        borrowed=True,
    )


def _learn(
    kind: Kind, every: Sequence[Sequence[HeightChange]], height_um: float, u_um: float, draws: int
) -> Mixture:
    table = _Table.of(every, kind)
    scale = table.scales()
    weights, centres, spreads = _posterior(table, scale, kind, u_um)
    if not table.is_alone(kind):
        # what a mixed change did was all put down to this kind; better now by what it left
        rate = abs(float(weights @ centres[:, 1]))
        scale[table.kinds.index(kind)] = max(rate, 1e-3 * float(scale.max()))
        weights, centres, spreads = _posterior(table, scale, kind, u_um)
    counts = np.floor(np.cumsum(weights) * draws + 0.5).astype(int)
    which = np.searchsorted(counts, np.arange(draws), side="right")
    z = np.column_stack([normal_draws(draws, 0), normal_draws(draws, 1)])
    pairs = centres[which] + np.einsum("kij,kj->ki", spreads[which], z)
    rho = np.repeat(_RHO, len(_OMEGA))[which]
    mine = [(m, change) for change in every[0] for k, m in change.minutes if k == kind and m > 0]
    return Mixture(
        height_um=height_um + pairs[:, 0],
        rate_um_min=pairs[:, 1],
        spell_um_min=rho * scale[table.kinds.index(kind)],
        spells=len(mine),
        minutes=math.fsum(m for m, _ in mine),
        surfaces=sum(_has([own], kind) for own in every[1:]),
    )


@dataclass(frozen=True)
class _Table:
    """All changes of all surfaces in rows: what is needed to write down their covariance.

    `minutes` has shape (A, B) for A changes and B kinds, `squares` the sum of the squared
    minutes of the spells (each spell has its own error), `noise` the covariance of the
    readings' errors, `surface` the surface of each row.
    """

    kinds: list[Kind]
    height: Array
    minutes: Array
    squares: Array
    noise: Array
    surface: NDArray[np.int64]
    u_last: Array

    @staticmethod
    def of(every: Sequence[Sequence[HeightChange]], kind: Kind) -> _Table:
        wanted = _kinds_logged_with(every, kind)
        rows = [
            (s, i, own[i])
            for s, own in enumerate(every)
            for i in _useful(own, wanted, own_surface=s == 0)
        ]
        kinds = sorted({k for _, _, change in rows for k, _ in change.minutes} | {kind})
        count = len(rows)
        minutes, squares = np.zeros((count, len(kinds))), np.zeros((count, len(kinds)))
        noise = np.zeros((count, count))
        for row, (s, i, change) in enumerate(rows):
            for k, m in change.minutes:
                minutes[row, kinds.index(k)] += m
                squares[row, kinds.index(k)] += m * m
            noise[row, row] = change.u_before_um**2 + change.u_after_um**2
            if row and change.follows and rows[row - 1][:2] == (s, i - 1):
                noise[row, row - 1] = noise[row - 1, row] = -(change.u_before_um**2)
        # the last reading's error ends the last change of this surface
        u_last = np.array(
            [
                change.u_after_um**2 if (s, i) == (0, len(every[0]) - 1) else 0.0
                for s, i, change in rows
            ]
        )
        return _Table(
            kinds,
            np.array([change.height_um for _, _, change in rows]),
            minutes,
            squares,
            noise,
            np.array([s for s, _, _ in rows], dtype=np.int64),
            u_last,
        )

    def is_alone(self, kind: Kind) -> bool:
        """Whether any change is of this kind alone."""
        mine = self.minutes[:, self.kinds.index(kind)]
        return bool(np.any((mine > 0) & (mine == self.minutes.sum(axis=1))))

    def scales(self) -> Array:
        """Size of each kind's rate [um/min]: what the rows together say, and its uncertainty."""
        values = np.empty(len(self.kinds))
        for j in range(len(self.kinds)):
            rows = self.minutes[:, j] > 0
            alone = rows & (self.minutes[:, j] == self.minutes.sum(axis=1))
            rows = alone if alone.any() else rows
            if not rows.any():
                values[j] = np.nan
                continue
            m = self.minutes[rows, j]
            # long spells and small errors count more
            weight = m**2 / (np.diag(self.noise)[rows] + (0.25 * self.height[rows]) ** 2 + 1e-30)
            rate = float(np.sum(weight * self.height[rows] / m) / np.sum(weight))
            # a rate lost in the readings' errors may be as large as these
            noise = float(np.sum(weight**2 * np.diag(self.noise)[rows] / m**2))
            values[j] = max(abs(rate), math.sqrt(noise) / float(np.sum(weight)))
        fallback = np.nanmax(values) if np.isfinite(values).any() else 1.0
        values = np.where(np.isfinite(values), values, fallback)
        return np.maximum(values, 1e-9 * max(float(values.max()), 1e-12))

    def covariances(self, scale: Array) -> Array:
        """Covariance of the changes for each rho and omega, shape (G, A, A)."""
        of_kinds = self.minutes * scale
        common = of_kinds @ of_kinds.T
        same = (self.surface[:, None] == self.surface[None, :]) * common
        spell = np.diag((self.squares * scale**2).sum(axis=1))
        rho, omega = np.repeat(_RHO, len(_OMEGA)), np.tile(_OMEGA, len(_RHO))
        shape = (-1, 1, 1)
        covariance: Array = (
            _WIDE**2 * common
            + self.noise
            + omega.reshape(shape) ** 2 * same
            + rho.reshape(shape) ** 2 * spell
        )
        return covariance


def _kinds_logged_with(every: Sequence[Sequence[HeightChange]], kind: Kind) -> set[Kind]:
    """The kind asked for, and those that were logged in one change with it."""
    mixed = [change for own in every for change in own if _involves(change, {kind})]
    return {kind} | {k for change in mixed for k, _ in change.minutes}


def _useful(own: Sequence[HeightChange], kinds: set[Kind], *, own_surface: bool) -> list[int]:
    """Numbers of the changes that involve these kinds, or the last reading's error."""
    recent = range(max(0, len(own) - MOST_CHANGES), len(own))
    last = {len(own) - 1} if own_surface else set()
    return [i for i in recent if i in last or not own[i].minutes or _involves(own[i], kinds)]


def _involves(change: HeightChange, kinds: set[Kind]) -> bool:
    return any(k in kinds and m > 0 for k, m in change.minutes)


def _posterior(table: _Table, scale: Array, kind: Kind, u_um: float) -> tuple[Array, Array, Array]:
    """Weight of each (rho, omega); mean and root of covariance of (error, rate) for each.

    Returns
    -------
    weights : ndarray, shape (G,)
    centres : ndarray, shape (G, 2)
        What is to be added to the last height [um], and the rate [um/min].
    spreads : ndarray, shape (G, 2, 2)
        A square root of their covariance.
    """
    rho, omega = np.repeat(_RHO, len(_OMEGA)), np.tile(_OMEGA, len(_RHO))
    j = table.kinds.index(kind)
    covariance = table.covariances(scale)
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(
        root, np.broadcast_to(table.height[:, None], (len(rho), len(table.height), 1))
    )
    log_likelihood = -0.5 * np.sum(white**2, axis=(1, 2)) - np.sum(
        np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1
    )
    off = np.log(rho / SPELLS_DIFFER), np.log(omega / SURFACES_DIFFER)
    log_prior = -0.5 * (off[0] ** 2 + off[1] ** 2) / SPREAD**2
    log_weight = log_likelihood + log_prior
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    # covariance of the changes with (minus the last reading's error, the rate)
    mine = table.minutes[:, j] * scale[j] ** 2
    with_rate = mine * (_WIDE**2 + (table.surface == 0) * omega[:, None] ** 2)
    cross = np.stack([np.broadcast_to(-table.u_last, with_rate.shape), with_rate], axis=-1)
    half = np.linalg.solve(root, cross)
    centres = np.einsum("gai,ga->gi", half, white[..., 0])
    prior = np.zeros((len(rho), 2, 2))
    prior[:, 0, 0] = u_um**2
    prior[:, 1, 1] = (_WIDE**2 + omega**2) * scale[j] ** 2
    spread = prior - np.einsum("gai,gaj->gij", half, half)
    return weights, centres, _roots(spread)


def _roots(covariance: Array) -> Array:
    """Square roots of covariances; eigenvalues that rounding made negative count as zero."""
    eigenvalues, eigenvectors = np.linalg.eigh(covariance)
    roots: Array = eigenvectors * np.sqrt(np.clip(eigenvalues, 0.0, None))[:, None, :]
    return roots


def normal_draws(count: int, which: int) -> Array:
    """Even normal numbers, in an order of their own for each `which`: the same every time."""
    order = np.random.default_rng(which).permutation(count)
    return _even(count)[order]


@cache
def _even(count: int) -> Array:
    """Middle quantiles of `count` equal shares of the normal distribution."""
    inverse = NormalDist().inv_cdf
    return np.array([inverse((i + 0.5) / count) for i in range(count)])
