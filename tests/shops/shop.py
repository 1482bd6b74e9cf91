"""A simulated shop with its instruments and habits, and the surfaces that it is asked to make."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from shops.laws import Law

GRAINS_UM = {"#120": 109.0, "#240": 44.5, "#400": 17.3, "#800": 6.5}  # FEPA F, from memory
PITS_BY = ("loupe", "gauge", "nothing")
SAWN, SAWN_UM = "#100", 129.0  # what a blank comes in with; FEPA F, from memory
STAGE_SETS = (
    ("#120", "#240", "#400", "#800", "polish"),
    ("#120", "#240", "#400", "#800", "polish"),
    ("#240", "#400", "#800", "polish"),
    ("#120", "#400", "#800", "polish"),
)
WAVELENGTHS_NM = (589.29, 546.07)
# Usual glass removed a minute, for each um of grain and in polishing [um/min], and the usual
# change of the height of power for it: round figures, no source.
REMOVAL_PER_GRAIN, POLISH_REMOVAL, POWER_PER_REMOVAL = 0.08, 0.1, 0.2


@dataclass
class Shop:
    """A shop; what wanders in it is changed by its work.

    Attributes
    ----------
    law : Law
        How its work goes.
    hasty : bool
        Whether it reads minutes after the work.
    pits_by : {'loupe', 'gauge', 'nothing'}
        How it tells that pits are gone.
    tells_rest : bool
        Whether it logs how long the work rested.
    tells_start : bool
        Whether its first visit logs what the surface was worked with when it came in.
    states_offset : bool
        Whether the spherometer's uncertainty states the part that all its readings share.
    stages : tuple of str
        Grits and polishing that it has.
    removal_um_min : dict of str to float
        Glass removed a minute with the work on top, by stage.
    power_share : dict of str to float
        Change of height for it, by stage.
    log_ratio, usual_log_ratio : float
        Log of the lower piece's pace over the upper one's, now and in the long run.
    log_rate : float
        What the last spell's log rate differed by.
    scatter : float
        Standard deviation of the log rate from spell to spell.
    pad_hours : float
        Polishing since the pad was pressed.
    diameter_mm, ring_mm : float
        Usual diameter of its work, and of its spherometer's ring.
    forms : tuple of str
        Forms of work that it takes.
    offset_um, repeatability_um : float
        Of the spherometer's height, before it is scaled to the aperture.
    photographs : int
        How many photographs a visit takes; 0: it counts rings by eye.
    reading_u : float
        Standard uncertainty of a reading of fringes.
    warmth_fringes, warmth_minutes : float
        Bending straight from the lap, and its time constant.
    pit_grains : float
        Depth of pits over the grain size.
    gauge_u_um : float
        Standard uncertainty of removed glass by the gauge.
    """

    law: Law
    hasty: bool
    pits_by: str
    tells_rest: bool
    tells_start: bool
    states_offset: bool
    stages: tuple[str, ...]
    removal_um_min: dict[str, float]
    power_share: dict[str, float]
    log_ratio: float
    usual_log_ratio: float
    scatter: float
    diameter_mm: float
    ring_mm: float
    forms: tuple[str, ...]
    offset_um: float
    repeatability_um: float
    photographs: int
    reading_u: float
    warmth_fringes: float
    warmth_minutes: float
    pit_grains: float
    gauge_u_um: float
    log_rate: float = 0.0
    pad_hours: float = 0.0

    def copy(self) -> Shop:
        """A shop of the same kind and condition, whose wandering is its own."""
        return replace(self)


@dataclass(frozen=True)
class Job:
    """A surface that is to be made, as it comes in.

    Attributes
    ----------
    aperture : Aperture
        Radius, diameter, light, form.
    tolerance_fringes : float
        Largest power.
    stages : tuple of str
        What the shop has.
    came_from : str
        What it was worked with when it came in.
    start : str
        Stage that practice would begin with.
    height_um : float
        Height of power at the start.
    damage_um : float
        Depth of the pits at the start.
    pace : float
        Its rates over the shop's.
    tendency : float
        Share of the polishing rate by which the lap's form moves the height, whichever piece
        is on top.
    pit_depths_um : dict of str to float
        Depth of each grit's pits on it.
    """

    aperture: Aperture
    tolerance_fringes: float
    stages: tuple[str, ...]
    came_from: str
    start: str
    height_um: float
    damage_um: float
    pace: float
    tendency: float
    pit_depths_um: dict[str, float] = field(default_factory=dict)

    @property
    def fringe_um(self) -> float:
        """Height that one fringe stands for."""
        return self.aperture.wavelength_nm / 2e3

    @property
    def limit_um(self) -> float:
        """Largest height of power."""
        return self.tolerance_fringes * self.fringe_um

    @property
    def tolerance(self) -> Tolerance:
        """As the judging takes it."""
        return Tolerance(self.tolerance_fringes, wavelength_nm=self.aperture.wavelength_nm)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def _lognormal(rng: np.random.Generator, spread: float) -> float:
    return float(math.exp(rng.normal(0, spread)))


def draw_shop(
    rng: np.random.Generator, law: Law, *, hasty: bool | None = None, pits_by: str | None = None
) -> Shop:
    """Draw a shop that works by a law."""
    stages = STAGE_SETS[int(rng.integers(len(STAGE_SETS)))]
    common = _lognormal(rng, law.shop_scatter / math.sqrt(2))
    gain = _lognormal(rng, law.shop_scatter)
    removal, share = {}, {}
    for stage in stages:
        usual = REMOVAL_PER_GRAIN * GRAINS_UM[stage] if stage in GRAINS_UM else POLISH_REMOVAL
        removal[stage] = usual * common * _lognormal(rng, law.shop_scatter / math.sqrt(2))
        share[stage] = POWER_PER_REMOVAL * gain * _lognormal(rng, 0.15)
    diameter = _log_uniform(rng, 36, 170)
    photographs = int(rng.choice([0, 1, 2], p=[0.5, 0.25, 0.25]))
    log_ratio = float(rng.normal(math.log(0.75), 0.25))
    offset = float(rng.uniform(1, 3) * rng.choice([-1, 1]))
    one_form = str(rng.choice(["convex", "concave"]))
    drawn_hasty, drawn_pits = rng.random() < 0.5, str(rng.choice(PITS_BY))
    return Shop(
        law=law,
        hasty=drawn_hasty if hasty is None else hasty,
        pits_by=pits_by or drawn_pits,
        tells_rest=rng.random() < 0.5,
        tells_start=rng.random() < 0.5,
        states_offset=rng.random() < 0.5,
        stages=stages,
        removal_um_min=removal,
        power_share=share,
        log_ratio=log_ratio,
        usual_log_ratio=log_ratio,
        scatter=float(rng.uniform(*law.spell_scatter)),
        diameter_mm=diameter,
        ring_mm=diameter * float(rng.uniform(0.45, 0.75)),
        forms=(one_form,) if rng.random() < 0.7 else ("convex", "concave"),
        offset_um=offset,
        repeatability_um=float(rng.uniform(0.5, 1)),
        photographs=photographs,
        reading_u=_log_uniform(rng, 0.02, 0.05) if photographs else _log_uniform(rng, 0.05, 0.3),
        warmth_fringes=_log_uniform(rng, 0.3, 3),
        warmth_minutes=_log_uniform(rng, 20, 90),
        pit_grains=float(rng.uniform(*law.pit_grains)),
        gauge_u_um=float(rng.uniform(1, 2.5)),
    )


def draw_job(rng: np.random.Generator, shop: Shop) -> Job:
    """Draw the next surface that a shop is asked to make."""
    diameter = float(np.clip(shop.diameter_mm * rng.uniform(0.8, 1.25), 30, 200))
    radius = max(_log_uniform(rng, 200, 4000), 0.8 * diameter)
    wavelength = WAVELENGTHS_NM[int(rng.integers(2))]
    aperture = Aperture(radius, diameter, wavelength, str(rng.choice(shop.forms)))
    # nobody takes on a tolerance that the shop's eyes cannot tell
    tolerance = max(_log_uniform(rng, 0.5, 5), 3.5 * shop.reading_u)
    count = len(shop.stages)
    start = shop.stages[int(rng.choice(count, p=_start_chances(count)))]
    grain = GRAINS_UM.get(start)
    before = shop.stages.index(start) - 1
    came_from = "polish" if grain is None else shop.stages[before] if before >= 0 else SAWN
    sign = float(rng.choice([-1, 1]))
    if grain is None:
        height, damage = max(float(rng.uniform(1, 12)), 1.5 * tolerance) * wavelength / 2e3, 0.0
    else:
        height = 15 * diameter / 100 * _lognormal(rng, 0.7) * (grain / 109) ** 0.5
        damage = shop.pit_grains * GRAINS_UM.get(came_from, SAWN_UM) * _lognormal(rng, 0.1)
    depths = {s: shop.pit_grains * g * _lognormal(rng, 0.08) for s, g in GRAINS_UM.items()}
    return Job(
        aperture,
        tolerance,
        shop.stages,
        came_from,
        start,
        sign * height,
        damage,
        pace=_lognormal(rng, 0.12),
        tendency=float(rng.normal(0, 0.12)),
        pit_depths_um={s: depths.get(s, 0.0) for s in shop.stages},
    )


def _start_chances(count: int) -> list[float]:
    """Most work begins with the coarsest grit, some further on, some is polished already."""
    return [0.65, *[0.25 / (count - 2)] * (count - 2), 0.1]
