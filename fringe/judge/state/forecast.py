"""When a surface will be inside its tolerance, and where the next spell will take it."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.rates import Kind, Mixture

Array = NDArray[np.float64]

SHARE = 0.9  # of the forecasts' intervals
LONGEST_MINUTES = 6000.0  # beyond that a stage does not get there in any useful time
LONGEST_SPELL = 480.0  # longest spell between two measurements [min]
# A spell that has this chance of passing through the whole band is too long.
PASSING = 0.05
_MOST_SPELLS = 60


@dataclass(frozen=True)
class Interval:
    """A forecast value with the interval that holds it in 90 of 100 cases; None: never."""

    median: float | None
    low: float | None
    high: float | None

    def to_json(self) -> dict[str, float | None]:
        """Return the three numbers under their names."""
        return dataclasses.asdict(self)


@dataclass(frozen=True)
class Forecast:
    """What one kind of work will do.

    Attributes
    ----------
    kind : Kind
        The work.
    rate_um_h : Interval
        Rate of a spell to come: change of the height of power [um/h].
    half_width_um : float
        Height of power, of either sign, that it is to come within: the tolerance, or a grain
        of the grit [um].
    minutes : Interval
        Until the surface is there [min]; an end is None where that lies beyond all useful time.
    chance : float
        That this work gets there at all.
    advised_minutes : float or None
        The next spell: to the middle, but so short that it hardly passes through the width
        [min]; None where no time helps.
    after_um : Interval or None
        Height of power after that spell [um].
    inside_after : float or None
        Chance that it ends within the width.
    spells, learned_minutes, surfaces : int, float, int
        What the rate was learned from: own spells, their minutes, like surfaces.
    borrowed : bool
        Learned from the same work with the other piece on top.
    """

    kind: Kind
    rate_um_h: Interval
    half_width_um: float
    minutes: Interval
    chance: float
    advised_minutes: float | None
    after_um: Interval | None
    inside_after: float | None
    spells: int
    learned_minutes: float
    surfaces: int
    borrowed: bool

    def to_json(self) -> dict[str, object]:
        """Return the numbers under their names, the kind of work in two keys."""
        return {
            "stage": self.kind.stage,
            "on_top": self.kind.on_top or None,
            "rate_um_h": self.rate_um_h.to_json(),
            "half_width_um": self.half_width_um,
            "minutes": self.minutes.to_json(),
            "chance": self.chance,
            "advised_minutes": self.advised_minutes,
            "after_um": self.after_um and self.after_um.to_json(),
            "inside_after": self.inside_after,
            "learned_from": {
                "spells": self.spells,
                "minutes": self.learned_minutes,
                "like_surfaces": self.surfaces,
                "reversed": self.borrowed,
            },
        }


def forecast(
    kind: Kind,
    mixture: Mixture,
    half_width_um: float,
    spell_minutes: float,
    longest_minutes: float = LONGEST_MINUTES,
) -> Forecast:
    """Foretell what work of one kind does to a surface.

    Parameters
    ----------
    kind : Kind
        The work.
    mixture : Mixture
        Where the surface stands, and the rate.
    half_width_um : float
        Largest height of power that is allowed, of either sign [um].
    spell_minutes : float
        How long a spell usually lasts [min].
    longest_minutes : float
        What takes longer counts as never [min].

    Returns
    -------
    Forecast
    """
    times = minutes_to_band(mixture, half_width_um, spell_minutes, longest_minutes)
    advised = _advised(mixture, half_width_um, longest_minutes)
    after = None if advised is None else _after(mixture, advised)
    low, high = mixture.interval(SHARE)
    median = float(np.median(mixture.rate_um_min))
    return Forecast(
        kind=kind,
        rate_um_h=Interval(60 * median, 60 * low, 60 * high),
        half_width_um=half_width_um,
        minutes=Interval(
            *(
                _finite(np.quantile(times, q, method="higher"))
                for q in (0.5, (1 - SHARE) / 2, (1 + SHARE) / 2)
            )
        ),
        chance=float(np.mean(np.isfinite(times))),
        advised_minutes=advised,
        after_um=None if after is None else _interval(after),
        inside_after=None if after is None else float(np.mean(np.abs(after) <= half_width_um)),
        spells=mixture.spells,
        learned_minutes=mixture.minutes,
        surfaces=mixture.surfaces,
        borrowed=mixture.borrowed,
    )


def minutes_to_band(
    mixture: Mixture, half_width_um: float, spell_minutes: float, longest_minutes: float
) -> Array:
    """Draw the time until the height of power enters the band of the tolerance.

    The work goes on in spells of usual length, each with its own difference from the rate.

    Returns
    -------
    ndarray, shape (K,)
        Minutes; 0 for draws that are inside already, infinite beyond `longest_minutes`.
    """
    start = mixture.height_um
    edge = np.clip(start, -half_width_um, half_width_um)
    way = np.sign(start - edge)  # +1 above the band, -1 below, 0 inside
    count = int(min(_MOST_SPELLS, max(1, math.ceil(longest_minutes / spell_minutes))))
    length = max(spell_minutes, longest_minutes / count)
    noise = np.random.default_rng(11).standard_normal((len(start), count))
    rates = mixture.rate_um_min[:, None] + mixture.spell_um_min[:, None] * noise
    left = (way * (start - edge))[:, None] + way[:, None] * length * np.cumsum(rates, axis=1)
    there = left <= 0
    first = np.argmax(there, axis=1)
    rows = np.arange(len(start))
    before = np.where(first > 0, left[rows, first - 1], way * (start - edge))
    gained = before - left[rows, first]
    share = np.divide(before, gained, out=np.ones_like(before), where=gained > 0)
    times: Array = np.where(there.any(axis=1), (first + share) * length, np.inf)
    times = np.where(times <= longest_minutes, times, np.inf)
    return np.where(way == 0, 0.0, times)


def _advised(mixture: Mixture, half_width_um: float, longest_minutes: float) -> float | None:
    """The next spell [min]: half of the draws reach the middle, few pass through the band."""
    pace = _spell_rates(mixture)
    with np.errstate(divide="ignore", invalid="ignore"):
        to_middle = np.where(pace * mixture.height_um < 0, -mixture.height_um / pace, np.inf)
        far = -np.sign(mixture.height_um) * half_width_um
        through = np.where(pace * mixture.height_um < 0, (far - mixture.height_um) / pace, np.inf)
    middle = float(np.median(to_middle))
    most = float(np.quantile(through, PASSING, method="lower"))
    advised = min(middle, most, LONGEST_SPELL)
    if not math.isfinite(middle) and float(np.mean(np.isfinite(to_middle))) < 0.5:
        return None
    return advised if 0 < advised <= longest_minutes else None


def _spell_rates(mixture: Mixture) -> Array:
    from fringe.judge.state.rates import normal_draws

    rates: Array = mixture.rate_um_min + mixture.spell_um_min * normal_draws(
        len(mixture.rate_um_min), 2
    )
    return rates


def _after(mixture: Mixture, minutes: float) -> Array:
    after: Array = mixture.height_um + minutes * _spell_rates(mixture)
    return after


def _interval(values: Array) -> Interval:
    tail = (1 - SHARE) / 2
    median, low, high = np.quantile(values, [0.5, tail, 1 - tail])
    return Interval(float(median), float(low), float(high))


def _finite(value: Any) -> float | None:
    return float(value) if math.isfinite(value) else None
