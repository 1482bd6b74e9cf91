"""What nobody in a simulated shop sees: the true height of power, pits and warmth of a surface."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

from shops.laws import Law
from shops.shop import Job, Shop

PRESSED_ANEW_HOURS = 8.0  # polishing until a worn pad is pressed anew
WARM_MINUTES = 20.0  # work after which the glass is nearly as warm as it gets
RATIO_RETURNS = 0.1  # share of what the ratio has drifted that it comes back by in a spell
READABLE_MINUTES = 10.0  # polishing after which a ground surface shows fringes

Parts = tuple[tuple[str, float], ...]


@dataclass
class Glass:
    """The true state of a surface.

    Attributes
    ----------
    height_um : float
        Height of power at an even temperature.
    damage_um : float
        Depth of the deepest pits below the surface as it is now.
    warmth_um : float
        What warmth adds to the height.
    clock : float
        Minutes since the surface came in.
    polished_minutes : float
        Polishing since it was ground last.
    stage : str or None
        What it was worked with last.
    worked_at : float or None
        When that ended.
    removed_um, moved_um : float
        Glass that the last spell took off, and what it changed the height by.
    """

    shop: Shop
    job: Job
    rng: np.random.Generator
    height_um: float = 0.0
    damage_um: float = 0.0
    warmth_um: float = 0.0
    clock: float = 0.0
    polished_minutes: float = 0.0
    stage: str | None = None
    worked_at: float | None = None
    removed_um: float = 0.0
    moved_um: float = 0.0

    @staticmethod
    def begin(shop: Shop, job: Job, rng: np.random.Generator) -> Glass:
        """A surface as it comes in."""
        polished = math.inf if job.start == "polish" else 0.0
        return Glass(shop, job, rng, job.height_um, job.damage_um, polished_minutes=polished)

    def twin(self, rng: np.random.Generator) -> Glass:
        """The same surface in a shop of its own, for asking what would come of other work."""
        other = copy.copy(self)
        other.shop, other.rng = self.shop.copy(), rng
        return other

    @property
    def readable(self) -> bool:
        """Whether it is polished enough to show fringes."""
        return self.polished_minutes >= READABLE_MINUTES

    @property
    def own_pits_um(self) -> float:
        """Depth of the pits that the present stage makes itself."""
        return 0.0 if self.stage is None else self.job.pit_depths_um[self.stage]

    @property
    def pits_left_um(self) -> float:
        """How much deeper than these the deepest pits are."""
        return max(0.0, self.damage_um - self.own_pits_um)

    @property
    def shown_um(self) -> float:
        """Height that a perfect instrument would read now."""
        return self.height_um + self.warmth_um

    @property
    def power(self) -> float:
        """Height of power in fringes."""
        return self.height_um / self.job.fringe_um

    @property
    def inside(self) -> bool:
        """Whether it is truly inside its tolerance."""
        return abs(self.height_um) <= self.job.limit_um

    def rest(self, minutes: float) -> None:
        """Let time pass."""
        self.clock += minutes
        self.warmth_um *= math.exp(-minutes / self.shop.warmth_minutes)

    def work(self, stage: str, parts: Parts) -> None:
        """Work with one stage, for some minutes with each piece on top."""
        shop, job, rng, law = self.shop, self.job, self.rng, self.shop.law
        polish = stage == "polish"
        way = -1.0 if polish and rng.random() < law.reversed_share else 1.0
        rate = shop.removal_um_min[stage] * job.pace
        if polish:
            rate *= math.exp(-law.wear_per_hour * shop.pad_hours)
        removed = moved = 0.0
        for on_top, minutes in parts:
            pace = rate * self._spell_pace() * _effective(law, minutes)
            pace *= 1.0 if on_top == "work" else math.exp(shop.log_ratio)
            removed += pace * float(np.exp(rng.normal(0, 0.1)))
            sign = -1.0 if on_top == "work" else 1.0
            moved += way * sign * shop.power_share[stage] * pace
            if polish:
                moved += job.tendency * shop.power_share[stage] * rate * _effective(law, minutes)
                keep = math.exp(-law.lap_relaxation * minutes / 60)
                self.height_um *= keep
            self._after(stage, minutes)
        self.height_um += moved
        self.removed_um, self.moved_um = removed, moved
        self.stage = stage
        self.damage_um = max(self.damage_um - removed, job.pit_depths_um[stage])
        self.worked_at = self.clock

    def _spell_pace(self) -> float:
        """What a spell's rate differs from the usual one by, as a factor."""
        shop, rng, law = self.shop, self.rng, self.shop.law
        unit = float(rng.standard_t(3)) / math.sqrt(3) if law.heavy_tails else float(rng.normal())
        fresh = math.sqrt(1 - law.memory**2) * shop.scatter * unit
        shop.log_rate = law.memory * shop.log_rate + fresh
        return math.exp(shop.log_rate)

    def _after(self, stage: str, minutes: float) -> None:
        """Warmth, wear and time of a spell."""
        shop, rng = self.shop, self.rng
        self.rest(minutes)
        share = 1.0 if stage == "polish" else 0.4
        sign = -1.0 if rng.random() < shop.law.warm_below else 1.0
        size = share * shop.warmth_fringes * self.job.fringe_um * float(np.exp(rng.normal(0, 0.3)))
        self.warmth_um += sign * size * (1 - math.exp(-minutes / WARM_MINUTES))
        off = (1 - RATIO_RETURNS) * (shop.log_ratio - shop.usual_log_ratio)
        shop.log_ratio = shop.usual_log_ratio + off + float(rng.normal(0, shop.law.ratio_drift))
        if stage == "polish":
            shop.pad_hours += minutes / 60
            if shop.pad_hours > PRESSED_ANEW_HOURS:
                shop.pad_hours = 0.0
            self.polished_minutes += minutes
        else:
            self.polished_minutes = 0.0


def _effective(law: Law, minutes: float) -> float:
    """Minutes of the plain law that take off as much."""
    if law.slurry_minutes is not None:
        return law.slurry_minutes * (1 - math.exp(-minutes / law.slurry_minutes))
    return float(30 * (minutes / 30) ** law.minutes_power)
