"""What is believed of a surface, kept between two runs: hundreds of visits are gone through once.

A state is taken up again only where its key fits: it stands for the shop that taught the filter,
the stages that it knows, and each visit that it has taken in. So it goes on as if all visits were
gone through, to the last bit.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.observed import ObservedVisit, OtherSurface
from fringe.judge.state.shop import Layout

MANY = 24  # visits; fewer are gone through as quickly as they are looked up
KEPT = 3  # states of a surface: of its last visits, which are those that are corrected

Arrays = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class FilterState:
    """A filter after some visits.

    Attributes
    ----------
    visits : int
        How many it has taken in.
    key : str
        Stands for these, and for all else that it hangs on.
    arrays : mapping of str to ndarray
    facts : mapping
        All else, in a form that JSON has.
    """

    visits: int
    key: str
    arrays: Arrays
    facts: Mapping[str, Any]


class Memory(Protocol):
    """Where the states of one surface are kept."""

    def recall(self) -> Sequence[FilterState]:
        """Those that are kept; none where they cannot be read."""

    def keep(self, states: Sequence[FilterState]) -> None:
        """Keep these and no others."""


def keys(
    visits: Sequence[ObservedVisit],
    layout: Layout,
    others: Sequence[OtherSurface],
    pit_factor: float | None,
) -> Iterator[str]:
    """Key of the state after no visit, after the first, and so on."""
    taught = [other.visits for other in others]
    digest = hashlib.sha256(repr((layout, taught, pit_factor)).encode())
    yield digest.hexdigest()
    for visit in visits:
        digest.update(repr(visit).encode())
        yield digest.hexdigest()
