"""Frames of one contact as one reading, for `fringe log --burst`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fringe.archive.store.session import LoggedReading, Photograph
    from fringe.optics.lamps import Lamp
    from fringe.orders.options import ReadOptions


def read_as_burst(
    photos: tuple[Path, ...],
    options: ReadOptions,
    lamp: Lamp,
    record: dict[str, Any],
    *,
    keep_refused: bool,
) -> tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]:
    """Read all photographs as one, and keep the bytes of each.

    Parameters
    ----------
    photos : tuple of Path
        Frames of one contact.
    options : ReadOptions
    lamp : Lamp
        As it is used.
    record : dict
        What they are read with, for the record.
    keep_refused : bool
        Keep frames of which no reading can be made, with the reason, instead of stopping.
    """
    from fringe.archive.store.session import Photograph, media_type
    from fringe.archive.views.photographs import logged
    from fringe.errors import Refused
    from fringe.orders.burst.read_burst import read_burst
    from fringe.photo.frames import frames_from_bytes
    from fringe.photo.load import read_bytes

    files = [(read_bytes(path), path.name) for path in photos]
    readings: tuple[LoggedReading, ...] = ()
    refusal = None
    try:
        reading = read_burst(frames_from_bytes(files), options)
    except Refused as error:
        if not keep_refused:
            raise
        refusal = str(error)
    else:
        numbers = tuple(range(1, len(photos) + 1))
        told = {**record, "burst": True}
        readings = (logged(reading, numbers, lamp, options.diameter_mm, told),)
    return readings, tuple(
        Photograph(name, data, media_type(name, data), refusal) for data, name in files
    )
