"""Which blunders may have been made, visit by visit: carried along with the parts of a mixture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.belief import Doubt
from fringe.judge.state.hypotheses import Hypothesis
from fringe.judge.state.mixture import Mixture, Origins
from fringe.judge.state.shop import HEIGHT

Array = NDArray[np.float64]

LEAST = 1e-3  # probability of a blunder that is told
LEAST_EARLIER = 0.01  # of a blunder before the last two visits
# Of so many visits blunders are looked for; no later visit tells more of an earlier one, and a
# long log would take longer with each visit.
REMEMBERED = 50


class Doubts:
    """Probabilities of blunders given each part of a mixture."""

    def __init__(self) -> None:
        self._blunders: list[tuple[str, int]] = []
        self._given = np.zeros((1, 0))  # (parts, blunders)

    def kept(self) -> tuple[list[tuple[str, int]], Array]:
        """The blunders, and their probabilities given each part."""
        return self._blunders, self._given

    def go_on(self, blunders: Sequence[Sequence[Any]], given: Array) -> None:
        """Undo :meth:`kept`, as by way of JSON."""
        self._blunders, self._given = [(kind, visit) for kind, visit in blunders], given

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
        fresh = np.array([[float(h.kind == kind) for kind in kinds] for h in hypotheses])
        earlier = [
            (kind, visit, LEAST if visit >= number - 1 else LEAST_EARLIER)
            for kind, visit in self._blunders
        ]
        return (
            *_told(joint, self._given, 1, earlier),
            *_told(
                joint, fresh.reshape(len(hypotheses), -1), 0, [(k, number, LEAST) for k in kinds]
            ),
        )

    def merged(self, origins: Origins, hypotheses: Sequence[Hypothesis], number: int) -> None:
        """Follow the parts of the joint mixture into those that it was merged to."""
        kinds = list(dict.fromkeys(h.kind for h in hypotheses if h.kind))
        mine = [hypotheses[place].kind for place in origins.hypotheses]
        fresh = np.array([[float(one == kind) for kind in kinds] for one in mine])
        given = np.concatenate(
            [origins.shares @ self._given, fresh.reshape(len(mine), len(kinds))], axis=1
        )
        blunders = [*self._blunders, *((kind, number) for kind in kinds)]
        recent = sorted({visit for _, visit in blunders})[-REMEMBERED:]
        keep = given.max(axis=0, initial=0.0) > LEAST
        keep &= np.array([visit >= recent[0] for _, visit in blunders], dtype=bool)
        self._blunders = [one for one, kept in zip(blunders, keep, strict=True) if kept]
        self._given = given[:, keep]


def _told(
    joint: Mixture, given: Array, summed: int, blunders: Sequence[tuple[str, int, float]]
) -> Iterator[Doubt]:
    """The blunders that are likely enough to be told.

    Parameters
    ----------
    joint : Mixture
        Of parts (A, H): each part before with each hypothesis of the visit.
    given : ndarray, shape (A, B) or (H, B)
        Probability of each blunder given the part before, or the hypothesis.
    summed : int
        The axis of `joint` that `given` does not have.
    blunders : sequence of (str, int, float)
        Kind, visit, and the least probability that is told.
    """
    weights, heights = joint.weights, joint.means[..., HEIGHT]
    # from near all of them, so that the squares lose no digits
    middle = float(np.sum(weights * heights))
    off = heights - middle
    squares = joint.covariances[..., HEIGHT, HEIGHT] + off**2
    moments = np.stack([(weights * one).sum(axis=summed) for one in (1.0, off, squares)])
    for (kind, visit, least), (chance, mean, square) in zip(
        blunders, (moments @ given).T.tolist(), strict=True
    ):
        if chance >= least:
            mean, spread = mean / chance, square / chance - (mean / chance) ** 2
            u = math.sqrt(max(spread, 0.0))
            yield Doubt(kind, visit, min(chance, 1.0), middle + mean, u)
