"""A surface's visits as a table: what was measured, what it proves, what to do next."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fringe.judge.coverage import coverage_factor
from fringe.judge.nextstep import NextStep, nextstep
from fringe.judge.verdict import Measured, Tolerance, Verdict, surface_verdict


@dataclass(frozen=True)
class VisitRecord:
    """What the judging of a visit needs to know of it.

    Attributes
    ----------
    session_id : str
        Which session it is.
    when : datetime
        Time of the visit.
    stage, on_top : str or None
        Work done since the visit before, and which piece was the upper one.
    minutes : float or None
        Duration of that work [min].
    measured : tuple of Measured
        One a reading; empty where nothing was read.
    """

    session_id: str
    when: datetime
    stage: str | None = None
    minutes: float | None = None
    on_top: str | None = None
    measured: tuple[Measured, ...] = ()


@dataclass(frozen=True)
class VisitRow:
    """One visit in the table of progress; `None` where it does not apply.

    Attributes
    ----------
    when : datetime
        Time of the visit.
    hours_total : float
        Work logged up to this visit [h].
    stage : str or None
        Work done since the visit before.
    minutes : float or None
        Its duration [min].
    power_fringes, power_u95_fringes : float or None
        Power and the half-width of its 95 % interval, in fringes of the tolerance's
        wavelength; the magnitude where the sense is unknown.
    radius_difference_mm, radius_difference_u95_mm : float or None
        Radius difference and the half-width of its 95 % interval [mm].
    irregularity_fringes : float or None
        Irregularity, peak to valley [fringe].
    sense : {'centre', 'edge', 'unknown'}
        Where the contact is.
    verdict : {'inside', 'outside', 'unproven'} or None
        None where nothing was read, or the surface has no tolerance.
    probability : float or None
        Probability of conformity.
    next_step : str or None
        What was to do next after this visit, in a few words.
    session_id : str
        Which session it is.
    on_top : {'work', 'tool'} or None
        Which piece was the upper one.
    reason : str or None
        The verdict's reason.
    power_spread_fringes : float or None
        Largest difference between readings of this visit [fringe]; None for one reading.
    reading_u95_fringes : float or None
        Half-width of the 95 % interval of a single reading of this visit [fringe].
    """

    when: datetime
    hours_total: float
    stage: str | None
    minutes: float | None
    power_fringes: float | None
    power_u95_fringes: float | None
    radius_difference_mm: float | None
    radius_difference_u95_mm: float | None
    irregularity_fringes: float | None
    sense: str
    verdict: str | None
    probability: float | None
    next_step: str | None
    session_id: str
    on_top: str | None = None
    reason: str | None = None
    power_spread_fringes: float | None = None
    reading_u95_fringes: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the fields under their own names, the time in ISO 8601."""
        return dataclasses.asdict(self) | {"when": self.when.isoformat()}


@dataclass(frozen=True)
class Progress:
    """The visits of a surface, judged.

    Attributes
    ----------
    rows : tuple of VisitRow
        One a visit, in their order.
    next_step : NextStep
        What to do now.
    verdict : Verdict or None
        Of the last visit; None where nothing was read, or the surface has no tolerance.
    wavelength_nm : float or None
        Wavelength that the rows' fringes are counted in [nm].
    """

    rows: tuple[VisitRow, ...]
    next_step: NextStep
    verdict: Verdict | None
    wavelength_nm: float | None


def progress(visits: Sequence[VisitRecord], tolerance: Tolerance) -> Progress:
    """Judge each visit of a surface as it stood then, by the tolerance of today.

    Parameters
    ----------
    visits : sequence of VisitRecord
        Visits in their order.
    tolerance : Tolerance
        What is allowed; where it names no wavelength, that of the first reading counts.

    Returns
    -------
    Progress
    """
    wavelength = tolerance.wavelength_nm or _first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    rows: list[VisitRow] = []
    minutes, step, verdict = 0.0, nextstep([], tolerance), None
    for visit in visits:
        minutes += visit.minutes or 0.0
        row, verdict = _row(visit, tolerance, minutes / 60)
        step = nextstep([*rows, row], tolerance)
        rows.append(dataclasses.replace(row, next_step=step.text()))
    return Progress(tuple(rows), step, verdict, wavelength)


def combine(readings: Sequence[Measured], wavelength_nm: float | None = None) -> Measured:
    """Take the mean of the readings of one visit.

    Their uncertainties are taken as fully correlated (one edge, one lamp, one camera place),
    so that repeating does not lessen them; their scatter comes on top of that, as the
    standard uncertainty of a mean.

    Parameters
    ----------
    readings : sequence of Measured
        Readings of one surface at one visit.
    wavelength_nm : float or None
        Wavelength to count fringes in [nm]; None keeps the first reading's.

    Returns
    -------
    Measured
        Readings of unknown sense take that of the others; where these contradict each
        other, the sense is unknown and only readings' magnitudes count.
    """
    target = wavelength_nm or next((m.wavelength_nm for m in readings if m.wavelength_nm), None)
    scaled = [_in_fringes_of(reading, target) for reading in readings]
    senses = {m.sense for m in scaled if m.sense != "unknown" and m.power_fringes is not None}
    sense = senses.pop() if len(senses) == 1 else "unknown"
    sign = -1.0 if sense == "edge" else 1.0
    powers = [(m.power_fringes, m.power_u_fringes) for m in scaled]
    radii = [(m.radius_difference_mm, m.radius_difference_u_mm) for m in scaled]
    radius_sign = _radius_sign(scaled)
    if sense == "unknown" or any(m.sense == "unknown" for m in scaled):
        powers = [(None if v is None else sign * abs(v), u) for v, u in powers]
        radii = [(None if v is None else radius_sign * abs(v), u) for v, u in radii]
    power, power_u = _mean(powers)
    radius, radius_u = _mean(radii)
    irregularity, irregularity_u = _mean(
        [(m.irregularity_fringes, m.irregularity_u_fringes) for m in scaled]
    )
    dofs = [m.dof for m in scaled if m.dof is not None]
    return Measured(
        power, power_u, sense, irregularity, irregularity_u, radius, radius_u, target,
        min(dofs, default=None),
    )  # fmt: skip


def _row(visit: VisitRecord, tolerance: Tolerance, hours: float) -> tuple[VisitRow, Verdict | None]:
    one = combine(visit.measured, tolerance.wavelength_nm)
    judged = _judge(one, tolerance)
    k = coverage_factor(one.dof)
    singles = [_in_fringes_of(m, tolerance.wavelength_nm) for m in visit.measured]
    powers = [m.power_fringes for m in singles if m.power_fringes is not None]
    single_u = [m.power_u_fringes for m in singles if m.power_u_fringes is not None]
    row = VisitRow(
        when=visit.when,
        hours_total=hours,
        stage=visit.stage,
        minutes=visit.minutes,
        power_fringes=one.power_fringes,
        power_u95_fringes=_times(one.power_u_fringes, k),
        radius_difference_mm=one.radius_difference_mm,
        radius_difference_u95_mm=_times(one.radius_difference_u_mm, k),
        irregularity_fringes=one.irregularity_fringes,
        sense=one.sense,
        verdict=judged.state if judged else None,
        probability=judged.probability if judged else None,
        next_step=None,
        session_id=visit.session_id,
        on_top=visit.on_top,
        reason=judged.reason if judged else None,
        power_spread_fringes=max(powers) - min(powers) if len(powers) > 1 else None,
        reading_u95_fringes=_times(max(single_u, default=None), coverage_factor()),
    )
    return row, judged


def _judge(one: Measured, tolerance: Tolerance) -> Verdict | None:
    limits = (
        tolerance.power_fringes, tolerance.irregularity_fringes, tolerance.radius_difference_mm,
    )  # fmt: skip
    values = (one.power_fringes, one.irregularity_fringes, one.radius_difference_mm)
    if limits == (None, None, None) or values == (None, None, None):
        return None
    return surface_verdict(one, tolerance)


def _first_wavelength(visits: Sequence[VisitRecord]) -> float | None:
    readings = (m for visit in visits for m in visit.measured)
    return next((m.wavelength_nm for m in readings if m.wavelength_nm), None)


def _radius_sign(readings: Sequence[Measured]) -> float:
    """Sign that the radius differences of known sense share; plus where they do not."""
    known = {
        math.copysign(1.0, m.radius_difference_mm)
        for m in readings
        if m.sense != "unknown" and m.radius_difference_mm
    }
    return known.pop() if len(known) == 1 else 1.0


def _in_fringes_of(one: Measured, wavelength_nm: float | None) -> Measured:
    if wavelength_nm is None or not one.wavelength_nm or one.wavelength_nm == wavelength_nm:
        return one
    factor = one.wavelength_nm / wavelength_nm
    return dataclasses.replace(
        one,
        power_fringes=_times(one.power_fringes, factor),
        power_u_fringes=_times(one.power_u_fringes, factor),
        irregularity_fringes=_times(one.irregularity_fringes, factor),
        irregularity_u_fringes=_times(one.irregularity_u_fringes, factor),
        wavelength_nm=wavelength_nm,
    )


def _mean(pairs: Sequence[tuple[float | None, float | None]]) -> tuple[float | None, float | None]:
    """Mean of values and its standard uncertainty; None where no value, or any u, is known."""
    known = [(value, u) for value, u in pairs if value is not None]
    if not known:
        return None, None
    values = [value for value, _ in known]
    mean = math.fsum(values) / len(values)
    shares = [u for _, u in known if u is not None]
    if len(shares) < len(known):
        return mean, None
    common = math.fsum(shares) / len(shares)
    if len(values) == 1:
        return mean, common
    scatter2 = math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
    return mean, math.sqrt(common**2 + scatter2 / len(values))


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
