"""Surfaces whose work is simulated, to hold forecasts against what then happens.

The simulation is not the model that learns: rates and spells are drawn from gamma
distributions, which are skewed and never negative, and what differs from spell to spell has a
size of its own in every shop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fringe.judge.advice.ahead import forecast
from fringe.judge.state.abrasives import stage
from fringe.judge.state.filter import believe
from fringe.judge.state.forecast import Forecast
from fringe.judge.state.observed import OtherSurface, observed
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from sample_visits import hours

WAVELENGTH_NM = 589.29
POLISH = stage("polish")
NEVER = 6000.0


def _gamma(rng: np.random.Generator, spread: float) -> float:
    """Draw about one, never negative, with this relative standard deviation."""
    return float(rng.gamma(1 / spread**2, spread**2))


@dataclass(frozen=True)
class Shop:
    """How one shop works: the mean rate [fringe/min], and what differs."""

    rate: float
    surfaces_differ: float
    spells_differ: float
    u_fringes: float

    @staticmethod
    def draw(rng: np.random.Generator, spells_differ: float | None = None) -> Shop:
        """Draw a shop: spells differ by 10 to 40 %, surfaces by 20 to 60 %."""
        rate = float(np.exp(rng.normal(math.log(0.1), 0.8)))
        return Shop(
            rate,
            float(rng.uniform(0.2, 0.6)),
            float(rng.uniform(0.1, 0.4)) if spells_differ is None else spells_differ,
            rate * 30 * 10 ** float(rng.uniform(-1.5, -0.3)),
        )

    def surface(self, rng: np.random.Generator) -> float:
        """Rate of one of its surfaces [fringe/min]."""
        return self.rate * _gamma(rng, self.surfaces_differ)

    def spell(self, rng: np.random.Generator, rate: float) -> tuple[float, float]:
        """One spell: its minutes, and its own rate [fringe/min]."""
        return float(rng.uniform(15, 60)), rate * _gamma(rng, self.spells_differ)

    def history(
        self, rng: np.random.Generator, rate: float, spells: int, end: float
    ) -> list[VisitRecord]:
        """Visits that end at this true power, the last spell's included; power grows."""
        worked = [self.spell(rng, rate) for _ in range(spells)]
        power = end - sum(minutes * pace for minutes, pace in worked)
        visits = [self._visit(rng, 0, power, None)]
        for i, (minutes, pace) in enumerate(worked, 1):
            power += minutes * pace
            visits.append(self._visit(rng, i, power, minutes))
        return visits

    def _visit(
        self, rng: np.random.Generator, number: int, power: float, minutes: float | None
    ) -> VisitRecord:
        read = power + float(rng.normal(0, self.u_fringes))
        sense = "centre" if read >= 0 else "edge"
        one = Measured(read, self.u_fringes, sense, wavelength_nm=WAVELENGTH_NM)
        work = Work() if minutes is None else Work("polish", minutes, "tool")
        return VisitRecord(f"s{number}", hours(number), work, (one,))


@dataclass(frozen=True)
class Outcome:
    """One forecast, and what happened."""

    forecast: Forecast
    minutes: float
    after_um: float | None

    @property
    def covered(self) -> bool:
        """Whether the time lay in the forecast's interval."""
        one = self.forecast.minutes
        low = math.inf if one.low is None else one.low
        high = math.inf if one.high is None else one.high
        return low <= self.minutes <= high

    @property
    def early(self) -> bool:
        """Whether the time was shorter than the interval's lower end."""
        low = self.forecast.minutes.low
        return self.minutes < (math.inf if low is None else low)

    @property
    def after_covered(self) -> bool | None:
        """Whether the next spell ended in its interval; None where none was advised."""
        one = self.forecast.after_um
        if one is None or self.after_um is None:
            return None
        return one.low <= self.after_um <= one.high


def outcome(
    rng: np.random.Generator, own: int, like: int, spells_differ: float | None = None
) -> Outcome:
    """Simulate a shop, a surface with its history, the forecast, and the work that follows.

    Parameters
    ----------
    rng : numpy Generator
    own : int
        Spells that this surface has behind it.
    like : int
        Like surfaces in the archive, each with one to five spells.
    spells_differ : float or None
        Relative standard deviation from spell to spell; drawn without it.
    """
    shop = Shop.draw(rng, spells_differ)
    others = [
        _other(shop.history(rng, shop.surface(rng), int(rng.integers(1, 6)), 0.0))
        for _ in range(like)
    ]
    rate = shop.surface(rng)
    band = shop.rate * 30 * 10 ** float(rng.uniform(-0.5, 0.3))
    power = -band - shop.rate * 30 * 10 ** float(rng.uniform(-0.5, 0.8))
    visits = observed(shop.history(rng, rate, own, power), WAVELENGTH_NM)
    um = WAVELENGTH_NM / 2000
    advised = 0.5 * (-power) / shop.rate
    belief = believe(visits, others=others)[-1]
    found = forecast(belief, POLISH, (("tool", advised),), band * um)
    after = (power + advised * shop.spell(rng, rate)[1]) * um
    return Outcome(found, _minutes_to(rng, shop, rate, power, -band), after)


def _minutes_to(
    rng: np.random.Generator, shop: Shop, rate: float, power: float, edge: float
) -> float:
    total = 0.0
    while total < NEVER:
        minutes, pace = shop.spell(rng, rate)
        if power + minutes * pace >= edge:
            total += (edge - power) / pace
            return total if total <= NEVER else math.inf
        power += minutes * pace
        total += minutes
    return math.inf


def _other(visits: Sequence[VisitRecord]) -> OtherSurface:
    return OtherSurface(observed(visits, WAVELENGTH_NM))
