"""A state as a mixture of normal parts, and how its parts are merged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.shop import HEIGHT

Array = NDArray[np.float64]

LEAST_WEIGHT = 1e-5  # of a hypothesis that is carried on
# Parts whose heights differ by so many standard uncertainties are kept apart; the smallest
# probability of one, and the largest number.
FAR, LEAST_APART, MOST_APART = 3.0, 2e-4, 6


@dataclass(frozen=True)
class Mixture:
    """The state after a visit: a part for each hypothesis of it."""

    weights: Array
    means: Array
    covariances: Array


@dataclass(frozen=True)
class Origins:
    """Where the parts of a merged mixture come from.

    Attributes
    ----------
    hypotheses : list of int
        Which hypothesis of the last visit each part is of.
    shares : ndarray, shape (K', A)
        How much of each part was each part before that visit.
    """

    hypotheses: list[int]
    shares: Array


def merge_earlier(joint: Mixture) -> tuple[Mixture, Origins]:
    """Merge what the visit before left, into one part for each hypothesis of the last visit.

    A part whose height lies far from that of the likeliest of its hypothesis stays by itself:
    merged, a doubt of one in a hundred about the sense would blur the height for ever.

    Returns
    -------
    mixture : Mixture
        Of weights (K',).
    origins : Origins
        Of its parts.
    """
    weights, heights = joint.weights, joint.means[..., HEIGHT]
    kinds = range(weights.shape[1])
    variances = joint.covariances[..., HEIGHT, HEIGHT]
    first = np.argmax(weights, axis=0)
    off = (heights - heights[first, kinds]) ** 2 / (variances + variances[first, kinds])
    apart = off > FAR**2
    near = np.where(apart, 0.0, weights)
    total = near.sum(axis=0)
    kept = np.flatnonzero(total > LEAST_WEIGHT)
    shares = (near[:, kept] / total[kept]).T
    means, covariances = moments(
        shares,
        joint.means[:, kept].transpose(1, 0, 2),
        joint.covariances[:, kept].transpose(1, 0, 2, 3),
    )
    alone = np.argwhere(apart & (weights > LEAST_APART))
    alone = alone[np.argsort(-weights[tuple(alone.T)])][:MOST_APART]
    parts, of = alone.T
    every = np.concatenate([total[kept], weights[parts, of]])
    mixture = Mixture(
        every / every.sum(),
        np.concatenate([means, joint.means[parts, of]]),
        np.concatenate([covariances, joint.covariances[parts, of]]),
    )
    single = np.eye(len(weights))[parts]
    return mixture, Origins([*map(int, kept), *map(int, of)], np.concatenate([shares, single]))


def moments(weights: Array, means: Array, covariances: Array) -> tuple[Array, Array]:
    """Mean and covariance of mixtures (G, A) of normal parts."""
    mean = np.einsum("ga,gan->gn", weights, means)
    off = means - mean[:, None]
    spread = np.einsum("ga,ganm->gnm", weights, covariances)
    return mean, spread + np.einsum("ga,gan,gam->gnm", weights, off, off)
