"""A surface's visits as a table: what was measured, what it proves, what to do next."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.judge.advice.form import with_form_advice
from fringe.judge.advice.next_step import nextstep
from fringe.judge.advice.step import NextStep
from fringe.judge.state.combine import combine, in_fringes_of, together
from fringe.judge.state.same_photograph import once_each
from fringe.judge.state.visits import SourceValue, VisitRecord, VisitRow
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance, Verdict, surface_verdict
from fringe.quantity import half_width_if_any
from fringe.units import times

if TYPE_CHECKING:
    from fringe.judge.state.belief import Belief
    from fringe.judge.state.forecast import Forecast
    from fringe.judge.state.memory import Memory
    from fringe.judge.state.observed import OtherSurface

__all__ = [
    "Progress",
    "SourceValue",
    "VisitRecord",
    "VisitRow",
    "combine",
    "last_visit",
    "progress",
]


# Of so many of the last visits it is told what was to do next after them.
STEPS_TOLD = 40


@dataclass(frozen=True)
class Progress:
    """The visits of a surface, judged.

    Attributes
    ----------
    rows : tuple of VisitRow
        One a visit, in their order.
    next_step : NextStep
        What to do now.
    verdicts : tuple of Verdict or None
        As it stood after each visit: that of the last visit until then that worked or read; None
        where that one read nothing, or the surface has no tolerance.
    wavelength_nm : float or None
        Wavelength that the rows' fringes are counted in [nm].
    rates : tuple of Forecast
        What each kind of work that was logged does, the latest kind last; empty where
        nothing tells.
    """

    rows: tuple[VisitRow, ...]
    next_step: NextStep
    verdicts: tuple[Verdict | None, ...]
    wavelength_nm: float | None
    rates: tuple[Forecast, ...] = ()

    @property
    def verdict(self) -> Verdict | None:
        """As it stands now."""
        return self.verdicts[-1] if self.verdicts else None

    def with_step(self, step: NextStep) -> Progress:
        """The same with another next step after the last visit."""
        last = dataclasses.replace(self.rows[-1], next_step=step.text())
        return dataclasses.replace(self, rows=(*self.rows[:-1], last), next_step=step)


def progress(
    visits: Sequence[VisitRecord],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    others: Sequence[OtherSurface] = (),
    pit_factor: float | None = None,
    told: Collection[str] = (),
    memory: Memory | None = None,
) -> Progress:
    """Judge each visit of a surface as it stood then, by the tolerance of today.

    Parameters
    ----------
    visits : sequence of VisitRecord
        Visits in their order.
    tolerance : Tolerance
        What is allowed; where it names no wavelength, that of the first reading counts.
    aperture : Aperture, optional
        The surface, for the radius that a next spell leads to.
    others : sequence of OtherSurface
        Other surfaces of the shop, the oldest first: what they teach of its work.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.
    told : collection of str
        Sessions of which what was to do next after them is known; only of the last visit it is
        worked out all the same.
    memory : Memory, optional
        What was inferred of the surface before.

    Returns
    -------
    Progress
    """
    wavelength = tolerance.wavelength_nm or _first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    rows: list[VisitRow] = []
    verdicts: list[Verdict | None] = []
    asked = [
        left == 0 or (left < STEPS_TOLD and visit.session_id not in told)
        for left, visit in zip(range(len(visits))[::-1], visits, strict=True)
    ]
    wanted = len(visits) - asked.index(True) if visits else 0
    beliefs = _beliefs(visits, wavelength, others, aperture, pit_factor, memory, wanted)
    minutes, step = 0.0, nextstep([], tolerance)
    for place, (visit, belief, ask) in enumerate(zip(visits, beliefs, asked, strict=True), 1):
        minutes += visit.work.minutes or 0.0
        row, judged = visit_row(visit, tolerance, minutes / 60)
        stands = judged is not None or visit.work.stage or visit.work.minutes or not verdicts
        verdicts.append(judged if stands else verdicts[-1])
        rows.append(row)
        if ask:
            brief = place < len(visits)
            step = nextstep(rows, tolerance, belief, aperture=aperture, others=others, brief=brief)
            rows[-1] = dataclasses.replace(row, next_step=step.text())
    rates = _rates(beliefs, tolerance, aperture)
    step = with_form_advice(step, rows, tolerance)
    return Progress(tuple(rows), step, tuple(verdicts), wavelength, rates)


def _beliefs(
    visits: Sequence[VisitRecord],
    wavelength_nm: float | None,
    others: Sequence[OtherSurface],
    aperture: Aperture | None,
    pit_factor: float | None,
    memory: Memory | None,
    wanted: int,
) -> Sequence[Belief | None]:
    """What is believed of the surface after the last visits; None before power was read."""
    if not any(one.power_fringes is not None for visit in visits for one in visit.own):
        return [None] * len(visits)
    from fringe.judge.state.filter import believe
    from fringe.judge.state.observed import observed

    form = "convex" if aperture is None else aperture.work
    return believe(
        observed(visits, wavelength_nm, form),
        others=others,
        pit_factor=pit_factor,
        memory=memory,
        wanted=wanted,
    )


def last_visit(
    visits: Sequence[VisitRecord], tolerance: Tolerance
) -> tuple[VisitRow | None, Verdict | None]:
    """Judge only the last visit that read or worked: as :func:`progress`, for long lists.

    Returns
    -------
    row : VisitRow or None
        Of that visit; None without any.
    verdict : Verdict or None
        As in `Progress`.
    """
    wavelength = tolerance.wavelength_nm or _first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    hours = math.fsum(visit.work.minutes or 0.0 for visit in visits) / 60
    for visit in reversed(visits):
        if visit.own or visit.work.stage or visit.work.minutes:
            return visit_row(visit, tolerance, hours)
    return (visit_row(visits[-1], tolerance, hours)[0], None) if visits else (None, None)


def _rates(
    beliefs: Sequence[Belief | None], tolerance: Tolerance, aperture: Aperture | None
) -> tuple[Forecast, ...]:
    last = beliefs[-1] if beliefs else None
    if last is None:
        return ()
    from fringe.judge.advice.ahead import learned
    from fringe.judge.tolerance.half_width import half_width_um

    return learned(last, half_width_um(tolerance, aperture))


def visit_row(
    visit: VisitRecord, tolerance: Tolerance, hours: float
) -> tuple[VisitRow, Verdict | None]:
    """A visit in fringes of the tolerance, and its verdict, None where it has none."""
    found = together(visit.own, tolerance.wavelength_nm)
    one = found.value
    judged = _judge(one, tolerance, found.conflict)
    singles = [
        in_fringes_of(m, tolerance.wavelength_nm)
        for m in once_each(visit.own)[0]
        if m.source == "fringes"
    ]
    powers = [m.power_fringes for m in singles if m.power_fringes is not None]
    single_u = [m.power_u_fringes for m in singles if m.power_u_fringes is not None]
    row = VisitRow(
        when=visit.when,
        hours_total=hours,
        stage=visit.work.stage,
        minutes=visit.work.minutes,
        power_fringes=one.power_fringes,
        power_u95_fringes=half_width_if_any(one.power_u_fringes, one.dof),
        radius_difference_mm=one.radius_difference_mm,
        radius_difference_u95_mm=half_width_if_any(one.radius_difference_u_mm, one.dof),
        irregularity_fringes=one.irregularity_fringes,
        sense=one.sense,
        verdict=judged.state if judged else None,
        probability=judged.probability if judged else None,
        next_step=None,
        session_id=visit.session_id,
        on_top=visit.work.on_top,
        reason=judged.reason if judged else None,
        power_spread_fringes=max(powers) - min(powers) if len(powers) > 1 else None,
        reading_u95_fringes=half_width_if_any(max(single_u, default=None)),
        method=None if one.power_fringes is None else one.source,
        parts=tuple(map(_part, found.parts)),
        conflict=found.conflict,
        removed_um=times(visit.work.removed_mm, 1e3),
        pits=visit.work.pits,
        rested_minutes=visit.work.rested_minutes,
        split=visit.work.parts,
        irregularity_u95_fringes=None if one.irregularity is None else one.irregularity.u95,
        visit=visit.number,
        corrected=visit.corrected,
        stroke=visit.work.stroke,
        form=tuple(feature.of_sense(one.sense) for feature in one.features),
    )
    return row, judged


def _part(one: Measured) -> SourceValue:
    u95 = half_width_if_any(one.power_u_fringes, one.dof)
    return SourceValue(one.source, one.power_fringes or 0.0, u95, one.sense)


def _judge(one: Measured, tolerance: Tolerance, conflict: str | None) -> Verdict | None:
    values = (one.power_fringes, one.irregularity_fringes, one.radius_difference_mm)
    if not tolerance.limits_anything or values == (None, None, None):
        return None
    judged = surface_verdict(one, tolerance)
    if conflict is None or judged.state == "unproven":
        return judged
    # what contradicts itself proves nothing
    return dataclasses.replace(judged, state="unproven", reason=conflict)


def _first_wavelength(visits: Sequence[VisitRecord]) -> float | None:
    readings = (m for visit in visits for m in visit.own)
    return next((m.wavelength_nm for m in readings if m.wavelength_nm), None)
