"""What work to come does to the height of power: a quadrature over the rates of its kinds."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.mixture import Mixture
from fringe.judge.state.shop import HEIGHT, TENDENCY, Layout

Array = NDArray[np.float64]

# nodes of the quadrature over the rates of so many kinds of work in one visit
_NODES = {1: 9, 2: 5, 3: 3, 4: 3}
MOST_KINDS = max(_NODES)
_LEAST = 5e-4  # weight of a part that is still looked at


@dataclass(frozen=True, eq=False)
class Outlook:
    """What minutes of J kinds of work do, at each of N nodes.

    Attributes
    ----------
    weights : ndarray, shape (N,)
        Of the nodes.
    height, tendency : ndarray, shape (N,)
        Mean of each before the work, given the rates [um, share of the rate].
    pace, drift : ndarray, shape (N, J)
        Change of height by a minute of each kind, and what the tendency is counted in [um/min].
    variances : ndarray, shape (N, 3)
        Variances of height and tendency given the rates, and their covariance.
    """

    weights: Array
    height: Array
    tendency: Array
    pace: Array
    drift: Array
    variances: Array

    def after(self, minutes: Array) -> tuple[Array, Array, Array, Array]:
        """Change of height and height after some work.

        Parameters
        ----------
        minutes : ndarray, shape (..., J)
            Of each kind.

        Returns
        -------
        change, height, variance, total : ndarray, shape (..., N)
            Mean change of height by the work, mean height after it, variances of both [um, um^2].
        """
        drift = minutes @ self.drift.T
        change = minutes @ self.pace.T + drift * self.tendency
        of_height, of_tendency, together = self.variances.T
        variance = drift**2 * of_tendency
        total = of_height + variance + 2 * drift * together
        return change, self.height + change, variance, total


def outlook(
    mixture: Mixture,
    layout: Layout,
    kinds: Sequence[tuple[Stage, str | None]],
    scatter: float,
) -> Outlook:
    """Quadrature over the rates of work to come.

    Parameters
    ----------
    mixture : Mixture
        The state before, K parts.
    layout : Layout
        Of the state.
    kinds : sequence of (Stage, str or None)
        Stage and piece on top of each, `MOST_KINDS` at most.
    scatter : float
        Standard deviation of the logarithm of what a spell does.
    """
    keep = mixture.weights > _LEAST
    weights = mixture.weights[keep] / mixture.weights[keep].sum()
    means, covariances = mixture.means[keep], mixture.covariances[keep]
    rows, base, u = _rows(kinds, layout)
    logs = means @ rows.T + base
    spread = rows @ covariances @ rows.T + np.diag(scatter**2 + u**2)
    nodes, shares = _nodes(len(base))
    root = np.linalg.cholesky(spread)
    off = np.einsum("kij,qj->kqi", root, nodes)
    pace = np.exp(logs[:, None] + off)
    # of the upper piece, which the tendency in polishing is counted in
    below = np.exp(means[:, shop.RATIO, None] * rows[:, shop.RATIO])
    drift = pace / below[:, None] * [float(stage.polish) for stage, _ in kinds]
    # height and tendency given the rates
    both = covariances[:, [HEIGHT, TENDENCY]] @ rows.T
    gain = np.linalg.solve(spread, both.transpose(0, 2, 1)).transpose(0, 2, 1)
    given = means[:, None, [HEIGHT, TENDENCY]] + np.einsum("kij,kqj->kqi", gain, off)
    places = np.ix_([HEIGHT, TENDENCY], [HEIGHT, TENDENCY])
    left = covariances[:, places[0], places[1]] - gain @ both.transpose(0, 2, 1)
    count = len(nodes)
    return Outlook(
        (weights[:, None] * shares).ravel(),
        given[..., 0].ravel(),
        given[..., 1].ravel(),
        (pace * [1.0 if on_top == "tool" else -1.0 for _, on_top in kinds]).reshape(-1, len(base)),
        drift.reshape(-1, len(base)),
        np.repeat(left.reshape(-1, 4)[:, [0, 3, 1]], count, axis=0),
    )


def _rows(kinds: Sequence[tuple[Stage, str | None]], layout: Layout) -> tuple[Array, Array, Array]:
    """Logarithm of the rate of each kind of work: its row, its constant, and its u beyond them."""
    rows, base, us = [], [], []
    for stage, on_top in kinds:
        row, u = layout.row(stage, reversed_piece=on_top == "tool")
        rows.append(row)
        base.append(shop.base(stage))
        us.append(u)
    return np.array(rows), np.array(base), np.array(us)


@cache
def _nodes(dimensions: int) -> tuple[Array, Array]:
    """Nodes (Q, J) and weights (Q,) of Gauss-Hermite quadrature over standard normals."""
    points, weights = np.polynomial.hermite_e.hermegauss(_NODES[dimensions])
    weights = weights / weights.sum()
    nodes = np.array(list(itertools.product(points, repeat=dimensions)))
    shares = np.array([math.prod(one) for one in itertools.product(weights, repeat=dimensions)])
    return nodes, shares
