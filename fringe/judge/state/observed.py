"""What a surface's state is inferred from: each visit's spells of work and readings of height."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.judge.state.abrasives import Stage, stage
from fringe.judge.state.combine import together
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.half_width import NM_PER_UM
from fringe.judge.tolerance.measured import Measured
from fringe.quantity import Quantity, half_width, standard

NO_STAGE = Stage("", key="")
SPHEROMETER = "spherometer"
# Standard uncertainty of a reading that states none: of fringes and rings counted by eye
# [fringe], of the spherometer [um of height]. Common practice, no source.
UNSTATED_FRINGES = {"fringes": 0.1, "eye": 0.3}
UNSTATED_SPHEROMETER_UM = 3.0
# Readings more certain than this are typing errors [um].
LEAST_U_UM = 1e-3
# What all readings of one spherometer share is larger than what they scatter, about threefold
# (3 um of 1 um on its own ring; common practice, no source).
OFFSET_SHARE = 3.0
# sources whose error differs from one reading of a spherometer to the next
OWN_SOURCES = ("repeatability", "resolution")


@dataclass(frozen=True)
class Spell:
    """One spell of work with one piece on top.

    Attributes
    ----------
    stage : Stage
        The work.
    minutes : float or None
        Its duration [min]; None: not told.
    on_top : {'work', 'tool'} or None
        Which piece was the upper one; None: not told.
    removed_um : float or None
        Glass that it took off, by a gauge of thickness [um].
    pits : {'gone', 'left'} or None
        What a look through a loupe said.
    """

    stage: Stage
    minutes: float | None = None
    on_top: str | None = None
    removed_um: float | None = None
    pits: str | None = None


@dataclass(frozen=True)
class HeightReading:
    """One reading of the height of power.

    Attributes
    ----------
    source : {'fringes', 'eye', 'spherometer'}
        What measured.
    height_um : float
        Rim minus centre of the gap over the aperture [um]; its magnitude where not `signed`.
    u_um : float
        Standard uncertainty of this reading alone [um].
    u_offset_um : float
        Standard uncertainty of what every reading by this instrument has in common [um]; 0 for
        fringes, negative where that error makes a surface of this form read lower.
    signed : bool
        Whether the reading tells where the contact is.
    rested_minutes : float or None
        Minutes since the work left the lap; None: not told.
    """

    source: str
    height_um: float
    u_um: float
    u_offset_um: float = 0.0
    signed: bool = True
    rested_minutes: float | None = None


@dataclass(frozen=True)
class ObservedVisit:
    """What one visit tells: the work since the visit before, then the readings.

    Attributes
    ----------
    when : datetime
        Its time.
    spells : tuple of Spell
        In their order.
    readings : tuple of HeightReading
        One a source.
    number : int
        Of the visit, from 1.
    pits : {'gone', 'left'} or None
        What a look through a loupe said at a visit without work.
    """

    when: datetime
    spells: tuple[Spell, ...] = ()
    readings: tuple[HeightReading, ...] = ()
    number: int = 0
    pits: str | None = None


@dataclass(frozen=True, eq=False)
class OtherSurface:
    """Another surface of the shop, for what its visits teach of the shop.

    Two are equal only where they are one: what a row of them teaches is remembered by them.

    Attributes
    ----------
    visits : tuple of ObservedVisit
        In their order.
    diameter_mm : float or None
        Diameter of its aperture [mm].
    """

    visits: tuple[ObservedVisit, ...]
    diameter_mm: float | None = None

    @property
    def teaches(self) -> bool:
        """Whether it was both worked and read."""
        worked = any(one.spells for one in self.visits)
        return worked and any(one.readings for one in self.visits)


def observed(
    visits: Sequence[VisitRecord], wavelength_nm: float | None, form: str = "convex"
) -> tuple[ObservedVisit, ...]:
    """Take from the visits of a surface what its state is inferred from.

    Parameters
    ----------
    visits : sequence of VisitRecord
        In their order.
    wavelength_nm : float or None
        For readings in fringes that name no wavelength [nm].
    form : {'convex', 'concave'}
        Of the work: a spherometer that reads too high makes the power of a convex work too
        large, and that of a concave one too small.

    Returns
    -------
    tuple of ObservedVisit
        One a visit.
    """
    return tuple(
        ObservedVisit(
            visit.when,
            spells_of(visit.work),
            _readings(visit, wavelength_nm, form),
            number,
            None if visit.work.worked else visit.work.pits,
        )
        for number, visit in enumerate(visits, 1)
    )


def spells_of(work: Work) -> tuple[Spell, ...]:
    """The work of one visit as spells with one piece on top each."""
    if not work.worked:
        return ()
    one = NO_STAGE if work.stage is None else stage(work.stage)
    removed_um = None if work.removed_mm is None else work.removed_mm * NM_PER_UM
    if not work.parts:
        return (Spell(one, work.minutes, work.on_top, removed_um, work.pits),)
    # the gauge and the loupe speak of all of them together: the last one carries what they say
    last = len(work.parts) - 1
    return tuple(
        Spell(one, minutes, on_top, *((removed_um, work.pits) if i == last else (None, None)))
        for i, (on_top, minutes) in enumerate(work.parts)
    )


def _readings(
    visit: VisitRecord, wavelength_nm: float | None, form: str
) -> tuple[HeightReading, ...]:
    found = (_reading(one, visit.work, form) for one in together(visit.own, wavelength_nm).parts)
    return tuple(one for one in found if one is not None)


def _reading(one: Measured, work: Work, form: str) -> HeightReading | None:
    if one.power_fringes is None or not one.wavelength_nm:
        return None
    fringe_um = one.wavelength_nm / 2 / NM_PER_UM
    power, u_offset = one.power, 0.0
    if one.source == SPHEROMETER:
        u, u_offset = _spherometer_u(power, fringe_um)
        u_offset *= -1.0 if form == "concave" else 1.0
    elif power is not None:
        # Student's t is brought in by the width of the 95 % interval
        u = standard(power.u95) * fringe_um
    else:
        u = UNSTATED_FRINGES.get(one.source, UNSTATED_FRINGES["fringes"]) * fringe_um
    u, height = max(u, LEAST_U_UM), one.power_fringes * fringe_um
    if not (math.isfinite(u) and math.isfinite(height)):
        return None
    signed = one.sense != "unknown"
    return HeightReading(one.source, height, u, u_offset, signed, work.rested_minutes)


def _spherometer_u(power: Quantity | None, fringe_um: float) -> tuple[float, float]:
    """Standard uncertainty of a spherometer's reading, and of what its readings share [um]."""
    if power is None:
        return UNSTATED_SPHEROMETER_UM, OFFSET_SHARE * UNSTATED_SPHEROMETER_UM
    own = power.u_of(*OWN_SOURCES) or power.u
    shared = math.sqrt(max(0.0, power.u**2 - own**2))
    u = standard(half_width(own, power.dof)) * fringe_um
    return u, max(shared, OFFSET_SHARE * own) * fringe_um
