"""Readings and reports of a simulated shop, with their errors and the blunders in them."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.quantity import Source
from shops.glass import Glass, Parts

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
PHOTOGRAPHED_RINGS = 60.0  # most that a photograph is read by
LEAST_SPACING_MM = 0.15  # of rings at the edge that can be counted
COUNTED_U = 0.02  # standard uncertainty of many rings counted by eye, over their number
UNSEEN_OFFSET_UM = 2.0  # of the spherometer, where its uncertainty states one
STANDS_OUT = 4.0  # standard uncertainties from which on a blunder can be seen
MINUTES_BETWEEN = 3.0  # photographs of one visit


@dataclass(frozen=True)
class Blunder:
    """A mistake in what was logged.

    Attributes
    ----------
    kind : {'sense', 'dust', 'minutes'}
        What was wrong.
    visit : int
        Number of the visit, the first one 1.
    matters : bool
        Whether it stands out of the readings' own uncertainty.
    """

    kind: str
    visit: int
    matters: bool


def read(
    glass: Glass, number: int, errs: dict[str, float]
) -> tuple[tuple[Measured, ...], Blunder | None]:
    """Read the surface as the shop does: fringes where they show, the spherometer otherwise.

    Parameters
    ----------
    glass : Glass
        The surface; time passes between photographs.
    number : int
        Of the visit.
    errs : dict
        Error of the last reading by eye, under `eye`, for shops whose eyes are stubborn.
    """
    power = abs(glass.shown_um) / glass.job.fringe_um
    # r^2 grows evenly from ring to ring, so that they are closest at the edge
    countable = glass.job.aperture.semi_mm / (2 * LEAST_SPACING_MM)
    if not glass.readable or power > countable:
        return _spherometer(glass, number)
    photographs = glass.shop.photographs if power <= PHOTOGRAPHED_RINGS else 0
    return _fringes(glass, photographs, number, errs)


def _fringes(
    glass: Glass, photographs: int, number: int, errs: dict[str, float]
) -> tuple[tuple[Measured, ...], Blunder | None]:
    shop, rng = glass.shop, glass.rng
    source = "fringes" if photographs else "eye"
    wrong = rng.random() < shop.law.blunders
    keep = shop.law.eye_memory if source == "eye" and "eye" in errs else 0.0
    found: list[Measured] = []
    matters = False
    for i in range(max(1, photographs)):
        if i:
            glass.rest(MINUTES_BETWEEN)
        many = 0.0 if photographs else COUNTED_U * abs(glass.shown_um) / glass.job.fringe_um
        u = max(shop.reading_u, many)
        fresh = float(rng.normal(0, u))
        error = keep * errs.get("eye", 0.0) + math.sqrt(1 - keep**2) * fresh
        errs["eye"] = error
        power = glass.shown_um / glass.job.fringe_um + error
        matters = matters or 2 * abs(power) > STANDS_OUT * u
        found.append(_measured(-power if wrong else power, u, glass, source))
    return tuple(found), Blunder("sense", number, matters) if wrong else None


def _spherometer(glass: Glass, number: int) -> tuple[tuple[Measured, ...], Blunder | None]:
    shop, rng = glass.shop, glass.rng
    scale = (glass.job.aperture.diameter_mm / shop.ring_mm) ** 2
    way = 1.0 if glass.job.aperture.work == "convex" else -1.0
    dust = 0.0
    if rng.random() < shop.law.blunders:
        dust = float(rng.uniform(5, 25) * rng.choice([-1, 1]))
    error = way * shop.offset_um + float(rng.normal(0, shop.repeatability_um)) + dust
    power = (glass.shown_um + scale * error) / glass.job.fringe_um
    to_fringes = scale / glass.job.fringe_um
    parts = [(Source("repeatability", "work"), shop.repeatability_um * to_fringes)]
    if shop.states_offset:
        parts.append((Source("plate_radius", "plate 1"), UNSEEN_OFFSET_UM * to_fringes))
    u = math.hypot(*(c for _, c in parts))
    one = dataclasses.replace(_measured(power, u, glass, "spherometer"), power_parts=tuple(parts))
    shop.offset_um += float(rng.normal(0, shop.law.offset_drift_um))
    known = STANDS_OUT * math.hypot(
        shop.repeatability_um, UNSEEN_OFFSET_UM if shop.states_offset else 0.0
    )
    return (one,), Blunder("dust", number, abs(dust) > known) if dust else None


def _measured(power: float, u: float, glass: Glass, source: str) -> Measured:
    sense = "centre" if power >= 0 else "edge"
    wavelength = glass.job.aperture.wavelength_nm
    return Measured(power, u, sense, wavelength_nm=wavelength, source=source)


def logged_work(
    glass: Glass, stage: str, parts: Parts, number: int
) -> tuple[Work, Blunder | None, Work]:
    """What is logged of a spell: as it was written down, its blunder, and as it truly was."""
    shop, rng = glass.shop, glass.rng
    fields: dict[str, object] = {}
    if shop.pits_by == "loupe":
        fields["pits"] = "left" if _seen(glass) else "gone"
    if shop.pits_by == "gauge":
        gauged = glass.removed_um + float(rng.normal(0, shop.gauge_u_um))
        fields["removed_mm"] = max(0.0, round(gauged)) / 1e3
    if shop.tells_rest and glass.worked_at is not None:
        fields["rested_minutes"] = float(5 * round((glass.clock - glass.worked_at) / 5))
    true = _work(stage, parts, fields)
    if rng.random() >= shop.law.blunders:
        return true, None, true
    factor = float(rng.choice([0.5, 2.0]))
    wrong = _work(stage, tuple((on_top, factor * m) for on_top, m in parts), fields)
    return wrong, Blunder("minutes", number, _tells(glass, abs(factor - 1))), true


def _tells(glass: Glass, share: float) -> bool:
    """Whether instruments can tell a spell from one that is this share longer or shorter."""
    shop = glass.shop
    if shop.pits_by == "gauge":
        return share * glass.removed_um > STANDS_OUT * shop.gauge_u_um
    scale = (glass.job.aperture.diameter_mm / shop.ring_mm) ** 2
    fringes, sphere = shop.reading_u * glass.job.fringe_um, scale * shop.repeatability_um
    u = fringes if glass.readable else sphere
    return share * abs(glass.moved_um) > STANDS_OUT * u


_WORK_FIELDS = {one.name for one in dataclasses.fields(Work)}


def _work(stage: str, parts: Parts, fields: dict[str, object]) -> Work:
    """Work as the log of this version can hold it."""
    tops = list(dict.fromkeys(on_top for on_top, _ in parts))
    made = {
        "stage": stage,
        "minutes": math.fsum(m for _, m in parts),
        "on_top": tops[0] if len(tops) == 1 else None,
        **fields,
    }
    if len(parts) > 1:
        made["parts"] = parts
    return Work(**{k: v for k, v in made.items() if k in _WORK_FIELDS})  # type: ignore[arg-type]


def rested(glass: Glass) -> Work:
    """What is logged at a visit without work."""
    fields: dict[str, object] = {}
    if glass.shop.tells_rest and glass.worked_at is not None:
        fields["rested_minutes"] = float(5 * round((glass.clock - glass.worked_at) / 5))
    return Work(**{k: v for k, v in fields.items() if k in _WORK_FIELDS})  # type: ignore[arg-type]


def _seen(glass: Glass) -> bool:
    """Whether a loupe shows pits deeper than the stage's own."""
    excess = glass.pits_left_um
    scale = 0.5 + 0.08 * glass.own_pits_um
    missed = math.exp(-excess / scale) if excess > 0 else 0.98
    return bool(glass.rng.random() >= missed)


def record(number: int, clock: float, work: Work, measured: tuple[Measured, ...]) -> VisitRecord:
    """A visit as the judging takes it."""
    return VisitRecord(f"visit {number}", at(clock), work, measured)


def at(clock: float) -> datetime:
    """Time of day at so many minutes after the surface came in."""
    return START + timedelta(minutes=round(clock))


def minutes_of(when: datetime) -> float:
    """Undo :func:`at`."""
    return (when - START) / timedelta(minutes=1)


def generator(*seeds: int) -> np.random.Generator:
    """Random numbers that depend on these alone."""
    return np.random.default_rng(list(seeds))
