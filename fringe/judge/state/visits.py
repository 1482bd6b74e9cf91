"""Visits of a surface: the input of a judgement, and the row in the table of progress."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from fringe.judge.tolerance.verdict import Measured

if TYPE_CHECKING:
    pass


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
