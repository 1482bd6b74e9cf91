"""A surface's visits as a table: what was measured, what it proves, what to do next."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from fringe.judge.combine import combine, in_fringes_of, together
from fringe.judge.coverage import coverage_factor
from fringe.judge.nextstep import NextStep, nextstep
from fringe.judge.tolerance import Aperture
from fringe.judge.verdict import Measured, Tolerance, Verdict, surface_verdict

if TYPE_CHECKING:
    from fringe.judge.forecast import Forecast
    from fringe.judge.rates import Change

__all__ = [
    "Progress", "SourceValue", "VisitRecord", "VisitRow", "combine", "last_visit", "progress",
    "visit_rows",
]  # fmt: skip


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
    removed_um : float or None
        Glass that the work took off, by a gauge of thickness [um].
    pits : {'gone', 'left'} or None
        What a loupe said of the pits of the grit before.
    """

    session_id: str
    when: datetime
    stage: str | None = None
    minutes: float | None = None
    on_top: str | None = None
    measured: tuple[Measured, ...] = ()
    removed_um: float | None = None
    pits: str | None = None


@dataclass(frozen=True)
class SourceValue:
    """Power as one source measured it at a visit.

    Attributes
    ----------
    source : str
        `fringes`, `eye` or `spherometer`.
    power_fringes, power_u95_fringes : float, float or None
        Power and the half-width of its 95 % interval, in fringes of the row.
    sense : {'centre', 'edge', 'unknown'}
        Where the contact is.
    """

    source: str
    power_fringes: float
    power_u95_fringes: float | None
    sense: str


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
        Probability of conformity; None also where it hangs on what was not measured.
    next_step : str or None
        What was to do next after this visit, in a few words.
    session_id : str
        Which session it is.
    on_top : {'work', 'tool'} or None
        Which piece was the upper one.
    reason : str or None
        The verdict's reason.
    power_spread_fringes : float or None
        Largest difference between photographs of this visit [fringe]; None for one.
    reading_u95_fringes : float or None
        Half-width of the 95 % interval of a single photograph of this visit [fringe].
    method : str or None
        What measured power: `fringes`, `eye`, `spherometer`, or several.
    parts : tuple of SourceValue
        Power by each source.
    conflict : str or None
        Sources that contradict each other, in words.
    removed_um, pits : float or None, str or None
        As in `VisitRecord`.
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
    method: str | None = None
    parts: tuple[SourceValue, ...] = ()
    conflict: str | None = None
    removed_um: float | None = None
    pits: str | None = None

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
        Of the last visit that worked or read; None where it read nothing, or the surface has
        no tolerance.
    wavelength_nm : float or None
        Wavelength that the rows' fringes are counted in [nm].
    rates : tuple of Forecast
        What each kind of work that was logged does, the latest kind last; empty where
        nothing tells.
    """

    rows: tuple[VisitRow, ...]
    next_step: NextStep
    verdict: Verdict | None
    wavelength_nm: float | None
    rates: tuple[Forecast, ...] = ()


def progress(
    visits: Sequence[VisitRecord],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    like: Sequence[Sequence[Change]] = (),
    pit_factor: float | None = None,
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
    like : sequence of sequence of Change
        What work did to like surfaces, for the last visit's forecast.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.

    Returns
    -------
    Progress
    """
    wavelength = tolerance.wavelength_nm or _first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    rows: list[VisitRow] = []
    verdict: Verdict | None = None
    minutes, step = 0.0, nextstep([], tolerance)
    for i, visit in enumerate(visits):
        minutes += visit.minutes or 0.0
        row, judged = _row(visit, tolerance, minutes / 60)
        if judged is not None or visit.stage or visit.minutes:
            verdict = judged
        known = like if i == len(visits) - 1 else ()
        step = nextstep(
            [*rows, row], tolerance, aperture=aperture, like=known, pit_factor=pit_factor
        )  # fmt: skip
        rows.append(dataclasses.replace(row, next_step=step.text()))
    return Progress(
        tuple(rows), step, verdict, wavelength, _rates(rows, tolerance, aperture, like)
    )  # fmt: skip


def visit_rows(visits: Sequence[VisitRecord], wavelength_nm: float) -> tuple[VisitRow, ...]:
    """Visits as rows in fringes of a wavelength, neither judged nor followed by a step."""
    tolerance = Tolerance(wavelength_nm=wavelength_nm)
    rows, minutes = [], 0.0
    for visit in visits:
        minutes += visit.minutes or 0.0
        rows.append(_row(visit, tolerance, minutes / 60)[0])
    return tuple(rows)


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
    hours = math.fsum(visit.minutes or 0.0 for visit in visits) / 60
    for visit in reversed(visits):
        if visit.measured or visit.stage or visit.minutes:
            return _row(visit, tolerance, hours)
    return (_row(visits[-1], tolerance, hours)[0], None) if visits else (None, None)


def _rates(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    aperture: Aperture | None,
    like: Sequence[Sequence[Change]],
) -> tuple[Forecast, ...]:
    if not any(row.minutes for row in rows):
        return ()
    from fringe.judge.lives import learned_rates

    return learned_rates(rows, tolerance, aperture=aperture, like=like)


def _row(visit: VisitRecord, tolerance: Tolerance, hours: float) -> tuple[VisitRow, Verdict | None]:
    found = together(visit.measured, tolerance.wavelength_nm)
    one = found.value
    judged = _judge(one, tolerance, found.conflict)
    k = coverage_factor(one.dof)
    singles = [
        in_fringes_of(m, tolerance.wavelength_nm) for m in visit.measured if m.source == "fringes"
    ]
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
        probability=_probability(judged),
        next_step=None,
        session_id=visit.session_id,
        on_top=visit.on_top,
        reason=judged.reason if judged else None,
        power_spread_fringes=max(powers) - min(powers) if len(powers) > 1 else None,
        reading_u95_fringes=_times(max(single_u, default=None), coverage_factor()),
        method=None if one.power_fringes is None else one.source,
        parts=tuple(map(_part, found.parts)),
        conflict=found.conflict,
        removed_um=visit.removed_um,
        pits=visit.pits,
    )
    return row, judged


def _probability(judged: Verdict | None) -> float | None:
    """Probability of conformity; None where something that is limited was not measured."""
    if judged is None:
        return None
    open_ = judged.state != "outside" and any(part.value is None for part in judged.parts)
    return None if open_ else judged.probability


def _part(one: Measured) -> SourceValue:
    u95 = _times(one.power_u_fringes, coverage_factor(one.dof))
    return SourceValue(one.source, one.power_fringes or 0.0, u95, one.sense)


def _judge(one: Measured, tolerance: Tolerance, conflict: str | None) -> Verdict | None:
    limits = (
        tolerance.power_fringes, tolerance.irregularity_fringes, tolerance.radius_difference_mm,
    )  # fmt: skip
    values = (one.power_fringes, one.irregularity_fringes, one.radius_difference_mm)
    if limits == (None, None, None) or values == (None, None, None):
        return None
    judged = surface_verdict(one, tolerance)
    if conflict is None or judged.state == "unproven":
        return judged
    # what contradicts itself proves nothing
    return dataclasses.replace(judged, state="unproven", reason=conflict)


def _first_wavelength(visits: Sequence[VisitRecord]) -> float | None:
    readings = (m for visit in visits for m in visit.measured)
    return next((m.wavelength_nm for m in readings if m.wavelength_nm), None)


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
