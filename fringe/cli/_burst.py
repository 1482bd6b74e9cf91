"""Frames of one contact as one reading, for `fringe log --burst`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.session import LoggedReading, Photograph
    from fringe.optics.lamps import Lamp
    from fringe.orders.read import ReadOptions


def read_as_burst(
    photos: tuple[Path, ...], options: ReadOptions, lamp: Lamp, record: dict[str, Any]
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
    """
    from fringe.archive.gather import logged
    from fringe.archive.session import Photograph, media_type
    from fringe.orders.burst import read_burst
    from fringe.photo.frames import load_frames
    from fringe.photo.load import read_bytes

    kept = [read_bytes(path) for path in photos]
    reading = read_burst(load_frames(photos), options)
    for path, data in zip(photos, kept, strict=True):
        if read_bytes(path) != data:
            raise BadInput(f"{path}: the file changed while it was read; log it again")
    numbers = tuple(range(1, len(photos) + 1))
    one = logged(reading, numbers, lamp, options.diameter_mm, {**record, "burst": True})
    return (one,), tuple(
        Photograph(path.name, data, media_type(path.name, data), None)
        for path, data in zip(photos, kept, strict=True)
    )
