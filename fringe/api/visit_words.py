"""What `fringe.log_visit` takes beside its named words: the rest of what `fringe log` does."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, TypedDict

from fringe.api.typed import Length, to_mm, to_u, to_word
from fringe.errors import BadInput
from fringe.length_lists import typed_lengths


class VisitWords(TypedDict, total=False):
    """Options of `fringe log` by their names; lists of lengths are text, as `"808um,807um"`.

    Attributes
    ----------
    gap, chamfer, plate_turned, camera, scale_px_per_mm
        Of the photographs, see `fringe help numbers`.
    against, aperture, place, burst, by_eye
        Of the contact: the piece or the smaller plate, and how it was seen.
    spherometer, sag_plate, sag_work, zero, reading_u_mm
        Of the spherometer.
    stroke, lap, pressure, slurry, removed, pits
        Of the work since the last visit.
    stage_is, yes
        What a stage is that has a name of your own: `grit` or `polish`; keep what is asked about,
        as a photograph that the archive has already.
    sense_after, change
        A second photograph of the contact, and what was done before it: they tell the sense.
    temperature_c, keep_refused, workers, scheduler
        At the bench [degree Celsius]; keep photographs that cannot be read; who reads.
    """

    gap: Length
    chamfer: Length
    plate_turned: str
    camera: str
    scale_px_per_mm: float
    against: str
    aperture: Length
    place: str | Sequence[str]
    burst: bool
    by_eye: str
    spherometer: str
    sag_plate: str | Sequence[str]
    sag_work: str | Sequence[str]
    zero: str | Sequence[str]
    reading_u_mm: float
    stroke: str
    lap: str
    pressure: str
    slurry: str
    removed: Length
    pits: Literal["gone", "left"]
    stage_is: Literal["grit", "polish"]
    yes: bool
    sense_after: str | os.PathLike[str]
    change: str
    temperature_c: float
    keep_refused: bool
    workers: int
    scheduler: str


_OF_PHOTOGRAPHS = ("gap", "chamfer", "plate_turned", "camera", "scale_px_per_mm")
_LENGTHS = ("gap", "chamfer", "aperture", "removed")
_LISTS = {"place": "mm", "sag_plate": "um", "sag_work": "um", "zero": "um"}


def of_photographs(words: VisitWords) -> dict[str, Any]:
    """Fields of `StatedOptions`; raises `BadInput` for a word that nothing takes."""
    unknown = [name for name in words if name not in VisitWords.__annotations__]
    if unknown:
        raise BadInput(f"{unknown[0]}: log_visit takes no such word; see `fringe log --help`")
    return _fields({name: value for name, value in words.items() if name in _OF_PHOTOGRAPHS})


def of_visit(words: VisitWords) -> dict[str, Any]:
    """Fields of `VisitRequest`."""
    return _fields({name: value for name, value in words.items() if name not in _OF_PHOTOGRAPHS})


def _fields(words: Mapping[str, Any]) -> dict[str, Any]:
    """Values as the requests keep them, under their names there."""
    fields: dict[str, Any] = {}
    for name, value in words.items():
        if value is None:
            continue
        if name in _LENGTHS:
            fields[f"{name}_mm"] = to_mm(name, value, None, zero=name == "chamfer")
        elif name in _LISTS:
            lists = [value] if isinstance(value, str) else value
            fields[name] = tuple(
                typed_lengths(one, name, _LISTS[name], signed=True) for one in lists
            )
        elif name == "pits":
            fields[name] = to_word(name, value, ("gone", "left"))
        elif name == "stage_is":
            fields[name] = to_word(name, value, ("grit", "polish"))
        elif name == "sense_after":
            fields[name] = Path(value)
        elif name == "reading_u_mm":
            fields[name] = to_u(name, value)
        else:
            fields[name] = value
    return fields
