"""What a life is held against: an oracle that knows the rates, and half the estimated time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from shops.glass import Glass
from shops.laws import Law
from shops.life import LEFT_UM, MOST_VISITS
from shops.person import SET_UP_MINUTES
from shops.readings import read
from shops.shop import GRAINS_UM, POLISH_REMOVAL, POWER_PER_REMOVAL, REMOVAL_PER_GRAIN, Job, Shop

LONGEST_SPELL = 480.0  # minutes
PITS_MARGIN = 1.15  # removal over what the pits need
SETTLED_MINUTES = 120.0
SURE = 1.645  # standard uncertainties inside the limit


@dataclass(frozen=True)
class Reached:
    """How a surface was made.

    Attributes
    ----------
    visits : int
        Until it was done, the first reading counted.
    minutes : float
        Of work.
    stopped, inside, pits_left : bool
        How it ended.
    """

    visits: int
    minutes: float
    stopped: bool
    inside: bool
    pits_left: bool


def oracle(shop: Shop, job: Job, rng: np.random.Generator) -> Reached:
    """Make a surface knowing all rates, offsets and pits, but not what the next spell differs.

    It has the shop's instruments, waits until the glass is at rest, and makes no blunders.
    """
    glass = Glass.begin(shop.copy(), job, rng)
    known = _Known(glass)
    known.measure()
    stages = list(job.stages[job.stages.index(job.start) :])
    while known.visits < MOST_VISITS:
        stage = stages[0]
        polish = stage == "polish"
        if not polish and glass.stage == stage and _hand_over(known, stages):
            stages.pop(0)
            continue
        done = glass.pits_left_um <= LEFT_UM and (polish and glass.damage_um <= LEFT_UM)
        if done and glass.readable and known.proven_inside():
            return Reached(known.visits, known.minutes, True, glass.inside, False)
        known.spell(stage)
        known.measure()
    return Reached(known.visits, known.minutes, False, glass.inside, glass.damage_um > LEFT_UM)


def _hand_over(known: _Known, stages: list[str]) -> bool:
    """Whether pits are gone, and the next stage moves what is left while it takes off its pits."""
    glass, then = known.glass, stages[1]
    if glass.pits_left_um > LEFT_UM:
        return False
    shop, job = glass.shop, glass.job
    depth = glass.damage_um - job.pit_depths_um[then]
    return abs(known.mean) <= shop.power_share[then] * PITS_MARGIN * depth


class _Known:
    """What the oracle knows of the height, and its count of visits and minutes."""

    def __init__(self, glass: Glass) -> None:
        self.glass, self.mean, self.var = glass, 0.0, 1e6
        self.visits, self.minutes = 0, 0.0

    def measure(self) -> None:
        """Read at rest; the spherometer's offset is known."""
        glass, shop, job = self.glass, self.glass.shop, self.glass.job
        if glass.stage is not None:
            glass.rest(max(SETTLED_MINUTES, 4 * shop.warmth_minutes))
        calm = shop.copy()
        calm.law = _without_blunders(shop)
        glass.shop = calm
        readings, _ = read(glass, 0, {})
        glass.shop = shop
        for one in readings:
            height, u = (one.power_fringes or 0.0) * job.fringe_um, (one.power_u_fringes or 0.0)
            if one.source == "spherometer":
                scale = (job.aperture.diameter_mm / shop.ring_mm) ** 2
                height -= scale * shop.offset_um * (1 if job.aperture.work == "convex" else -1)
                u = shop.repeatability_um * scale / job.fringe_um
            gain = self.var / (self.var + (u * job.fringe_um) ** 2)
            self.mean += gain * (height - self.mean)
            self.var *= 1 - gain
        self.visits += 1

    def proven_inside(self) -> bool:
        """Whether the height is inside its limit with 95 %."""
        return abs(self.mean) + SURE * math.sqrt(self.var) <= self.glass.job.limit_um

    def spell(self, stage: str) -> None:
        """Work both pieces so that pits go and the height comes to the middle."""
        glass, shop, job = self.glass, self.glass.shop, self.glass.job
        rate = shop.removal_um_min[stage] * job.pace
        if stage == "polish":
            rate *= math.exp(-shop.law.wear_per_hour * shop.pad_hours)
        ratio, share = math.exp(shop.log_ratio), shop.power_share[stage]
        need = max(0.0, glass.damage_um - job.pit_depths_um[stage]) * PITS_MARGIN / rate
        need = need if glass.damage_um - job.pit_depths_um[stage] > LEFT_UM else 0.0
        net = self.mean / (share * rate)
        if stage == "polish":
            net += job.tendency * need
        total = max(need, abs(net))
        work, tool = (total + net) / 2, (total - net) / 2 / ratio
        shrink = min(1.0, LONGEST_SPELL / max(1e-9, work + tool))
        parts = (("work", shrink * work), ("tool", shrink * tool))
        parts = tuple((top, m) for top, m in parts if m >= 0.5) or (("work", 0.5),)
        moved = [share * rate * m * (1.0 if top == "work" else ratio) for top, m in parts]
        for (top, _), one in zip(parts, moved, strict=True):
            self.mean += -one if top == "work" else one
        if stage == "polish":
            self.mean += job.tendency * share * rate * sum(m for _, m in parts)
        self.var += sum((1.3 * shop.scatter * m) ** 2 for m in moved)
        glass.rest(SET_UP_MINUTES)
        glass.work(stage, parts)
        self.minutes += sum(m for _, m in parts)


def _without_blunders(shop: Shop) -> Law:
    return replace(shop.law, blunders=0.0)


def half_time(shop: Shop, job: Job, rng: np.random.Generator) -> Reached:
    """Make a surface with no model: half of the time that the last spell's rate would take.

    Rates of thumb until a stage has moved the height; as long as pits are seen (by a loupe, or by
    glass that the gauge still misses of two grains, or until an hour has gone by) work goes on.
    """
    glass = Glass.begin(shop.copy(), job, rng)
    stages = list(job.stages[job.stages.index(job.start) :])
    visits, minutes, power, errs = 0, 0.0, 0.0, {}
    rates: dict[str, float] = {}
    in_stage = taken = spent = 0.0
    while visits < MOST_VISITS:
        readings, _ = read(glass, visits, errs)
        last, power = power, (readings[-1].power_fringes or 0.0) * job.fringe_um
        visits += 1
        stage = stages[0]
        told = 2 * (readings[-1].power_u_fringes or 0.0) * job.fringe_um
        if in_stage and abs(power - last) > told:
            rates[stage] = abs(power - last) / spent
        pits = _pits_seen(glass, taken, in_stage, stages, job)
        eye = readings[-1].source != "spherometer"
        if stage == "polish" and eye and abs(power) <= 0.8 * job.limit_um and not pits:
            return Reached(visits, minutes, True, glass.inside, glass.damage_um > LEFT_UM)
        near = 2 * GRAINS_UM.get(stages[1], 4.0) * POWER_PER_REMOVAL if len(stages) > 1 else 0.0
        if (
            len(stages) > 1
            and not pits
            and in_stage
            and abs(power) <= max(near, told, job.limit_um)
        ):
            stages.pop(0)
            stage, in_stage, taken = stages[0], 0.0, 0.0
        usual = REMOVAL_PER_GRAIN * GRAINS_UM[stage] if stage in GRAINS_UM else POLISH_REMOVAL
        thumb = usual * POWER_PER_REMOVAL
        rate = float(np.clip(rates.setdefault(stage, thumb), thumb / 5, 5 * thumb))
        spent = float(np.clip(0.5 * abs(power) / rate, 45 if pits else 5, 120))
        glass.rest(SET_UP_MINUTES)
        glass.work(stage, (("work" if power > 0 else "tool", spent),))
        minutes, in_stage, taken = minutes + spent, in_stage + spent, taken + glass.removed_um
        glass.rest(float(rng.uniform(2, 10) if shop.hasty else rng.uniform(90, 240)))
    return Reached(visits, minutes, False, glass.inside, glass.damage_um > LEFT_UM)


def _pits_seen(glass: Glass, taken: float, in_stage: float, stages: list[str], job: Job) -> bool:
    if not in_stage:
        return stages[0] != "polish" or job.start != "polish"
    if glass.shop.pits_by == "loupe":
        return glass.pits_left_um > LEFT_UM
    if glass.shop.pits_by == "gauge":
        at = job.stages.index(stages[0])
        return at > 0 and taken < 2 * GRAINS_UM[job.stages[at - 1]]
    return in_stage < 60
