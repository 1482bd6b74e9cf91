"""A plate as it is known now: radius, uncertainty and form, by its record and its own visits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

from fringe.archive.instruments import Instrument
from fringe.archive.plate_maps import PlateMapFile, latest_file
from fringe.format import plus_minus
from fringe.judge.plates.calibration import due_on
from fringe.judge.plates.evidence import PlateCertificate, standing
from fringe.quantity import half_width_if_any

if TYPE_CHECKING:
    from fringe.archive.plates.visits import PlateLog


@dataclass(frozen=True)
class PlateEvidence:
    """One piece of evidence on a plate's radius.

    Attributes
    ----------
    kind : {'certificate', 'spherometer', 'contact'}
        What it is.
    visit : int or None
        Of which plate's log; None: the plate's record.
    plate : str
        Whose visit it is: of a contact it may be the other plate's.
    text : str
        What it says, for the person.
    counts : bool
        Whether it counts; a certificate may be superseded.
    off : float or None
        Distance from what all other evidence says, in standard uncertainties of that distance.
    """

    kind: str
    visit: int | None
    plate: str
    text: str
    counts: bool = True
    off: float | None = None

    def to_json(self) -> dict[str, object]:
        """Return everything under its name."""
        return dict(vars(self))


@dataclass(frozen=True)
class PlateState:
    """What is known of a plate now.

    Attributes
    ----------
    plate : Instrument
        Its record.
    radius_mm, u_mm : float, float or None
        Radius and its standard uncertainty [mm].
    by : {'record', 'visits'}
        What they follow from.
    evidence : tuple of PlateEvidence
        Of the radius.
    chi2, dof, probability : float or None, int or None, float or None
        How the evidence on this plate and on those tied to it hangs together: weighted sum of
        squares, degrees of freedom, probability of so large a sum; None with the record alone.
    contradictions : tuple of str
        Pieces of evidence that cannot be true together, in words.
    birge_ratio : float
        Of all this evidence; 1 where it holds together.
    widened : float
        By how much `u_mm` is widened in all where it does not, at least by that ratio.
    certified : date or None
        Of the latest certificate that counts.
    due : date or None
        When the plate is to be certified anew; None where no interval is said.
    log : PlateLog or None
        Its visits.
    notes : tuple of str
        What the person should know.
    problems : tuple of str
        One line for each session that cannot be read.
    """

    plate: Instrument
    radius_mm: float
    u_mm: float | None
    by: str = "record"
    evidence: tuple[PlateEvidence, ...] = ()
    chi2: float | None = None
    dof: int | None = None
    probability: float | None = None
    contradictions: tuple[str, ...] = ()
    birge_ratio: float = 1.0
    widened: float = 1.0
    certified: date | None = None
    due: date | None = None
    log: PlateLog | None = None
    notes: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Of the plate."""
        return self.plate.name

    @cached_property
    def known_map(self) -> PlateMapFile | None:
        """The map of its form that counts."""
        path = self.plate.path  # ARCHIVE/instruments/plate/NAME.toml
        return None if path is None else latest_file(path.parents[2], self.name)

    @property
    def form(self) -> str:
        """`convex` or `concave`."""
        return str(self.plate.values["form"])

    @property
    def u95_mm(self) -> float | None:
        """Half-width of the 95 % interval of the radius [mm]."""
        return half_width_if_any(self.u_mm)

    @property
    def radius_text(self) -> str:
        """Radius with its uncertainty."""
        return plus_minus(self.radius_mm, self.u95_mm, "mm", digits=7)

    def overdue(self, today: date) -> str | None:
        """Say that the plate is past its recalibration; None where it is not."""
        if self.due is None or today <= self.due:
            return None
        since = "" if self.certified is None else f", its certificate is of {self.certified}"
        return f"plate {self.name} was due for recalibration on {self.due}{since}"

    def changed_from(self, radius_mm: float | None, u_mm: float | None) -> bool:
        """Whether the radius is another than one that is on record elsewhere.

        It is where the two differ by more than a tenth of the uncertainty, or the uncertainties
        do (ours, no source): less changes nothing that is shown.
        """
        if radius_mm is None or (u_mm is None) != (self.u_mm is None):
            return True
        u, now = u_mm or 0.0, self.u_mm or 0.0
        least = 0.1 * max(u, now)
        return abs(radius_mm - self.radius_mm) > max(least, 1e-9 * radius_mm) or abs(u - now) > (
            least
        )

    def to_json(self, today: date) -> dict[str, object]:
        """Return everything under its name, as `fringe plate show --json`."""
        return {
            "name": self.name,
            "form": self.form,
            "radius_mm": self.radius_mm,
            "u_radius_mm": self.u_mm,
            "radius_u95_mm": self.u95_mm,
            "radius_by": self.by,
            "evidence": [one.to_json() for one in self.evidence],
            "chi2": self.chi2,
            "dof": self.dof,
            "probability": self.probability,
            "contradictions": list(self.contradictions),
            "birge_ratio": self.birge_ratio,
            "widened": self.widened,
            "certified": None if self.certified is None else self.certified.isoformat(),
            "due": None if self.due is None else self.due.isoformat(),
            "overdue": self.overdue(today) is not None,
            "visits": [] if self.log is None else [*map(_visit_json, _rows(self.log))],
            "map": None if self.known_map is None else self.known_map.to_json(),
            "notes": list(self.notes),
            "problems": list(self.problems),
        }


@dataclass(frozen=True)
class PlateVisitRow:
    """A visit of a plate in a list.

    Attributes
    ----------
    number, when, kinds
        Of the visit, ISO 8601 in local time, and what it holds.
    corrected, struck : bool
        Whether it was corrected or taken out.
    remark, by : str or None
        As logged.
    """

    number: int
    when: str
    kinds: tuple[str, ...]
    corrected: bool = False
    struck: bool = False
    remark: str | None = None
    by: str | None = None


def visit_rows(state: PlateState) -> list[PlateVisitRow]:
    """All visits of a plate, those that were struck out among them, in the order of logging."""
    return [] if state.log is None else _rows(state.log)


def _rows(log: PlateLog) -> list[PlateVisitRow]:
    kinds = {one.number: one.kinds for one in log.visits}
    rows = []
    for visit in log.found.visits:
        one = visit.current
        rows.append(
            PlateVisitRow(
                visit.number,
                f"{one.when:%Y-%m-%d %H:%M}",
                kinds.get(visit.number, ()),
                one.corrected,
                one.struck,
                one.remarks,
                one.by,
            )
        )
    return rows


def _visit_json(row: PlateVisitRow) -> dict[str, object]:
    return {"visit": row.number, **{k: v for k, v in vars(row).items() if k != "number"}} | {
        "kinds": list(row.kinds)
    }


def of_record(plate: Instrument) -> PlateCertificate:
    """The radius that a plate's record states, as its first certificate."""
    values = plate.values
    on = values.get("certified")
    return PlateCertificate(
        plate.name,
        f"record of {plate.name}",
        values["radius_mm"],
        values.get("u_radius_mm"),
        None if on is None else date.fromisoformat(on),
        str(values.get("issued_by") or ""),
    )


def by_record(
    plate: Instrument,
    log: PlateLog | None = None,
    certificates: Sequence[PlateCertificate] = (),
) -> PlateState:
    """A plate by its record, with the dates of its certificates."""
    own = [one for one in certificates if one.plate == plate.name] or [of_record(plate)]
    dated = [one for one in standing(own) if one.on is not None]
    last = max(dated, key=lambda one: one.on or date.min, default=None)
    certified = None if last is None else last.on
    months = _interval(plate, log, last)
    due = None if certified is None or months is None else due_on(certified, months)
    return PlateState(
        plate,
        plate.values["radius_mm"],
        plate.values.get("u_radius_mm"),
        certified=certified,
        due=due,
        log=log,
        problems=() if log is None else log.problems,
    )


def _interval(
    plate: Instrument, log: PlateLog | None, last: PlateCertificate | None
) -> float | None:
    """Months from the last certificate to the next, as said with it, or at last before it."""
    said: list[tuple[date, float]] = []
    first = of_record(plate)
    if "recalibrate_months" in plate.values:
        said.append((first.on or date.min, float(plate.values["recalibrate_months"])))
    for visit in () if log is None else log.visits:
        months = visit.recalibrate_months()
        if months is not None:
            said.append((visit.certified() or date.min, months))
    until = date.max if last is None or last.on is None else last.on
    before = [one for one in said if one[0] <= until]
    return max(before, key=lambda one: one[0])[1] if before else None
