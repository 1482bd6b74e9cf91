"""Visits of a surface: the input of a judgement, and the row in the table of progress."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fringe.errors import BadInput
from fringe.judge.tolerance.measured import Measured
from fringe.optics.feature import FormFeature

ON_TOP = ("work", "tool")
PITS = ("gone", "left")
LONGEST_REST_MIN = 60 * 24 * 60.0  # glass has long settled; more is taken for a typing error


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
    rested_minutes : float or None
        How long the surface had left the lap when it was read [min]; 0 straight from it.
    parts : tuple of (str, float)
        Piece on top and minutes of each part, in their order, of a spell that was split between
        both pieces; `minutes` is their sum then, and `on_top` None. Parts with one piece alone
        become a spell that was not split.

    Raises
    ------
    BadInput
        If such work cannot be.
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
    rested_minutes: float | None = None
    parts: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        """Refuse impossible work; make a split spell's minutes the sum of its parts."""
        if not isinstance(self.parts, tuple):  # from JSON, which has no tuples
            object.__setattr__(self, "parts", tuple(self.parts))
        if self.parts:
            for name, value in _joined(self.parts, self.minutes, self.on_top).items():
                object.__setattr__(self, name, value)
        if self.minutes is not None and not 0 <= self.minutes < float("inf"):
            raise BadInput(f"work: {self.minutes:g} minutes cannot be")
        if self.on_top is not None and self.on_top not in ON_TOP:
            raise BadInput(f"work: on top is {self.on_top!r}, not work or tool")
        if self.removed_mm is not None and not 0 <= self.removed_mm < float("inf"):
            raise BadInput(f"work: {self.removed_mm:g} mm cannot have been taken off")
        if self.pits is not None and self.pits not in PITS:
            raise BadInput(f"work: pits are {self.pits!r}, not gone or left")
        rested = self.rested_minutes
        if rested is not None and not 0 <= rested <= LONGEST_REST_MIN:
            raise BadInput(
                f"work: rested {rested:g} minutes cannot be; say the minutes since the lap, "
                f"0 to {LONGEST_REST_MIN:g}"
            )

    @property
    def worked(self) -> bool:
        """Whether anything was done to the surface."""
        return self.minutes != 0 and (self.stage is not None or self.minutes is not None)

    def completed(self, corrected: Work) -> Work:
        """Return this work with what it leaves open taken over from the one that it corrects.

        Minutes or a piece on top that are said anew end a split of the corrected spell.
        """
        values = {
            field.name: _either(getattr(self, field.name), getattr(corrected, field.name))
            for field in dataclasses.fields(Work)
        }
        if self.parts:
            values |= {"minutes": None, "on_top": None}
        elif self.minutes is not None or self.on_top is not None:
            values |= {"parts": ()}
        else:
            values |= {"parts": corrected.parts}
        return Work(**values)

    def to_stored(self) -> dict[str, str | float | None]:
        """Return the fields as files and tables keep them: texts and numbers by their names."""
        parts = ", ".join(f"{piece} {minutes!r}" for piece, minutes in self.parts)
        return dataclasses.asdict(self) | {"parts": parts or None}

    @classmethod
    def from_stored(cls, values: Mapping[str, Any]) -> Work:
        """Make work of what :meth:`to_stored` gave; `BadInput` if it cannot be."""
        return cls(**{**values, "parts": _parts_of(values.get("parts"))})


def split_spell(minutes: Sequence[float], on_top: Sequence[str]) -> dict[str, Any]:
    """Return the fields of `Work` for minutes and pieces as they were said, one after the other.

    Parameters
    ----------
    minutes : sequence of float
        None, one, or one a part of a split spell [min].
    on_top : sequence of str
        As many pieces, in the same order.

    Raises
    ------
    BadInput
        If a split spell has not as many pieces as minutes.
    """
    if len(minutes) < 2 and len(on_top) < 2:
        return {"minutes": next(iter(minutes), None), "on_top": next(iter(on_top), None)}
    if len(minutes) != len(on_top):
        raise BadInput(
            f"work: {len(minutes)} times minutes for {len(on_top)} pieces on top; a split spell "
            "says both for each part, as --minutes 30 --on-top work --minutes 40 --on-top tool"
        )
    return {"parts": tuple(zip(on_top, minutes, strict=True))}


def _joined(
    parts: Sequence[Sequence[Any]], minutes: float | None, on_top: str | None
) -> dict[str, Any]:
    """Fields `parts`, `minutes` and `on_top` of a spell with these parts."""
    pairs = tuple((str(piece), float(length)) for piece, length in parts)
    for piece, length in pairs:
        if piece not in ON_TOP:
            raise BadInput(f"work: on top is {piece!r}, not work or tool")
        if not 0 <= length < math.inf:
            raise BadInput(f"work: {length:g} minutes cannot be")
    total = math.fsum(length for _, length in pairs)
    if minutes is not None and not math.isclose(minutes, total, rel_tol=1e-6, abs_tol=1e-6):
        raise BadInput(f"work: its parts are {total:g} minutes, not {minutes:g}")
    pairs = tuple(pair for pair in pairs if pair[1] > 0)
    pieces = {piece for piece, _ in pairs}
    if on_top is not None and pieces != {on_top}:
        raise BadInput(f"work: {on_top} is on top, but its parts say otherwise")
    if len(pieces) == 2:
        return {"parts": pairs, "minutes": total, "on_top": None}
    return {"parts": (), "minutes": total, "on_top": next(iter(pieces), None)}


def _parts_of(text: str | None) -> tuple[tuple[str, float], ...]:
    """Parts of a split spell from their text, `work 30.0, tool 40.0`."""
    parts = []
    for part in text.split(",") if text else ():
        piece, _, minutes = part.strip().partition(" ")
        try:
            parts.append((piece, float(minutes)))
        except ValueError as error:
            raise BadInput(f"work: its parts are {text!r}, not as 'work 30, tool 40'") from error
    return tuple(parts)


def _either(new: Any, old: Any) -> Any:
    return old if new is None else new


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
    rested_minutes : float or None
        Minutes since the lap when it was read, as they were told.
    split : tuple of (str, float)
        Piece on top and minutes of each part of a spell that was split, as `Work.parts`.
    struck : bool
        It is taken out of every sum; nothing of it is in this row.
    remark : str or None
        Why it was struck out.
    told_step : mapping or None
        What was advised when it was logged, as :meth:`NextStep.to_json` gave it then; None where
        that was not kept.
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
    rested_minutes: float | None = None
    split: tuple[tuple[str, float], ...] = ()
    struck: bool = False
    remark: str | None = None
    told_step: Mapping[str, Any] | None = None

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names, the time in ISO 8601."""
        form = [one.to_json() for one in self.form]
        split = [{"on_top": piece, "minutes": minutes} for piece, minutes in self.split]
        return dataclasses.asdict(self) | {
            "when": self.when.isoformat(),
            "form": form,
            "split": split,
        }
