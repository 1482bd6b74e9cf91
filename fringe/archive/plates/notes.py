"""What is to be said of a plate where it is used: that it is due, or known otherwise by now."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fringe.archive.instruments import find_record
from fringe.archive.plates.known import plate_state
from fringe.archive.plates.state import PlateState
from fringe.archive.store.surface import Plate, Surface
from fringe.errors import BadInput
from fringe.format import plus_minus
from fringe.quantity import half_width_if_any


def plate_as_known(archive: Path, name: str) -> PlateState | None:
    """What is known of a plate on record; None where it is on none, or cannot be read."""
    try:
        if find_record(archive, "plate", name) is None:
            return None
        return plate_state(archive, name)
    except BadInput:  # `fringe check` names what is wrong
        return None


def plate_notes(surface: Surface, today: date | None = None) -> tuple[str, ...]:
    """What is to be said of the plate of a surface: lines for whoever uses it."""
    name = surface.plate.name
    if name is None or surface.folder is None:
        return ()
    state = plate_as_known(surface.folder.parent, name)
    return () if state is None else notes_on(state, surface.plate, today or date.today())


def notes_on(state: PlateState, plate: Plate, today: date) -> tuple[str, ...]:
    """The same of a plate that is known, and as the surface's record has it."""
    late = state.overdue(today)
    notes = [late] if late else []
    if is_outdated(state, plate):
        u95 = half_width_if_any(plate.radius_u_mm)
        kept = (
            "the nominal radius"
            if plate.radius_mm is None
            else plus_minus(plate.radius_mm, u95, "mm", digits=7)
        )
        notes.append(
            f"plate {state.name} is {state.radius_text} by its visits, and this surface is judged "
            f"with {kept}; `fringe plate adopt` takes the new radius"
        )
    return tuple(notes)


def is_outdated(state: PlateState, plate: Plate) -> bool:
    """Whether a surface's record has another radius of a plate than its visits tell."""
    return state.by == "visits" and state.changed_from(plate.radius_mm, plate.radius_u_mm)
