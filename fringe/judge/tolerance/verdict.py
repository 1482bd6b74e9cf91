"""Is the surface proven inside its tolerance, proven outside, or neither?

Decision rules after JCGM 106:2012 (probability of conformity, guarded acceptance and
guarded rejection). The rule is always an explicit input:

``simple``
    Simple acceptance: the measured value alone decides. At the limit itself every second
    decision is wrong.
``guard95``
    Guarded by 1.645 u on each side (the one-sided 95 % point): inside is said only where it is
    at least 95 % probable, outside only where the whole 95 % interval lies outside.
``shrinkU``
    The limits moved by the expanded uncertainty U = 2 u, the older and stricter habit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from fringe.errors import BadInput
from fringe.format import MINUS, figures, plus_minus
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict_words import limits_phrase, state_phrase
from fringe.quantity import half_width
from fringe.student_t import student_cdf, student_quantile
from fringe.units import times

RULES = ("simple", "guard95", "shrinkU")
STATES = ("inside", "unproven", "outside")  # from best to worst
# the one-sided 95 % point, and the point that U = 2 u leaves above it
_ONE_SIDED = {"simple": 0.5, "guard95": 0.95, "shrinkU": 0.5 * math.erfc(-2 / math.sqrt(2))}


@dataclass(frozen=True)
class Tolerance:
    """What a surface is allowed, about its nominal form.

    Attributes
    ----------
    power_fringes : float or None
        Largest power of either sign [fringe].
    irregularity_fringes : float or None
        Largest irregularity, peak to valley [fringe].
    radius_difference_mm : float or None
        Largest radius difference of either sign [mm].
    wavelength_nm : float or None
        Wavelength that the fringes are counted in [nm]; None: that of the reading.
    rule : {'simple', 'guard95', 'shrinkU'}
        Decision rule.
    """

    power_fringes: float | None = None
    irregularity_fringes: float | None = None
    radius_difference_mm: float | None = None
    wavelength_nm: float | None = None
    rule: str = "guard95"

    def __post_init__(self) -> None:
        """Refuse limits that allow nothing, and unknown rules."""
        _known_rule(self.rule)
        for name in (
            "power_fringes",
            "irregularity_fringes",
            "radius_difference_mm",
            "wavelength_nm",
        ):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise BadInput(f"tolerance: {name} must be greater than zero, not {value:g}")

    @property
    def limits_anything(self) -> bool:
        """Whether any quantity has a limit."""
        limits = (self.power_fringes, self.irregularity_fringes, self.radius_difference_mm)
        return limits != (None, None, None)

    def to_json(self) -> dict[str, object]:
        """Return the limits and the rule under their own names."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True)
class Verdict:
    """A decision on one quantity, or on a surface as a whole.

    Attributes
    ----------
    state : {'inside', 'outside', 'unproven'}
        What is proven under the rule.
    probability : float or None
        Probability of conformity, 0 to 1; None where it hangs on what was not measured. Of a
        surface that is outside already, that of the limits whose quantities were measured.
    reason : str
        One line: the measured value, the limit and the guard band.
    quantity : str
        What was judged: `power`, `irregularity`, `radius difference` or `surface`.
    value, u : float or None
        Measured value and its standard uncertainty, in the quantity's unit.
    lower, upper : float or None
        Tolerance limits, in the same unit; None where that side is free.
    dof : float or None
        Degrees of freedom of `u`; None for the normal distribution.
    rule : str
        Decision rule.
    parts : tuple of Verdict
        For a surface, the verdict of each quantity.
    """

    state: str
    probability: float | None
    reason: str
    quantity: str = ""
    value: float | None = None
    u: float | None = None
    lower: float | None = None
    upper: float | None = None
    dof: float | None = None
    rule: str = "guard95"
    parts: tuple[Verdict, ...] = field(default=(), repr=False)

    def to_json(self) -> dict[str, object]:
        """Return state, probability and reason, with the parts of a surface."""
        values: dict[str, Any] = {
            "state": self.state,
            "probability": self.probability,
            "reason": self.reason,
            "rule": self.rule,
        }
        if self.quantity:
            values["quantity"] = self.quantity
        if self.parts:
            values["parts"] = [part.to_json() for part in self.parts]
        return values


def conformity_probability(
    value: float,
    u: float,
    lower: float | None,
    upper: float | None,
    dof: float | None = None,
) -> float:
    """Probability that the true value lies between the limits.

    Parameters
    ----------
    value, u : float
        Measured value and its standard uncertainty, in one unit.
    lower, upper : float or None
        Tolerance limits in the same unit; None where that side is free.
    dof : float or None
        Degrees of freedom of `u` (Student t); None for the normal distribution.

    Returns
    -------
    float
        Between 0 and 1.

    References
    ----------
    JCGM 106:2012, 7.2.2, equation (7) in its normal form (numbering from memory).
    """
    if u == 0:
        above = lower is None or value >= lower
        below = upper is None or value <= upper
        return 1.0 if above and below else 0.0
    # each tail by itself: the difference of two numbers near one loses the small tail
    low_tail = 0.0 if lower is None else student_cdf((lower - value) / u, dof)
    high_tail = 0.0 if upper is None else student_cdf((value - upper) / u, dof)
    return min(1.0, max(0.0, 1.0 - low_tail - high_tail))


def guard_band(u: float, rule: str, dof: float | None = None) -> float:
    """Width by which a rule moves each limit: 0, 1.645 u or 2 u (Student t with `dof`)."""
    _known_rule(rule)
    return 0.0 if rule == "simple" else student_quantile(_ONE_SIDED[rule], dof) * u


def rejection_band(u: float, rule: str, dof: float | None = None) -> float:
    """How far beyond a limit a value must lie to be proven outside.

    The guard band, and at least the half-width of the 95 % interval: what is shown of a value
    that is proven outside lies outside, all of it.
    """
    band = guard_band(u, rule, dof)
    return band if rule == "simple" else max(band, half_width(u, dof))


def verdict(
    value: float,
    u: float,
    lower: float | None,
    upper: float | None,
    rule: str = "guard95",
    *,
    dof: float | None = None,
    quantity: str = "",
    unit: str = "",
) -> Verdict:
    """Decide whether a measured value is proven inside or outside its limits.

    `inside` needs the value a guard band within both limits and, since the two tails add
    up where the tolerance is narrow, the probability that the rule stands for; `outside`
    needs it a guard band beyond one limit, and its 95 % interval with it. Anything else is
    `unproven`; with `simple` there is no guard band and nothing stays unproven.

    Parameters
    ----------
    value, u : float
        Measured value and its standard uncertainty, in one unit.
    lower, upper : float or None
        Tolerance limits in the same unit; at least one must be given.
    rule : {'simple', 'guard95', 'shrinkU'}
        Decision rule, see the module.
    dof : float or None
        Degrees of freedom of `u`; None for the normal distribution.
    quantity, unit : str
        For the reason's text.

    Returns
    -------
    Verdict

    Raises
    ------
    BadInput
        If there is no limit, the limits cross, or the uncertainty is negative or no number.
    """
    state, probability = _decide(value, u, lower, upper, rule, dof)
    signed = lower is not None and lower < 0
    shown = plus_minus(value, half_width(u, dof), unit, signed=signed)
    reason = _reason(state, probability, shown, u, lower, upper, rule, dof, quantity, unit)
    return Verdict(state, probability, reason, quantity, value, u, lower, upper, dof, rule)


def _decide(
    value: float, u: float, lower: float | None, upper: float | None, rule: str, dof: float | None
) -> tuple[str, float]:
    """State and probability of conformity."""
    _check(value, u, lower, upper)
    guard = guard_band(u, rule, dof)
    probability = conformity_probability(value, u, lower, upper, dof)
    beyond_lower = -math.inf if lower is None else lower - value
    beyond_upper = -math.inf if upper is None else value - upper
    beyond = max(beyond_lower, beyond_upper)
    if rule == "simple":
        return ("inside" if beyond <= 0 else "outside"), probability
    if beyond >= rejection_band(u, rule, dof) and beyond > 0:
        return "outside", probability
    if beyond <= -guard and probability >= _needed(rule) - 1e-12:
        return "inside", probability
    return "unproven", probability


def _reason(
    state: str,
    probability: float,
    shown: str,
    u: float,
    lower: float | None,
    upper: float | None,
    rule: str,
    dof: float | None,
    quantity: str,
    unit: str,
) -> str:
    name = f"{quantity} " if quantity else ""
    text = f"{name}{shown} is {state_phrase(state, rule)} {limits_phrase(lower, upper, unit)}"
    if state != "unproven":
        return text
    guard = figures(guard_band(u, rule, dof), 2)
    return text + f": {100 * probability:.0f} % probable, the guard band is {guard}"


def surface_verdict(measured: Measured, tolerance: Tolerance) -> Verdict:
    """Judge a surface: every quantity that its tolerance limits, and the worst of them.

    The probability is that of all limits being kept together: the smaller of power's and
    radius difference's, which are one quantity said twice, times irregularity's, which is
    taken as independent of it.

    Parameters
    ----------
    measured : Measured
        Values of the surface; those of unknown sense as magnitudes.
    tolerance : Tolerance
        At least one limit.

    Returns
    -------
    Verdict
        With one part for each limit. A limit whose quantity was not measured, or whose
        uncertainty is unknown under a guarding rule, makes the surface `unproven`.

    Raises
    ------
    BadInput
        If the tolerance limits nothing, or fringes of unknown wavelength meet a tolerance
        at a stated one.
    """
    values = measured
    scale = _fringe_scale(values, tolerance)
    rule = tolerance.rule
    parts: list[Verdict] = []
    if tolerance.power_fringes is not None:
        power = times(values.power_fringes, scale)
        u = times(values.power_u_fringes, scale)
        limits = (-tolerance.power_fringes, tolerance.power_fringes)
        parts.append(_signed("power", "fringes", power, u, limits, rule, values))
    if tolerance.radius_difference_mm is not None:
        limits = (-tolerance.radius_difference_mm, tolerance.radius_difference_mm)
        difference, u = values.radius_difference_mm, values.radius_difference_u_mm
        parts.append(_signed("radius difference", "mm", difference, u, limits, rule, values))
    if tolerance.irregularity_fringes is not None:
        irregularity = times(values.irregularity_fringes, scale)
        u = times(values.irregularity_u_fringes, scale)
        upper = tolerance.irregularity_fringes
        dof = values.irregularity_dof
        parts.append(_judge("irregularity", "fringes", irregularity, u, (None, upper), rule, dof))
    if not parts:
        raise BadInput("tolerance: it limits nothing; give power, radius or irregularity")
    return _joint(parts, rule)


def both_senses(
    magnitude: float,
    u: float,
    lower: float,
    upper: float,
    rule: str = "guard95",
    *,
    dof: float | None = None,
    quantity: str = "",
    unit: str = "",
) -> Verdict:
    """Judge a value known by magnitude only: proven only where both signs agree."""
    size = abs(magnitude)
    plus, p_plus = _decide(size, u, lower, upper, rule, dof)
    minus, p_minus = _decide(-size, u, lower, upper, rule, dof)
    probability = min(p_plus, p_minus)
    shown = plus_minus(size, half_width(u, dof), unit)
    if plus == minus:
        state = plus
        reason = _reason(state, probability, shown, u, lower, upper, rule, dof, quantity, unit)
    else:
        state = "unproven"
        name = f"{quantity} " if quantity else ""
        reason = f"{name}{shown} of unknown sense: with + it is {plus}, with {MINUS} {minus}"
    return Verdict(state, probability, reason, quantity, size, u, lower, upper, dof, rule)


def _signed(
    name: str,
    unit: str,
    value: float | None,
    u: float | None,
    limits: tuple[float, float],
    rule: str,
    values: Measured,
) -> Verdict:
    if values.sense == "unknown" and value is not None and u is not None:
        return both_senses(value, u, *limits, rule, dof=values.dof, quantity=name, unit=unit)
    return _judge(name, unit, value, u, limits, rule, values.dof)


def _judge(
    name: str,
    unit: str,
    value: float | None,
    u: float | None,
    limits: tuple[float | None, float],
    rule: str,
    dof: float | None,
) -> Verdict:
    lower, upper = limits
    if value is None:
        reason = f"{name} is not measured"
    elif u is None and rule != "simple":
        reason = f"{name} has no uncertainty, so the rule {rule} can prove nothing"
    else:
        return verdict(value, u or 0.0, lower, upper, rule, dof=dof, quantity=name, unit=unit)
    return Verdict("unproven", None, reason, name, value, u, lower, upper, dof, rule)


def _joint(parts: list[Verdict], rule: str) -> Verdict:
    state = max((part.state for part in parts), key=STATES.index)
    open_ = [part for part in parts if part.probability is None]
    named = [part for part in parts if part.state == state or part in open_]
    reason = "; ".join(part.reason for part in named)
    probability = None if open_ and state != "outside" else _all_kept(parts)
    return Verdict(state, probability, reason, "surface", rule=rule, parts=tuple(parts))


def _all_kept(parts: list[Verdict]) -> float:
    """Probability that every limit whose quantity was measured is kept."""
    known = [(part.quantity, part.probability) for part in parts if part.probability is not None]
    radius_like = min((p for quantity, p in known if quantity != "irregularity"), default=1.0)
    return radius_like * math.prod(p for quantity, p in known if quantity == "irregularity")


def _fringe_scale(values: Measured, tolerance: Tolerance) -> float:
    """Factor from the reading's fringes to the tolerance's: N2 = N1 lambda1 / lambda2."""
    if tolerance.wavelength_nm is None or (
        tolerance.power_fringes is None and tolerance.irregularity_fringes is None
    ):
        return 1.0
    if values.wavelength_nm is None:
        raise BadInput("reading: its fringes have no wavelength, so no tolerance can judge them")
    return values.wavelength_nm / tolerance.wavelength_nm


def _needed(rule: str) -> float:
    # two tails of the shrinkU rule add up to the 95.45 % of U = 2 u
    return 2 * _ONE_SIDED[rule] - 1 if rule == "shrinkU" else _ONE_SIDED[rule]


def _known_rule(rule: str) -> None:
    if rule not in RULES:
        raise BadInput(f"decision rule: {rule!r} is unknown; use one of {', '.join(RULES)}")


def _check(value: float, u: float, lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise BadInput("verdict: there is no limit to judge by")
    if lower is not None and upper is not None and lower >= upper:
        raise BadInput(f"verdict: the lower limit {lower:g} is not below the upper {upper:g}")
    if not math.isfinite(value):
        raise BadInput(f"verdict: the measured value {value} is not a number")
    if not 0 <= u < math.inf:
        raise BadInput(f"verdict: the standard uncertainty must be zero or more, not {u:g}")
