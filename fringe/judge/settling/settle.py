"""Glass that comes to temperature: where its power will end, how fast, and how long to wait.

Readings over the minutes after handling follow p(t) = p_end + a d(t) with

    d(t) = (1 - s) exp(-t / tau) + s exp(-t / (k tau)).

The second, slower part is what a piece takes up from its surroundings while its own difference
of temperature fades: pieces seldom settle by one exponential, and a fit of one that is taken for
the whole truth foretells the end too soon. The share s has a half-normal prior of width 0.2 and
the ratio k lies between 2 and 6 (ours, no source). For given tau, s and k the curve is linear in
p_end and a; the three are swept over all that glass can have, and every curve that the readings
allow counts (profile likelihood). So an interval is as wide as it must be where the readings
do not yet show the bend of the curve, and a slow drift is never taken for none.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.format import figures
from fringe.quantity import half_width
from fringe.student_t import coverage_factor

Array = NDArray[np.float64]

# Time constants that are looked at without knowing the glass [min]
SHORTEST_MIN, LONGEST_MIN = 1.0, 720.0
# Share of the tolerance that a drift may still move the power by (ours, no source)
SHARE = 0.1
_SWEEP = 60
# Share of the slower part of a settling, and its time constant over that of the faster one
SLOW_SHARES, SLOW_RATIOS, USUAL_SLOW_SHARE = (0.0, 0.1, 0.2, 0.3, 0.4), (2.0, 4.0, 6.0), 0.2
# Readings that leave so few degrees of freedom cannot show that they do not follow the curve
LEAST_DOF = 1
# The end is out of view where its half-width is so many times what the readings differ by and
# err by (ours, no source)
_FAR = 30.0


@dataclass(frozen=True)
class Span:
    """A value with the ends of its 95 % interval; an end is None where the readings set none."""

    value: float
    low: float | None
    high: float | None

    @property
    def u95(self) -> float:
        """Larger distance of an end from the value; infinite where one is open."""
        if self.low is None or self.high is None:
            return math.inf
        return max(self.high - self.value, self.value - self.low)

    def to_json(self) -> dict[str, float | None]:
        """Return value and ends."""
        return {"value": self.value, "low": self.low, "high": self.high}


@dataclass(frozen=True)
class Settled:
    """Where readings of a settling piece lead.

    Attributes
    ----------
    power_fringes : Span
        Power once the glass has settled [fringe].
    remaining_fringes : Span
        What the last reading's power is still away from that [fringe].
    rate_fringes_h : float
        Change of power at the last reading [fringe/h].
    time_constant_min : Span or None
        tau [min]; None where no drift is seen.
    wait_min, wait_most_min : float or None
        How long still, from the last reading, until the change that is left is `limit_fringes`:
        as it looks, and at the most that the readings allow [min]. None without a limit; the
        most is None where it has no bound in view.
    limit_fringes : float or None
        Change of power that does no harm [fringe].
    chi2, dof : float, int
        Of the fit.
    state : {'settled', 'settling', 'unknown'}
        `settled`: what is left is proven to be less than the limit; `settling`: it is proven
        to be more; otherwise the readings do not tell.
    notes : tuple of str
        What the person should know.
    end_in_view : bool
        False where the readings lie too near each other in time to tell where it ends: within
        the shortest time constant, or the interval of the end is many times what they differ
        by and err by.
    """

    power_fringes: Span
    remaining_fringes: Span
    rate_fringes_h: float
    time_constant_min: Span | None
    wait_min: float | None
    wait_most_min: float | None
    limit_fringes: float | None
    chi2: float
    dof: int
    state: str
    notes: tuple[str, ...] = ()
    end_in_view: bool = True

    @property
    def action(self) -> str:
        """`wait`, unless the glass is proven to have settled."""
        return "read" if self.state == "settled" else "wait"

    def to_json(self) -> dict[str, object]:
        """Return the results under their names."""
        tau = self.time_constant_min
        return {
            "state": self.state,
            "action": self.action,
            "settled_power_fringes": self.power_fringes.to_json(),
            "remaining_fringes": self.remaining_fringes.to_json(),
            "rate_fringes_h": self.rate_fringes_h,
            "time_constant_min": None if tau is None else tau.to_json(),
            "wait_min": self.wait_min,
            "wait_most_min": self.wait_most_min,
            "limit_fringes": self.limit_fringes,
            "chi2": self.chi2,
            "dof": self.dof,
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class _Curves:
    """Settling curves d(t) of amplitude one: tau [min], slow share and ratio, shapes (T,)."""

    tau: Array
    share: Array
    ratio: Array

    def at(self, minutes: Array) -> Array:
        """What is left of the amplitude; `minutes` of shape (N,) or (T, 1), to (T, N)."""
        share, tau, ratio = self.share[:, None], self.tau[:, None], self.ratio[:, None]
        fast, slow = np.exp(-minutes / tau), np.exp(-minutes / (ratio * tau))
        left: Array = (1 - share) * fast + share * slow
        return left


@dataclass(frozen=True)
class _Sweep:
    """Linear fits of (p_end, a), one a curve: shapes (T,), (T, 2), (T, 2, 2) and (T,).

    `misfit` is chi2 over `scale`, with what the prior of the slow share adds.
    """

    curves: _Curves
    values: Array
    covariance: Array
    chi2: Array
    scale: float
    factor: float

    @property
    def misfit(self) -> Array:
        """Scaled chi2 and the prior of the slow share."""
        return self.chi2 / self.scale + (self.curves.share / USUAL_SLOW_SHARE) ** 2

    @property
    def best(self) -> int:
        """Place of the most likely curve."""
        return int(np.argmin(self.misfit))

    @property
    def room(self) -> Array:
        """What each curve may still be off by; below zero where the readings exclude it."""
        left: Array = self.factor**2 - (self.misfit - self.misfit.min())
        return left

    def span(self, weights: Array) -> Span:
        """95 % interval of a linear function of (end, amplitude), over every curve that fits."""
        value = np.einsum("ti,ti->t", weights, self.values)
        variance = np.einsum("ti,tij,tj->t", weights, self.covariance, weights) * self.scale
        fits = self.room >= 0
        half = np.sqrt(np.maximum(variance[fits], 0.0) * self.room[fits])
        low, high = float(np.min(value[fits] - half)), float(np.max(value[fits] + half))
        return Span(float(value[self.best]), low, high)


def settle(
    times_min: Sequence[float],
    powers_fringes: Sequence[float],
    u_fringes: float | Sequence[float],
    *,
    limit_fringes: float | None = None,
    time_constants_min: tuple[float, float] = (SHORTEST_MIN, LONGEST_MIN),
) -> Settled:
    """Fit the settling of a piece, and foretell its end.

    Parameters
    ----------
    times_min : sequence of float, length N
        When each reading was taken [min], in any order, from any zero.
    powers_fringes : sequence of float, length N
        Power [fringe], signed or all magnitudes.
    u_fringes : float or sequence of float
        Standard uncertainty of what differs from reading to reading [fringe]. Where the
        readings scatter more than that, their scatter is used.
    limit_fringes : float, optional
        Change of power that does no harm [fringe].
    time_constants_min : (float, float)
        Shortest and longest time constant to be thought of [min].

    Returns
    -------
    Settled

    Raises
    ------
    BadInput
        If there are fewer than three readings at different times, or a value is not a number.
    """
    t, p, u = _checked(times_min, powers_fringes, u_fringes)
    dof = len(t) - 3
    sweep = _fits(t, p, u, time_constants_min, time_constants_min[1])
    for _ in range(2):  # look closer where it fits
        sweep = _fits(t, p, u, _closer(sweep), time_constants_min[1])
    best, last = sweep.best, float(np.ptp(t))
    left = sweep.curves.at(np.array([last]))[:, 0]
    end = sweep.span(np.tile([1.0, 0.0], (len(left), 1)))
    remaining = sweep.span(np.column_stack([np.zeros_like(left), left]))
    flat = bool(_flat_chi2(p, u) / sweep.scale - sweep.misfit[best] <= sweep.factor**2)
    tau = None if flat else _tau_span(sweep, time_constants_min)
    state = _state(remaining, limit_fringes)
    if dof < LEAST_DOF and state == "settled":
        state = "unknown"
    wait, most = _waits(sweep, left, last, limit_fringes)
    rate = _rate_per_h(sweep, last)
    if flat:  # the best curve follows chance alone
        end = dataclasses.replace(end, value=_mean(p, u))
        remaining, rate = dataclasses.replace(remaining, value=0.0), 0.0
        wait = None if wait is None else 0.0
    return Settled(
        end,
        remaining,
        rate,
        tau,
        wait,
        most,
        limit_fringes,
        float(sweep.chi2[best]),
        dof,
        state,
        _notes(t, flat, tau, sweep.scale, dof),
        last >= time_constants_min[0] and end.u95 <= _FAR * _reach(p, u, sweep.scale),
    )


def _checked(
    times: Sequence[float], powers: Sequence[float], u: float | Sequence[float]
) -> tuple[Array, Array, Array]:
    t, p = np.asarray(times, float), np.asarray(powers, float)
    spread = np.broadcast_to(np.asarray(u, float), t.shape).copy()
    if t.ndim != 1 or t.shape != p.shape:
        raise BadInput(f"settling: {t.size} times for {p.size} readings; give one for each")
    if not (np.isfinite(t).all() and np.isfinite(p).all() and np.isfinite(spread).all()):
        raise BadInput("settling: a time or a power is not a number")
    if len(set(t.tolist())) < 3:
        raise BadInput(
            f"settling: {len(set(t.tolist()))} different times are too few for a curve; give three "
            "or more, better six over an hour"
        )
    if (spread <= 0).any():
        raise BadInput("settling: the readings need an uncertainty greater than zero")
    return t, p, spread


def _curves(taus: tuple[float, float], longest: float) -> _Curves:
    """Every curve that is looked at: tau by slow share by ratio, none slower than `longest`."""
    rows = [
        (tau, share, ratio)
        for tau in np.geomspace(*taus, _SWEEP)
        for share in SLOW_SHARES
        for ratio in (SLOW_RATIOS if share else SLOW_RATIOS[:1])
        if share == 0 or ratio * tau <= longest
    ]
    return _Curves(*np.array(rows).T)


def _fits(t: Array, p: Array, u: Array, taus: tuple[float, float], longest: float) -> _Sweep:
    """Weighted least squares of end and amplitude, one curve after the other."""
    shortest, slowest = taus
    if not 0 < shortest < slowest:
        raise BadInput(f"settling: time constants from {shortest:g} to {slowest:g} min are none")
    curves = _curves(taus, longest)
    decay = curves.at(t - t.min())
    weight = 1 / u**2
    s0, s1, s2 = weight.sum(), decay @ weight, decay**2 @ weight
    q0, q1 = float(weight @ p), decay @ (weight * p)
    # a decay that is over before the second reading leaves nothing to tell the two apart
    determinant = np.maximum(s0 * s2 - s1**2, 1e-12 * s0 * s2)
    end = (s2 * q0 - s1 * q1) / determinant
    amplitude = (s0 * q1 - s1 * q0) / determinant
    covariance = np.empty((len(end), 2, 2))
    covariance[:, 0, 0], covariance[:, 1, 1] = s2 / determinant, s0 / determinant
    covariance[:, 0, 1] = covariance[:, 1, 0] = -s1 / determinant
    residual = p - end[:, None] - amplitude[:, None] * decay
    chi2 = residual**2 @ weight
    scale, factor = _scale(float(chi2.min()), len(t) - 3)
    return _Sweep(curves, np.column_stack([end, amplitude]), covariance, chi2, scale, factor)


def _reach(p: Array, u: Array, scale: float) -> float:
    """What the readings differ by and err by [fringe]."""
    return float(np.ptp(p)) + half_width(math.sqrt(scale) * float(u.max()))


def _mean(p: Array, u: Array) -> float:
    return float(np.sum(p / u**2) / np.sum(1 / u**2))


def _flat_chi2(p: Array, u: Array) -> float:
    return float(np.sum(((p - _mean(p, u)) / u) ** 2))


def _scale(chi2: float, dof: int) -> tuple[float, float]:
    """Factor on the variances that the scatter asks for, and the coverage factor to use."""
    if dof < 1 or chi2 <= dof:
        return 1.0, coverage_factor()
    return chi2 / dof, coverage_factor(dof)


def _closer(sweep: _Sweep) -> tuple[float, float]:
    """Time constants that fit, with a step to spare on either side [min]."""
    tau = np.unique(sweep.curves.tau)
    allowed = 4 * sweep.factor**2
    fitting = sweep.curves.tau[sweep.misfit - sweep.misfit.min() <= allowed]
    first, last = np.searchsorted(tau, [fitting.min(), fitting.max()])
    return float(tau[max(first - 1, 0)]), float(tau[min(last + 1, len(tau) - 1)])


def _tau_span(sweep: _Sweep, looked_at: tuple[float, float]) -> Span:
    """Time constants that fit; an end at the end of what was looked at is open."""
    tau = sweep.curves.tau
    fitting = tau[sweep.room >= 0]
    low, high = float(fitting.min()), float(fitting.max())
    return Span(
        float(tau[sweep.best]),
        None if low <= looked_at[0] else low,
        None if high >= looked_at[1] else high,
    )


def _state(remaining: Span, limit: float | None) -> str:
    if limit is None or remaining.low is None or remaining.high is None:
        return "unknown"
    if max(abs(remaining.low), abs(remaining.high)) <= limit:
        return "settled"
    if remaining.low > limit or remaining.high < -limit:
        return "settling"
    return "unknown"


def _waits(
    sweep: _Sweep, left: Array, last: float, limit: float | None
) -> tuple[float | None, float | None]:
    """How long still, as it looks and at most [min]."""
    if limit is None:
        return None, None
    fits = sweep.room >= 0
    deviation = np.sqrt(sweep.covariance[:, 1, 1] * sweep.scale * np.maximum(sweep.room, 0.0))
    amplitude = np.abs(sweep.values[:, 1])
    looks = _minutes_until(sweep.curves, amplitude, last, limit)[sweep.best]
    most = _minutes_until(sweep.curves, amplitude + deviation, last, limit)[fits].max()
    return float(looks), float(most)


def _minutes_until(curves: _Curves, amplitude: Array, last: float, limit: float) -> Array:
    """When each curve of an amplitude has less than `limit` left, from `last` on [min]."""
    slowest = np.where(curves.share > 0, curves.ratio, 1.0) * curves.tau
    low = np.zeros(len(amplitude))
    # of the slowest part alone no more is left after so long
    high = slowest * np.log(np.maximum(amplitude / limit, 1.0)) + 1e-9
    for _ in range(40):
        middle = (low + high) / 2
        above = amplitude * curves.at(last + middle[:, None])[:, 0] > limit
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    done = amplitude * curves.at(np.array([last]))[:, 0] <= limit
    return np.where(done, 0.0, high)


def _rate_per_h(sweep: _Sweep, last: float) -> float:
    """Change of power of the best curve at the last reading [fringe/h]."""
    curves, best, step = sweep.curves, sweep.best, 1e-3
    before, after = curves.at(np.array([last, last + step]))[best]
    return float(60 * sweep.values[best, 1] * (after - before) / step)


def _notes(t: Array, flat: bool, tau: Span | None, scale: float, dof: int) -> tuple[str, ...]:
    notes = []
    if dof < LEAST_DOF:
        notes.append(
            f"{len(t)} readings are too few to see whether they follow a settling curve at all: "
            "take more before you rely on it"
        )
    if scale > 4:
        notes.append(
            f"the readings scatter {figures(math.sqrt(scale), 2)} times as much as they say; "
            "something else moves: look at the photographs"
        )
    if flat:
        notes.append("no drift is seen beyond the readings' own scatter")
    elif tau is not None and tau.high is None:
        notes.append(
            f"{figures(float(np.ptp(t)), 2)} min do not show where the curve bends: go on longer"
        )
    elif tau is not None and tau.low is None:
        notes.append("it settled faster than the readings follow: what is left is their scatter")
    return tuple(notes)


def with_common(found: Settled, u_fringes: float) -> Settled:
    """Add to the settled power what all its readings have in common."""
    end, extra = found.power_fringes, half_width(u_fringes)
    if end.low is None or end.high is None:
        return found
    wider = Span(
        end.value,
        end.value - math.hypot(end.value - end.low, extra),
        end.value + math.hypot(end.high - end.value, extra),
    )
    return dataclasses.replace(found, power_fringes=wider)
