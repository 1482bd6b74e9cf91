"""One value with its uncertainty, and what of it each named source contributes.

A measured value errs by a sum of errors, each of a named source: y = value + sum_s c_s z_s, with
z_s of mean zero and variance one, independent of one another (JCGM 100:2008, 5.1 and F.1.2: what
two results share is one input of both). The contributions c_s are signed. So two quantities that
name the same source are correlated by it without being told, what they share cancels in a
difference, and two independent fits, which are two sources, do not.

Numpy and :mod:`uncertainties` are imported only where a formula is handed over to them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fringe.format import plus_minus
from fringe.student_t import coverage_factor, effective_dof


@dataclass(frozen=True)
class Source:
    """What errs, and of whom.

    Attributes
    ----------
    what : str
        `wavelength`, `edge`, `plate_radius`, `plate_form`, `diameter`, `view`, `light`, `fit`,
        `form`, `grid`, `temperature`, `repeatability`, `spherometer_zero`, ...
    of : str
        The lamp, the plate, the photograph whose error it is. Errors of one kind and of one
        owner are one error.
    dof : float or None
        Degrees of freedom behind its standard uncertainty; None: taken as known.
    """

    what: str
    of: str = ""
    dof: float | None = None


@dataclass(frozen=True)
class Quantity:
    """A value, its unit, and the signed contribution of each source to its standard uncertainty.

    Attributes
    ----------
    value : float
        In `unit`.
    unit : str
        `fringes`, `mm`, `um`, `nm`, or '' for a plain number.
    parts : tuple of (Source, float)
        Each source once, with its signed contribution [unit].
    dof : float or None
        Effective degrees of freedom of `u`; None: unlimited.
    """

    value: float
    unit: str = ""
    parts: tuple[tuple[Source, float], ...] = field(default=(), repr=False)
    dof: float | None = None

    @staticmethod
    def of(value: float, unit: str, parts: Mapping[Source, float] | None = None) -> Quantity:
        """Make a quantity, its sources in order; its degrees of freedom follow from theirs."""
        given = sorted((parts or {}).items(), key=lambda part: (part[0].what, part[0].of))
        kept = tuple((source, float(c)) for source, c in given if c != 0)
        return Quantity(float(value), unit, kept, _dof_of_sources(kept))

    @property
    def contributions(self) -> dict[Source, float]:
        """Signed contribution of each source [unit]."""
        return dict(self.parts)

    @property
    def u(self) -> float:
        """Standard uncertainty [unit]."""
        return math.hypot(*(c for _, c in self.parts))

    @property
    def u95(self) -> float:
        """Half-width of the 95 % interval, by Student's t [unit]."""
        return half_width(self.u, self.dof)

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the 95 % interval [unit]."""
        return self.value - self.u95, self.value + self.u95

    @property
    def shares(self) -> dict[Source, float]:
        """Part of the variance that is each source's; they add up to one, largest first."""
        variance = self.u**2
        ordered = sorted(self.parts, key=lambda part: -abs(part[1]))
        return {source: c * c / variance for source, c in ordered}

    def u_of(self, *kinds: str) -> float:
        """Standard uncertainty from the sources of these kinds alone [unit]."""
        return math.hypot(*(c for source, c in self.parts if source.what in kinds))

    def without(self, *kinds: str) -> Quantity:
        """The same value as if these kinds of sources did not err."""
        kept = {source: c for source, c in self.parts if source.what not in kinds}
        return Quantity.of(self.value, self.unit, kept)

    def added(self, source: Source, contribution: float) -> Quantity:
        """The same value with one more error; added to what the source does already [unit]."""
        more = Quantity.of(0.0, self.unit, {source: contribution})
        return combination([(1.0, self), (1.0, more)], self.unit)

    def text(self, *, signed: bool = False) -> str:
        """Value ± U with its unit."""
        return plus_minus(self.value, self.u95, self.unit, signed=signed)

    def __add__(self, other: Quantity | float) -> Quantity:
        """Sum; what both share adds up."""
        if isinstance(other, Quantity):
            return combination([(1.0, self), (1.0, other)], self.unit)
        return replace(self, value=self.value + other)

    def __sub__(self, other: Quantity | float) -> Quantity:
        """Difference; what both share cancels."""
        if isinstance(other, Quantity):
            return combination([(1.0, self), (-1.0, other)], self.unit)
        return replace(self, value=self.value - other)

    def __neg__(self) -> Quantity:
        """The other sign."""
        return self * -1.0

    def __mul__(self, factor: float) -> Quantity:
        """A multiple in the same unit."""
        return combination([(factor, self)], self.unit)

    __rmul__ = __mul__

    def __truediv__(self, divisor: float) -> Quantity:
        """A fraction in the same unit."""
        return self * (1.0 / divisor)

    def __abs__(self) -> Quantity:
        """The magnitude; the errors turn with the sign."""
        return -self if self.value < 0 else self


def half_width(u: float, dof: float | None = None) -> float:
    """Half-width of the two-sided 95 % interval of a standard uncertainty."""
    return coverage_factor(dof) * u


def half_width_if_any(u: float | None, dof: float | None = None) -> float | None:
    """As :func:`half_width`; None where there is no uncertainty."""
    return None if u is None else half_width(u, dof)


def standard(u95: float, dof: float | None = None) -> float:
    """Standard uncertainty of a half-width of a two-sided 95 % interval."""
    return u95 / coverage_factor(dof)


def standard_if_any(u95: float | None, dof: float | None = None) -> float | None:
    """As :func:`standard`; None where there is no half-width."""
    return None if u95 is None else standard(u95, dof)


def combination(terms: Sequence[tuple[float, Quantity]], unit: str) -> Quantity:
    """Linear combination sum of factor times quantity, contributions of each source added.

    The degrees of freedom are the fewer of what the sources and what the terms as wholes give
    (Welch and Satterthwaite), since a term may stand on fewer than its sources tell.
    """
    total: dict[Source, float] = {}
    for factor, one in terms:
        for source, c in one.parts:
            total[source] = total.get(source, 0.0) + factor * c
    made = Quantity.of(math.fsum(factor * one.value for factor, one in terms), unit, total)
    if not made.parts:
        return made
    if len(terms) == 1:
        return replace(made, dof=terms[0][1].dof)
    wholes = effective_dof([((f * one.u) ** 2, one.dof, "") for f, one in terms], made.u)
    known = [dof for dof in (made.dof, wholes) if dof is not None]
    return replace(made, dof=min(known, default=None))


def covariance(first: Quantity, second: Quantity) -> float:
    """Covariance by the sources that both name [product of the units]."""
    other = second.contributions
    return math.fsum(c * other.get(source, 0.0) for source, c in first.parts)


def correlation(first: Quantity, second: Quantity) -> float:
    """Correlation coefficient by the sources that both name; 0 where one of them is exact."""
    u = first.u * second.u
    return covariance(first, second) / u if u > 0 else 0.0


def weighted_mean(quantities: Iterable[Quantity]) -> Quantity:
    """Mean with the weights 1/u^2, each by its own uncertainty; what they share stays shared.

    Parameters
    ----------
    quantities : iterable of Quantity
        At least one, of one unit. An exact one decides alone.
    """
    given = list(quantities)
    exact = next((one for one in given if one.u == 0), None)
    if exact is not None:
        return exact
    total = math.fsum(1 / one.u**2 for one in given)
    return combination([(1 / one.u**2 / total, one) for one in given], given[0].unit)


def evaluate(function: Callable[..., float], quantities: Sequence[Quantity], unit: str) -> Quantity:
    """A function of quantities, errors carried to first order (JCGM 100:2008, 5.1).

    Parameters
    ----------
    function : callable
        Takes one float a quantity, in their order.
    quantities : sequence of Quantity
        The arguments, correlated by the sources they share.
    unit : str
        Unit of the result.
    """
    at = [one.value for one in quantities]
    slopes = [slope(function, at, i, one.u) for i, one in enumerate(quantities)]
    made = combination(list(zip(slopes, quantities, strict=True)), unit)
    return replace(made, value=float(function(*at)))


def slope(function: Callable[..., float], at: Sequence[float], i: int, u: float) -> float:
    """Central difference over a step that rounding and curvature both leave alone.

    Parameters
    ----------
    function : callable
        Of as many floats as `at` has.
    at : sequence of float
        Where.
    i : int
        Which argument.
    u : float
        A change of it that matters; 0 for an exact one, whose slope is not needed.
    """
    if u == 0:
        return 0.0
    step = max(min(u, abs(at[i]) * 1e-5 or u), abs(at[i]) * 1e-9)
    ends = [float(function(*at[:i], at[i] + way * step, *at[i + 1 :])) for way in (1, -1)]
    return (ends[0] - ends[1]) / (2 * step)


def to_ufloats(quantities: Sequence[Quantity]) -> tuple[list[Any], dict[Source, Any]]:
    """Hand quantities over to :mod:`uncertainties`, with one variable a source for all of them.

    Returns
    -------
    numbers : list
        One number a quantity, correlated by the variables they share; a float for an exact one.
    variables : dict
        The variable of each source, of value zero and standard deviation one; what
        :func:`from_ufloat` needs to find the way back.
    """
    from uncertainties import ufloat

    sources = dict.fromkeys(source for one in quantities for source, _ in one.parts)
    variables = {source: ufloat(0.0, 1.0, tag=f"{source.what} {source.of}") for source in sources}
    numbers = [
        sum((c * variables[source] for source, c in one.parts), start=one.value)
        for one in quantities
    ]
    return numbers, variables


def from_ufloat(number: Any, variables: Mapping[Source, Any], unit: str) -> Quantity:
    """Take a number of :mod:`uncertainties` back, with the contribution of each source.

    Parameters
    ----------
    number : ufloat
        Made of the numbers that :func:`to_ufloats` gave, by any formula.
    variables : mapping
        As from :func:`to_ufloats`.
    unit : str
        Unit of the result.
    """
    from uncertainties import nominal_value

    slopes = getattr(number, "derivatives", {})
    parts = {source: slopes.get(variable, 0.0) for source, variable in variables.items()}
    return Quantity.of(nominal_value(number), unit, parts)


def _dof_of_sources(parts: Sequence[tuple[Source, float]]) -> float | None:
    u = math.hypot(*(c for _, c in parts))
    return effective_dof([(c * c, source.dof, "") for source, c in parts], u) if u else None
