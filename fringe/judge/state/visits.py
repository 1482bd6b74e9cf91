"""Visits of a surface: the input of a judgement, and the row in the table of progress."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

from fringe.errors import BadInput
from fringe.judge.tolerance.measured import Measured
from fringe.optics.feature import FormFeature

ON_TOP = ("work", "tool")
PITS = ("gone", "left")


@dataclass(frozen=True)
class Work:
    """Work done on the surface since the visit before.

    Attributes
    ----------
    stage : str or None
        Its name, free text: a grit, `polish`.
    minutes : float or None
        How long [min].
    on_top : {'work', 'tool'} or None
        Which piece was the upper one.
    stroke, lap, pressure, slurry : str or None
        How it was done, free text.
    removed_mm : float or None
        Glass that it took off, by a gauge of thickness [mm].
    pits : {'gone', 'left'} or None
        What a loupe said of the pits of the grit before.
    """

    stage: str | None = None
    minutes: float | None = None
    on_top: str | None = None
    stroke: str | None = None
    lap: str | None = None
    pressure: str | None = None
    slurry: str | None = None
    removed_mm: float | None = None
    pits: str | None = None

    def __post_init__(self) -> None:
        """Refuse impossible work."""
        if self.minutes is not None and not 0 <= self.minutes < float("inf"):
            raise BadInput(f"work: {self.minutes:g} minutes cannot be")
        if self.on_top is not None and self.on_top not in ON_TOP:
            raise BadInput(f"work: on top is {self.on_top!r}, not work or tool")
        if self.removed_mm is not None and not 0 <= self.removed_mm < float("inf"):
            raise BadInput(f"work: {self.removed_mm:g} mm cannot have been taken off")
        if self.pits is not None and self.pits not in PITS:
            raise BadInput(f"work: pits are {self.pits!r}, not gone or left")


NO_WORK = Work()


@dataclass(frozen=True)
class VisitRecord:
    """What the judging of a visit needs to know of it.

    Attributes
    ----------
    session_id : str
        Which session it is.
    when : datetime
        Time of the visit.
    work : Work
        What was done since the visit before.
    measured : tuple of Measured
        What fringes and the spherometer said of the whole aperture; empty where nothing was
        read. Contacts with other pieces name them.
    number : int
        Number of the visit; 0 where it is not logged.
    corrected : bool
        It was corrected after it was logged.
    """

    session_id: str
    when: datetime
    work: Work = NO_WORK
    measured: tuple[Measured, ...] = ()
    number: int = 0
    corrected: bool = False

    @property
    def own(self) -> tuple[Measured, ...]:
        """What was measured on the plate; a contact with another piece is the pair's matter."""
        return tuple(one for one in self.measured if one.against is None)


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
    irregularity_fringes, irregularity_u95_fringes : float or None
        Irregularity, peak to valley, and the half-width of its 95 % interval [fringe].
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
        Glass that the work took off [um], and `pits` as in `Work`.
    visit : int
        Number of the visit; 0 where it is not logged.
    corrected : bool
        It was corrected after it was logged.
    stroke : str or None
        How the work was done, free text.
    form : tuple of FormFeature
        Zones, turned edges, holes and astigmatism that the form proves, the highest first.
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
    irregularity_u95_fringes: float | None = None
    visit: int = 0
    corrected: bool = False
    stroke: str | None = None
    form: tuple[FormFeature, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names, the time in ISO 8601."""
        form = [one.to_json() for one in self.form]
        return dataclasses.asdict(self) | {"when": self.when.isoformat(), "form": form}
