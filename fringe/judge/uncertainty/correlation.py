"""How the errors of several results go together, by the inputs that they share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fringe.judge.uncertainty.budget import Budget, Row


@dataclass(frozen=True)
class Correlation:
    """Correlation matrix of some results.

    Attributes
    ----------
    names : tuple of str
        Of the results.
    matrix : tuple of tuple of float
        In that order; ones on the diagonal.
    """

    names: tuple[str, ...]
    matrix: tuple[tuple[float, ...], ...]

    def of(self, first: str, second: str) -> float:
        """Correlation coefficient of two results."""
        return self.matrix[self.names.index(first)][self.names.index(second)]

    def among(self, names: Sequence[str]) -> Correlation:
        """The same of some results only, in their order."""
        return Correlation(
            tuple(names), tuple(tuple(self.of(one, other) for other in names) for one in names)
        )

    def to_json(self) -> dict[str, object]:
        """Return the names and the matrix, a list a row."""
        return {"names": list(self.names), "matrix": [list(row) for row in self.matrix]}


def correlation_of(groups: Sequence[Sequence[Budget]]) -> Correlation:
    """Correlations of results whose inputs are independent of one another.

    Parameters
    ----------
    groups : sequence of sequence of Budget
        Results of one group have all their inputs from one place, as one contact or one
        spherometer: an input of one name is one error. From group to group only inputs with
        the same owner (`Input.of`) are, as the radius of one plate.

    Returns
    -------
    Correlation
        First order: r = sum c1 c2 / (u1 u2) over the shared inputs, c the signed contributions
        (JCGM 100:2008, F.1.2.3, equation (F.1)).
    """
    parts = [
        (one, {_error(row, str(place)): row.contribution for row in one.rows})
        for place, group in enumerate(groups)
        for one in group
    ]
    matrix = tuple(
        tuple(
            1.0 if one is other else _coefficient(one.u * other.u, mine, theirs)
            for other, theirs in parts
        )
        for one, mine in parts
    )
    return Correlation(tuple(one.name for one, _ in parts), matrix)


def _error(row: Row, place: str) -> tuple[str, str, bool]:
    """Name and owner of an input's error; without an owner it is of its place alone."""
    owner = row.input.of
    return (row.input.name, owner or place, bool(owner))


def _coefficient(
    product: float,
    mine: dict[tuple[str, str, bool], float],
    theirs: dict[tuple[str, str, bool], float],
) -> float:
    if product == 0:
        return 0.0
    shared = math.fsum(c * theirs.get(error, 0.0) for error, c in mine.items())
    return min(1.0, max(-1.0, shared / product))
