"""Laws by which simulated shops work: the usual one, harder ones, and held-out ones."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Law:
    """How the work of a shop goes.

    Attributes
    ----------
    name : str
        What the option `--law` calls it.
    spell_scatter : (float, float)
        Range of the standard deviation of a spell's log rate; a shop has one in it.
    shop_scatter : float
        Standard deviation of a shop's log rates about the usual ones.
    minutes_power : float
        Removal grows as minutes to this power (equal to the plain law at 30 min).
    slurry_minutes : float or None
        A spell's removal dies away with this time constant: the slurry is used up [min].
    ratio_drift : float
        Standard deviation by which the log ratio of the lower to the upper piece moves a spell.
    offset_drift_um : float
        The same of the spherometer's offset, a visit [um].
    wear_per_hour : float
        Share of the polishing rate that the pad loses an hour, until it is pressed anew.
    reversed_share : float
        Share of the spells of polishing that go the other way.
    heavy_tails : bool
        Log rates of spells follow Student's t with three degrees of freedom.
    memory : float
        Correlation of one spell's log rate with that of the spell before.
    lap_relaxation : float
        Share of the height, an hour, that the lap's own form takes away in polishing.
    pit_grains : (float, float)
        Range of the depth of pits over the grain size.
    warm_below : float
        Chance that the warmth of a spell makes the height smaller.
    eye_memory : float
        Correlation of the errors of two readings by eye without work between them.
    blunders : float
        Chance of a blunder in a reading or in a spell's minutes.
    """

    name: str
    spell_scatter: tuple[float, float] = (0.15, 0.25)
    shop_scatter: float = 0.3
    minutes_power: float = 1.0
    slurry_minutes: float | None = None
    ratio_drift: float = 0.0
    offset_drift_um: float = 0.0
    wear_per_hour: float = 0.0
    reversed_share: float = 0.04
    heavy_tails: bool = False
    memory: float = 0.0
    lap_relaxation: float = 0.0
    pit_grains: tuple[float, float] = (1.2, 3.0)
    warm_below: float = 0.2
    eye_memory: float = 0.0
    blunders: float = 0.03


PLAIN = Law("plain")

# Harder laws, to which advice may be tuned.
HARD = (
    PLAIN,
    replace(PLAIN, name="power", minutes_power=0.85),
    replace(PLAIN, name="ratio", ratio_drift=0.1),
    replace(PLAIN, name="offset", offset_drift_um=0.5),
    replace(PLAIN, name="scatter", spell_scatter=(0.35, 0.35)),
    replace(PLAIN, name="wear", wear_per_hour=0.06),
)

# Laws that nothing is to be tuned to: they tell what advice does where its assumptions fail.
HELD_OUT = (
    replace(PLAIN, name="slurry", slurry_minutes=60.0),
    replace(PLAIN, name="tails", heavy_tails=True),
    replace(PLAIN, name="memory", memory=0.7),
    replace(PLAIN, name="lap", lap_relaxation=0.08),
    replace(PLAIN, name="deep", pit_grains=(1.0, 4.0), shop_scatter=0.45),
    replace(PLAIN, name="stubborn", eye_memory=0.7, warm_below=0.5),
)

LAWS = {law.name: law for law in (*HARD, *HELD_OUT)}


def laws_of(name: str) -> tuple[Law, ...]:
    """Laws that shops of a run take in turn: one by its name, `hard`, `held-out` or `all`."""
    groups = {"hard": HARD, "held-out": HELD_OUT, "all": (*HARD, *HELD_OUT)}
    return groups.get(name) or (LAWS[name],)
