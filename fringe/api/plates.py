"""A plate's own visits: what is known of it by them, and logging another."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

from fringe.api.typed import SENSES, Length, Sense, to_mm, to_u, to_word
from fringe.errors import BadInput
from fringe.length_lists import typed_lengths

if TYPE_CHECKING:
    from fringe.archive.plates.state import PlateState
    from fringe.archive.views.plate_visit import LoggedPlateVisit


def plate_state(place: str | os.PathLike[str]) -> PlateState:
    """What is known of a plate on record, by ``ARCHIVE/NAME``, as `fringe plate show` tells it.

    Returns
    -------
    PlateState
        `radius_mm` with its standard uncertainty `u_mm` and `u95_mm`; `evidence`; `due`, the day
        on which it is to be certified anew; `known_map`, the map of its form.

    Raises
    ------
    BadInput
        If there is no such plate; the line names those that there are.
    """
    from fringe.archive.plates.known import plate_state as state_of
    from fringe.archive.plates.visits import find_plate

    archive, plate = find_plate(os.fspath(place))
    return state_of(archive, plate.name)


class PlateWords(TypedDict, total=False):
    """Options of `fringe plate log` by their names; lists of lengths are text: `"808um,807um"`.

    Attributes
    ----------
    spherometer, sag, zero, reading_u_mm
        Spherometer on record, its readings on the plate and on a flat, and the standard
        uncertainty of one [mm].
    against, aperture, by_eye
        Plate that it lay on, over which circle, and what was seen without a camera.
    turned, plate_turned
        Of a turning test: by how much the other piece or this plate was turned, as `72deg`.
    radius, radius_u_mm, certified, issued_by, recalibrate
        Of a new certificate: radius with its standard uncertainty [mm], date, who issued it, and
        after what time the next one is due, as `24 months`.
    plate_diameter
        Where the plate's record lacks it.
    remark, by, when, replaces, strike
        Free text; who measured; the time as `2026-03-14T09:30`; number of the visit that this one
        corrects, or that is taken out.
    """

    spherometer: str
    sag: str | Sequence[str]
    zero: str | Sequence[str]
    reading_u_mm: float
    against: str
    aperture: Length
    by_eye: str
    turned: Sequence[str]
    plate_turned: Sequence[str]
    radius: Length
    radius_u_mm: float
    certified: str
    issued_by: str
    recalibrate: str
    plate_diameter: Length
    remark: str
    by: str
    when: str
    replaces: int | str
    strike: int | str


def log_plate_visit(
    place: str | os.PathLike[str],
    *photos: str | os.PathLike[str],
    lamp: str | None = None,
    edge: str = "auto",
    sense: Sense = "auto",
    **words: Unpack[PlateWords],
) -> LoggedPlateVisit:
    """Log a visit of a plate, as `fringe plate log` does.

    Parameters
    ----------
    place : str or path
        ``ARCHIVE/NAME`` of a plate on record.
    *photos : str or path
        Photographs of its contact with another plate, or of a turning test.
    lamp, edge, sense
        As of :func:`fringe.read`.
    **words
        What the visit brought, see :class:`fringe.api.plates.PlateWords`.

    Returns
    -------
    LoggedPlateVisit
        `number` and `path` of the visit; `before` and `after`, what is known without and with it.

    Raises
    ------
    BadInput
        If something that is said makes no sense; nothing is written then.
    Refused
        If a photograph supports no reading; nothing is written then.
    """
    from fringe.archive.views.plate_request import PlateRequest
    from fringe.archive.views.plate_visit import log_plate_visit as log
    from fringe.orders.options import StatedOptions

    unknown = [name for name in words if name not in PlateWords.__annotations__]
    if unknown:
        raise BadInput(f"{unknown[0]}: log_plate_visit takes no such word")
    fields = dict(_field(name, value) for name, value in words.items() if value is not None)
    stated = StatedOptions(lamp=lamp, edge=edge, sense=to_word("sense", sense, SENSES))
    return log(os.fspath(place), [Path(one) for one in photos], PlateRequest(**fields), stated)


def _field(name: str, value: Any) -> tuple[str, Any]:
    """A word as the request keeps it, under its name there."""
    if name in ("sag", "zero"):
        texts = [value] if isinstance(value, str) else value
        return name, tuple(typed_lengths(text, name, "um", signed=True) for text in texts)
    if name in ("aperture", "radius", "plate_diameter"):
        return f"{name}_mm", to_mm(name, value, None)
    if name in ("reading_u_mm", "radius_u_mm"):
        return name, to_u(name, value)
    if name in ("turned", "plate_turned"):
        return {"turned": name}.get(name, "plate_angles"), tuple(value)
    return name, str(value) if name in ("replaces", "strike") else value
