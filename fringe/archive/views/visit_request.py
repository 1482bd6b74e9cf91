"""A visit as a person describes it, before anything is read."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fringe.errors import BadInput
from fringe.judge.state.abrasives import check_stage
from fringe.judge.state.visits import Work, split_spell
from fringe.orders.options import StatedOptions
from fringe.units import TypedLength

Lists = tuple[tuple[TypedLength, ...], ...]

# what a session's inputs call a field, where that is not its name
INPUT_NAMES = {
    "aperture_mm": "aperture",
    "chamfer_mm": "chamfer",
    "camera_distance_mm": "camera_distance",
    "reading_u_mm": "reading_u",
    "removed_mm": "removed",
    "rested_minutes": "rested",
    "scale_px_per_mm": "scale",
    "temperature_c": "temperature",
}


# fields that say how it is logged, not what
_NOT_SAID = ("workers", "scheduler", "said", "yes", "newest", "sense_after")


@dataclass(frozen=True)
class VisitRequest:
    """What is said of a visit, beside how its photographs were taken.

    Attributes
    ----------
    spherometer : str or None
        On record.
    against : str or None
        Surface of the same archive that the work was laid on, not on the plate.
    aperture_mm : float or None
        Of a plate smaller than the work [mm].
    place : tuple of tuple of TypedLength
        Where it lay, across and down from the work's centre; once, or once a photograph.
    burst : bool
        The photographs are frames of one contact.
    by_eye : str or None
        Fringes seen without a camera.
    sag_plate, sag_work, zero : tuple of tuple of TypedLength
        Readings of the spherometer on plate, work and flat.
    reading_u_mm : float or None
        Standard uncertainty of one of them [mm].
    stage, stroke, lap, pressure, slurry, removed_mm, pits, rested_minutes
        Work since the last visit, see :class:`fringe.judge.state.visits.Work`.
    minutes, on_top : tuple of float, tuple of str
        Its length [min] and the piece on top; of a split spell one of each for each part.
    temperature_c : float or None
        At the bench [degree Celsius].
    remark, by : str or None
        Free text, and who measured.
    when : str or None
        Of the visit, ISO 8601; local time without an offset.
    replaces : str or None
        Number of the visit that this one corrects, or the name of a session of it.
    keep_refused : bool
        Keep photographs that cannot be read, too.
    workers, scheduler : int or None, str or None
        Who reads, see :func:`fringe.parallel.read_many`.
    as_typed : str or None
        Expanded uncertainties as they were typed.
    stage_is : {'grit', 'polish'} or None
        What a stage is that has a name of one's own.
    yes : bool
        Do not ask about what is hardly meant.
    strike, move : str or None
        Number of a visit to take out of every sum, or to move to the surface `to_surface`.
    when_from : str or None
        Whose time `when` is, where it was not typed.
    newest : str or None
        Folder of which the newest photograph is to be logged; empty: the one on record.
    sense_after, change : Path or None, str or None
        A second photograph of the contact, and what was done before it, for where the contact is.
    said : tuple of str
        Fields of :class:`StatedOptions` that were said, though it be what holds without a word.
    """

    against: str | None = None
    aperture_mm: float | None = None
    place: Lists = ()
    burst: bool = False
    by_eye: str | None = None
    spherometer: str | None = None
    sag_plate: Lists = ()
    sag_work: Lists = ()
    zero: Lists = ()
    reading_u_mm: float | None = None
    stage: str | None = None
    minutes: tuple[float, ...] = ()
    on_top: tuple[str, ...] = ()
    stroke: str | None = None
    lap: str | None = None
    pressure: str | None = None
    slurry: str | None = None
    removed_mm: float | None = None
    pits: str | None = None
    rested_minutes: float | None = None
    temperature_c: float | None = None
    remark: str | None = None
    by: str | None = None
    when: str | None = None
    replaces: str | None = None
    keep_refused: bool = False
    workers: int | None = None
    scheduler: str | None = None
    as_typed: str | None = None
    stage_is: str | None = None
    yes: bool = False
    strike: str | None = None
    move: str | None = None
    to_surface: str | None = None
    when_from: str | None = None
    newest: str | None = None
    sense_after: Path | None = None
    change: str | None = None
    said: tuple[str, ...] = ()

    def time(self) -> datetime | None:
        """Return when it was, if that is said; `BadInput` for what is no time."""
        return time_of(self.when)

    def work(self) -> Work:
        """Return what was done since the last visit; `BadInput` for what cannot have been."""
        if self.stage is not None:
            check_stage(self.stage)
        names = {f.name for f in dataclasses.fields(Work)} - {"minutes", "on_top", "parts"}
        spell = split_spell(self.minutes, self.on_top)
        return Work(**{name: getattr(self, name) for name in names}, **spell)


def inputs_of(stated: StatedOptions, request: VisitRequest) -> dict[str, object]:
    """What was said, in a form that JSON has."""
    inputs: dict[str, object] = {}
    for part in (stated, request):
        for field in dataclasses.fields(part):
            value = getattr(part, field.name)
            if value in (None, (), "") or field.name in _NOT_SAID:
                continue
            if field.name in ("minutes", "on_top"):
                value = value[0] if len(value) == 1 else list(value)
            elif isinstance(value, tuple):
                value = [[length.text for length in each] for each in value]
            inputs[INPUT_NAMES.get(field.name, field.name)] = value
    return inputs


def time_of(text: str | None, option: str = "--when") -> datetime | None:
    """Read the time that an option gives; without an offset it is local time."""
    if text is None:
        return None
    try:
        time = datetime.fromisoformat(text)
        return time if time.utcoffset() is not None else time.astimezone()
    except (ValueError, OverflowError, OSError) as error:
        raise BadInput(f"{option}: {text!r} is not a time; write 2026-03-14T09:30") from error
