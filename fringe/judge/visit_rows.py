"""A visit as a row: what it measured, in fringes of the tolerance, and what that proves."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from fringe.judge.state.combine import in_fringes_of, together
from fringe.judge.state.same_photograph import once_each
from fringe.judge.state.visits import SourceValue, VisitRecord, VisitRow
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance, Verdict, surface_verdict
from fringe.quantity import half_width_if_any
from fringe.units import times


def last_visit(
    visits: Sequence[VisitRecord], tolerance: Tolerance
) -> tuple[VisitRow | None, Verdict | None]:
    """Judge only the last visit that read or worked: as the whole log, for long lists.

    Returns
    -------
    row : VisitRow or None
        Of that visit; None without any.
    verdict : Verdict or None
        As in `Progress`.
    """
    wavelength = tolerance.wavelength_nm or first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    hours = math.fsum(visit.work.minutes or 0.0 for visit in visits) / 60
    for visit in reversed(visits):
        if visit.own or visit.work.stage or visit.work.minutes:
            return visit_row(visit, tolerance, hours)
    return (visit_row(visits[-1], tolerance, hours)[0], None) if visits else (None, None)


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


def first_wavelength(visits: Sequence[VisitRecord]) -> float | None:
    """Wavelength of the first reading that names one [nm]."""
    readings = (m for visit in visits for m in visit.own)
    return next((m.wavelength_nm for m in readings if m.wavelength_nm), None)
