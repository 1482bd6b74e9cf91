"""Generalised least squares over evidence of every kind, with what contradicts it named.

Quantities that several pieces of evidence share (a plate's radius, a spherometer's ring, a
lamp's wavelength) are unknowns like any other, with what is known of them beforehand as evidence
of its own. So all correlations follow by themselves, and an error that two pieces of evidence
share cancels where it does in the glass.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput

Array = NDArray[np.float64]
Model = Callable[[Mapping[str, float]], float]

# The evidence contradicts itself where so large a chi-square has less than this probability,
# and a piece of it is suspected beyond so many standard uncertainties from what the rest says.
IMPROBABLE, SUSPECT = 0.01, 2.6
# The rest holds together where so large a chi-square has at least this probability.
_HOLDS = 0.05
_SUSPECTED = ("contact", "spherometer", "certificate")
_MOST_NAMED = 6


@dataclass(frozen=True)
class Unknown:
    """One unknown of the estimate.

    Attributes
    ----------
    name : str
        Its name.
    start : float
        Where the search begins.
    scale : float
        A step that matters, in its unit; greater than zero.
    """

    name: str
    start: float
    scale: float


@dataclass(frozen=True)
class Evidence:
    """One measured value, and what it would be for given unknowns.

    Attributes
    ----------
    name : str
        What was measured, when and on what, for the person.
    value, u : float
        Measured value and its standard uncertainty, in `unit`.
    model : callable
        From a mapping of unknowns to the value they lead to.
    unit : str
        Unit of the value.
    kind : str
        `contact`, `spherometer`, `certificate`; `shared` for an error that pieces of evidence
        have in common, which is never suspected; `assumed` for what only keeps an unknown
        within reason and is no evidence.
    turned : float or None
        What the value would be, had the contact been at the other place; None where it has no
        sense.
    surface, visit : str, int or None
        Surface and number of the visit that it is from, where it is from one.
    """

    name: str
    value: float
    u: float
    model: Model = field(repr=False)
    unit: str = ""
    kind: str = "contact"
    turned: float | None = None
    surface: str = ""
    visit: int | None = None

    @property
    def visit_text(self) -> str:
        """Its name, after the visit that it is from."""
        if self.visit is None:
            return self.name
        return f"{self.whose} ({self.name})"

    @property
    def whose(self) -> str:
        """The visit that it is from, as `visit 4 of convex 1`; its name where it is from none."""
        return self.name if self.visit is None else f"visit {self.visit} of {self.surface}"


@dataclass(frozen=True)
class Judged:
    """One piece of evidence held against all of it.

    Attributes
    ----------
    evidence : Evidence
        The piece.
    expected : float
        What the estimate expects in its place.
    off : float
        Distance from what all other evidence says, in standard uncertainties of that
        distance; zero where nothing else speaks of it.
    leverage : float
        Share of itself that it decides: 1 where nothing else speaks of it.
    """

    evidence: Evidence
    expected: float
    off: float
    leverage: float


@dataclass(frozen=True)
class Estimate:
    """All unknowns, and how the evidence hangs together.

    Attributes
    ----------
    names : tuple of str
        The unknowns.
    values : ndarray, shape (P,)
        Their values.
    covariance : ndarray, shape (P, P)
        Their covariance, from the stated uncertainties, not scaled by the residuals.
    judged : tuple of Judged
        Each piece of evidence, in its order.
    chi2, dof, probability : float, int, float
        Weighted sum of squares, evidence less unknowns, and the probability of so large a sum.
    contradictions : tuple of str
        Which pieces of evidence cannot be true together, in words; empty if all can.
    suspects : tuple of int
        Numbers of the pieces of evidence without any one of which the rest holds together.
    turned : tuple of int
        Numbers of the contacts any one of which, had it been at the other place, would make
        all evidence hold together.
    """

    names: tuple[str, ...]
    values: Array
    covariance: Array
    judged: tuple[Judged, ...]
    chi2: float
    dof: int
    probability: float
    contradictions: tuple[str, ...]
    suspects: tuple[int, ...] = ()
    turned: tuple[int, ...] = ()

    @property
    def birge_ratio(self) -> float:
        """As :func:`birge_ratio`, of all this evidence."""
        return birge_ratio(self.chi2, self.dof, self.probability)

    def value(self, name: str) -> float:
        """Value of one unknown."""
        return float(self.values[self.names.index(name)])

    def u(self, name: str) -> float:
        """Standard uncertainty of one unknown."""
        i = self.names.index(name)
        return math.sqrt(max(0.0, float(self.covariance[i, i])))

    def correlation(self, first: str, second: str) -> float:
        """Correlation coefficient of two unknowns."""
        i, j = self.names.index(first), self.names.index(second)
        u = self.u(first) * self.u(second)
        return float(self.covariance[i, j] / u) if u else 0.0

    def of(self, model: Model) -> tuple[float, float]:
        """Value and standard uncertainty of a function of the unknowns, to first order."""
        point = dict(zip(self.names, map(float, self.values), strict=True))
        slopes = np.zeros(len(self.names))
        for i, name in enumerate(self.names):
            step = math.sqrt(max(float(self.covariance[i, i]), 0.0))
            if step:
                step = max(min(step, 1e-5 * abs(point[name]) or step), 1e-9 * abs(point[name]))
                up, down = (model({**point, name: point[name] + s}) for s in (step, -step))
                slopes[i] = (up - down) / (2 * step)
        return model(point), math.sqrt(max(0.0, float(slopes @ self.covariance @ slopes)))


def birge_ratio(chi2: float, dof: int, probability: float) -> float:
    """By how much all uncertainties are stated too small, where evidence contradicts itself.

    The square root of chi-square over its degrees of freedom where so large a chi-square is
    improbable; else 1, since it is never less certain that evidence is as good as it says (Birge,
    Phys. Rev. 40, 207 (1932), and as CODATA widens; both from memory).
    """
    if dof < 1 or probability >= IMPROBABLE:
        return 1.0
    return max(1.0, math.sqrt(chi2 / dof))


def estimates_without(
    unknowns: Sequence[Unknown], evidence: Sequence[Evidence], suspects: Iterable[int]
) -> list[Estimate | None]:
    """Estimates without one of the suspects each; None where what it alone told is not known."""
    found: list[Estimate | None] = []
    for i in suspects:
        try:
            found.append(estimate(unknowns, [*evidence[:i], *evidence[i + 1 :]]))
        except BadInput:
            found.append(None)
    return found


def estimate(unknowns: Sequence[Unknown], evidence: Sequence[Evidence]) -> Estimate:
    """Estimate unknowns from all evidence at once.

    Parameters
    ----------
    unknowns : sequence of Unknown
        What is sought; each must be bound by some evidence.
    evidence : sequence of Evidence
        Independent of one another; what pieces of evidence share is an unknown.

    Returns
    -------
    Estimate

    Raises
    ------
    BadInput
        If the evidence does not determine an unknown, or lies outside what can be.
    """
    found = _estimate(unknowns, evidence)
    return _with_senses_asked(found, unknowns, evidence) if found.contradictions else found


def _estimate(unknowns: Sequence[Unknown], evidence: Sequence[Evidence]) -> Estimate:
    from scipy.optimize import least_squares

    names = tuple(one.name for one in unknowns)
    start = np.array([one.start for one in unknowns])
    scale = np.array([one.scale for one in unknowns])

    def residuals(x: Array) -> Array:
        point = dict(zip(names, map(float, start + scale * x), strict=True))
        return np.array([(one.value - one.model(point)) / one.u for one in evidence])

    method = "lm" if len(evidence) >= len(names) else "trf"
    found = least_squares(residuals, np.zeros(len(names)), method=method, xtol=1e-14, ftol=1e-14)
    # a slope of our own: the solver's is one-sided, and power has a bend at zero
    x: Array = np.asarray(found.x, dtype=np.float64)
    jacobian = _jacobian(residuals, x)
    free = _undetermined(jacobian)
    if free:
        raise BadInput(f"the evidence does not tell {', '.join(names[i] for i in free)}")
    inverse: Array = np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64)
    covariance = inverse * np.outer(scale, scale)
    return _judge(names, start + scale * x, covariance, evidence, residuals(x), jacobian, inverse)


def _with_senses_asked(
    found: Estimate, unknowns: Sequence[Unknown], evidence: Sequence[Evidence]
) -> Estimate:
    """Ask of each contact that is far off whether all would hold with it at the other place."""
    turned = []
    for i, one in enumerate(found.judged):
        piece = one.evidence
        if piece.turned is None or abs(one.off) < SUSPECT:
            continue
        other = replace(piece, value=piece.turned)
        again = _estimate(unknowns, [*evidence[:i], other, *evidence[i + 1 :]])
        if again.probability >= _HOLDS:
            turned.append(i)
    if not turned:
        return found
    # far off, first order misjudges what the rest says without it; turned, it was computed
    text = found.contradictions[0] if found.suspects else _suspected_text(found.judged, turned)
    text = f"{text}; {_turned_text([evidence[i] for i in turned])}"
    suspects = found.suspects or tuple(turned)
    return replace(found, contradictions=(text,), suspects=suspects, turned=tuple(turned))


def _turned_text(contacts: Sequence[Evidence]) -> str:
    if len(contacts) == 1:
        one = contacts[0]
        place = "edge" if one.value > 0 else "centre"
        return f"with the contact of {one.whose} at the {place} it would fit: is the sense right?"
    names = " or ".join(one.whose for one in contacts[:_MOST_NAMED])
    return f"with the contact of {names} at the other place it would fit: is the sense right?"


def _jacobian(residuals: Callable[[Array], Array], x: Array) -> Array:
    columns = []
    for i in range(len(x)):
        step = np.zeros_like(x)
        step[i] = 1e-4
        columns.append((residuals(x + step) - residuals(x - step)) / 2e-4)
    return np.column_stack(columns)


def _undetermined(jacobian: Array) -> list[int]:
    """Unknowns that the evidence leaves open."""
    size = np.linalg.norm(jacobian, axis=0)
    if (size == 0).any():
        return [int(i) for i in np.flatnonzero(size == 0)]
    _, values, rows = np.linalg.svd(jacobian / size, full_matrices=False)
    weak = values < 1e-9 * values[0]
    if len(jacobian) < jacobian.shape[1]:
        return list(range(jacobian.shape[1]))
    return [int(np.argmax(np.abs(row))) for row in rows[weak]]


def _judge(
    names: tuple[str, ...],
    values: Array,
    covariance: Array,
    evidence: Sequence[Evidence],
    off: Array,
    jacobian: Array,
    inverse: Array,
) -> Estimate:
    leverage = np.clip(np.einsum("ei,ij,ej->e", jacobian, inverse, jacobian), 0.0, 1.0)
    free = np.sqrt(np.maximum(1.0 - leverage, 0.0))
    # the distance from what all others say, when this piece is left out
    deleted = np.divide(off, free, out=np.zeros_like(off), where=free > 1e-4)
    judged = tuple(
        Judged(one, float(one.value - r * one.u), float(z), float(h))
        for one, r, z, h in zip(evidence, off, deleted, leverage, strict=True)
    )
    # what is only assumed is no evidence, and pays for the unknowns that it alone decides
    real = np.array([one.kind != "assumed" for one in evidence])
    chi2 = float(off[real] @ off[real])
    dof = round(int(real.sum()) - len(names) + float(leverage[~real].sum()))
    probability = _tail(chi2, dof)
    contradictions, suspects = _contradictions(judged, chi2, dof, probability)
    return Estimate(
        names, values, covariance, judged, chi2, dof, probability, contradictions, suspects
    )


def _tail(chi2: float, dof: int) -> float:
    if dof < 1:
        return 1.0
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2))


def _contradictions(
    judged: Sequence[Judged], chi2: float, dof: int, probability: float
) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """What cannot be true together, in words; and which pieces it might be, by number."""
    if probability >= IMPROBABLE:
        return (), ()
    far = [
        i
        for i, one in enumerate(judged)
        if abs(one.off) >= SUSPECT and one.evidence.kind in _SUSPECTED
    ]
    far.sort(key=lambda i: -abs(judged[i].off))
    # without one of these, the rest holds together
    alone = [i for i in far if _tail(chi2 - judged[i].off ** 2, dof - 1) >= _HOLDS]
    if not far:
        return ("the evidence as a whole does not hold together; no piece of it stands out",), ()
    if not alone:
        names = " and ".join(judged[i].evidence.visit_text for i in far[:2])
        return (f"more than one piece of evidence is wrong; farthest from the rest: {names}",), ()
    worst = judged[alone[0]]
    close = tuple(sorted(i for i in alone if abs(judged[i].off) > 0.8 * abs(worst.off)))
    return (_suspected_text(judged, close),), close


def _suspected_text(judged: Sequence[Judged], close: Sequence[int]) -> str:
    """Which of these pieces contradicts the rest, in words."""
    if len(close) == 1:
        worst = judged[close[0]]
        by = f"{abs(worst.off):.1f} standard uncertainties"
        return f"{worst.evidence.visit_text} contradicts all the rest, by {by}"
    names = "; ".join(judged[i].evidence.visit_text for i in close[:_MOST_NAMED])
    return (
        f"these contradict each other, and the rest does not tell which of them is wrong: {names}"
    )


def to_json(one: Estimate) -> dict[str, object]:
    """Return the unknowns, the evidence and how it hangs together, with plain numbers."""
    return {
        "unknowns": {name: {"value": one.value(name), "u": one.u(name)} for name in one.names},
        "evidence": [
            {
                "name": each.evidence.name,
                "kind": each.evidence.kind,
                "value": each.evidence.value,
                "u": each.evidence.u,
                "unit": each.evidence.unit,
                "expected": each.expected,
                "off": each.off,
                "leverage": each.leverage,
                "surface": each.evidence.surface or None,
                "visit": each.evidence.visit,
                "fits_turned": None if each.evidence.turned is None else i in one.turned,
            }
            for i, each in enumerate(one.judged)
        ],
        "chi2": one.chi2,
        "dof": one.dof,
        "probability": one.probability,
        "contradictions": list(one.contradictions),
    }
