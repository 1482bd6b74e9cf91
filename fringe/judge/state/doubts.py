"""Which blunders may have been made, visit by visit: carried along with the parts of a mixture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.belief import Doubt
from fringe.judge.state.hypotheses import Hypothesis
from fringe.judge.state.mixture import Mixture, Origins
from fringe.judge.state.shop import HEIGHT

Array = NDArray[np.float64]

LEAST = 1e-3  # probability of a blunder that is told
LEAST_EARLIER = 0.01  # of a blunder before the last two visits


class Doubts:
    """Probabilities of blunders given each part of a mixture."""

    def __init__(self) -> None:
        self._blunders: list[tuple[str, int]] = []
        self._given = np.zeros((1, 0))  # (parts, blunders)

    def weighed(
        self, joint: Mixture, hypotheses: Sequence[Hypothesis], number: int
    ) -> tuple[Doubt, ...]:
        """What may have been made until now, once a visit was weighed.

        Parameters
        ----------
        joint : Mixture
            Every part before with every hypothesis of the visit.
        hypotheses : sequence of Hypothesis
            Of the visit.
        number : int
            Of the visit.
        """
        kinds = list(dict.fromkeys(h.kind for h in hypotheses if h.kind))
        of_kind = np.array([[float(h.kind == kind) for kind in kinds] for h in hypotheses])
        blunders = [*self._blunders, *((kind, number) for kind in kinds)]
        # each with the weight that it has in every part of the joint mixture
        chances = np.concatenate(
            [joint.weights.sum(axis=1) @ self._given, joint.weights.sum(axis=0) @ of_kind]
        )
        found = []
        for place, (kind, visit) in enumerate(blunders):
            if chances[place] >= (LEAST if visit >= number - 1 else LEAST_EARLIER):
                earlier = place < len(self._blunders)
                given = (
                    self._given[:, place, None]
                    if earlier
                    else of_kind[None, :, place - len(self._blunders)]
                )
                found.append(_doubt(joint, given, kind, visit))
        return tuple(found)

    def merged(self, origins: Origins, hypotheses: Sequence[Hypothesis], number: int) -> None:
        """Follow the parts of the joint mixture into those that it was merged to."""
        kinds = list(dict.fromkeys(h.kind for h in hypotheses if h.kind))
        mine = [hypotheses[place].kind for place in origins.hypotheses]
        fresh = np.array([[float(one == kind) for kind in kinds] for one in mine])
        given = np.concatenate(
            [origins.shares @ self._given, fresh.reshape(len(mine), len(kinds))], axis=1
        )
        blunders = [*self._blunders, *((kind, number) for kind in kinds)]
        keep = given.max(axis=0, initial=0.0) > LEAST
        self._blunders = [one for one, kept in zip(blunders, keep, strict=True) if kept]
        self._given = given[:, keep]


def _doubt(joint: Mixture, given: Array, kind: str, visit: int) -> Doubt:
    """One blunder, by its probability given each part and hypothesis of the joint mixture."""
    weights = joint.weights * given
    chance = float(weights.sum())
    share = weights / chance
    heights = joint.means[..., HEIGHT]
    mean = float(np.sum(share * heights))
    spread = joint.covariances[..., HEIGHT, HEIGHT] + (heights - mean) ** 2
    return Doubt(kind, visit, min(chance, 1.0), mean, math.sqrt(float(np.sum(share * spread))))
