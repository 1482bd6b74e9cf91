"""Normal and Student distributions from the standard library alone.

`fringe sag` and the verdicts must start at once, and scipy alone takes longer to load than
they take to run. Tests hold these functions against scipy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

_NORMAL = NormalDist()
_TINY = 1e-300


def student_cdf(t: float, dof: float | None = None) -> float:
    """Probability that a Student t variable is at most `t`; the normal where `dof` is None.

    Parameters
    ----------
    t : float
        Deviation in standard uncertainties.
    dof : float or None
        Degrees of freedom, greater than zero and not necessarily whole; None or infinite
        for the normal distribution.

    Returns
    -------
    float
        Between 0 and 1.

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.22 (continued fraction of the
    incomplete beta function).
    """
    if dof is None or not math.isfinite(dof) or dof > 1e6:
        return 0.5 * math.erfc(-t / math.sqrt(2.0))
    if math.isinf(t):
        return 1.0 if t > 0 else 0.0
    if t * t < dof:  # near the middle, where the tail's argument rounds to one
        half = 0.5 * _incomplete_beta(0.5, dof / 2.0, t * t / (dof + t * t))
        return 0.5 + math.copysign(half, t)
    tail = 0.5 * _incomplete_beta(dof / 2.0, 0.5, dof / (dof + t * t))
    return tail if t < 0 else 1.0 - tail


def student_density(t: float, dof: float | None = None) -> float:
    """Density of a Student t variable at `t`; the normal where `dof` is None."""
    if dof is None or not math.isfinite(dof) or dof > 1e6:
        return _NORMAL.pdf(t)
    log_front = math.lgamma((dof + 1.0) / 2.0) - math.lgamma(dof / 2.0)
    log_tail = (dof + 1.0) / 2.0 * math.log1p(t * t / dof)
    return math.exp(log_front - log_tail) / math.sqrt(dof * math.pi)


@lru_cache(maxsize=256)
def student_quantile(probability: float, dof: float | None = None) -> float:
    """Value of t below which a share `probability` lies; inverse of :func:`student_cdf`."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability lies between 0 and 1, not {probability}")
    if dof is None or not math.isfinite(dof) or dof > 1e6:
        return _NORMAL.inv_cdf(probability)
    if probability < 0.5:
        return -student_quantile(1.0 - probability, dof)
    low, high = 0.0, 2.0
    while student_cdf(high, dof) < probability:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if student_cdf(middle, dof) < probability:
            low = middle
        else:
            high = middle
        if high - low <= 1e-13 * high:
            break
    return 0.5 * (low + high)


def coverage_factor(dof: float | None = None) -> float:
    """Factor from a standard uncertainty to the half-width of a two-sided 95 % interval."""
    return student_quantile(0.975, dof)


def dof_of_factor(factor: float) -> float | None:
    """Degrees of freedom whose coverage factor is this; None for the normal one, or near it."""
    low, high = math.log(0.2), math.log(1e4)
    if student_cdf(factor, 1e4) < 0.975:
        return None
    for _ in range(50):
        middle = 0.5 * (low + high)
        if student_cdf(factor, math.exp(middle)) < 0.975:
            low = middle
        else:
            high = middle
    return math.exp(0.5 * (low + high))


def effective_dof(parts: Sequence[tuple[float, float | None, str]], u: float) -> float | None:
    """Effective degrees of freedom after Welch and Satterthwaite.

    Parameters
    ----------
    parts : sequence of (float, float or None, str)
        Part of the result's variance, its degrees of freedom (None: known), and the group
        that shares one estimate ('' for none).
    u : float
        Standard uncertainty of the result.

    Returns
    -------
    float or None
        None: unlimited.

    References
    ----------
    JCGM 100:2008, equation (G.2b). The groups, each counted as one term, are ours: inputs that
    were observed together have their degrees of freedom together.
    """
    groups: dict[tuple[str, float], float] = {}
    for i, (variance, dof, group) in enumerate(parts):
        if dof is not None and math.isfinite(dof):
            key = (group or f"#{i}", dof)
            groups[key] = groups.get(key, 0.0) + variance
    total = sum(variance**2 / dof for (_, dof), variance in groups.items())
    return float(u**4 / total) if total > 0 else None


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function, by the continued fraction (modified Lentz)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):  # the fraction converges fast on the other side
        return 1.0 - _incomplete_beta(b, a, 1.0 - x)
    log_front = (
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    c, d = 1.0, 1.0 / _away_from_zero(1.0 - (a + b) * x / (a + 1.0))
    fraction = d
    for m in range(1, 1000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1.0 / _away_from_zero(1.0 + term * d)
            c = _away_from_zero(1.0 + term / c)
            fraction *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return math.exp(log_front) * fraction / a


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
