"""Plates of an archive as they are known now, by their records and their own visits."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.instruments import list_instruments, load_instrument
from fringe.archive.plates.state import PlateState, by_record
from fringe.archive.store.names import PLATE_SUFFIX
from fringe.errors import BadInput


def plate_state(archive: Path, name: str) -> PlateState:
    """What is known now of a plate on record.

    Raises
    ------
    BadInput
        If there is no record of that plate, or it is damaged.
    """
    plate = load_instrument(archive, "plate", name)
    if not _any_visits(archive):
        return by_record(plate)
    from fringe.archive.plates.group import Plates  # numpy and h5py

    return Plates(archive).state(plate.name)


def plate_states(archive: Path) -> tuple[PlateState, ...]:
    """The same of all plates on record, by name."""
    if not _any_visits(archive):
        return tuple(by_record(one) for one in list_instruments(archive, "plate"))
    from fringe.archive.plates.group import Plates

    plates = Plates(archive)
    return tuple(plates.state(name) for name in plates.names)


def _any_visits(archive: Path) -> bool:
    """Whether any plate of the archive has visits, which may tie others to it."""
    return any(archive.glob(f"*{PLATE_SUFFIX}"))


def known_plates(archive: Path) -> dict[str, PlateState]:
    """All plates on record by name, for lists; empty where a record cannot be read."""
    try:
        return {one.name: one for one in plate_states(archive)}
    except BadInput:  # `fringe check` names it
        return {}
