"""What a surface is made to, as its archive tells: its plate, or the partner that it is laid on."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.archive.store.index import indexed_visits
from fringe.archive.store.surface import Plate, Surface, folder_by_name, load_surface
from fringe.errors import BadInput
from fringe.judge.state.reference import partner_of, referred
from fringe.judge.state.visits import VisitRecord


@dataclass(frozen=True)
class MadeTo:
    """A surface's visits as they count for what it is made to.

    Attributes
    ----------
    surface : Surface
        As it is judged: laid on its partner in place of a plate, where it is made to one, and by
        the partner's tolerance where that is on record for the two and its own limits nothing.
    visits : tuple of VisitRecord
        With the readings that count.
    partner : str or None
        The piece that it is made to; None: its plate.
    notes : tuple of str
        What does not count, and whose tolerance it is.
    last_elsewhere : (int, str) or None
        Number of the last visit and the piece that it was read on, where that does not count.
    """

    surface: Surface
    visits: tuple[VisitRecord, ...]
    partner: str | None = None
    notes: tuple[str, ...] = ()
    last_elsewhere: tuple[int, str] | None = None


def made_to(surface: Surface, visits: Sequence[VisitRecord]) -> MadeTo:
    """Find what a surface is made to, and keep of its visits what counts for that.

    Parameters
    ----------
    surface : Surface
        Its record.
    visits : sequence of VisitRecord
        All its visits, in their order.
    """
    plate = surface.plate.name
    name = partner_of(visits, plate)
    if name is None:
        found = referred(visits, plate)
        return MadeTo(surface, found.visits, None, found.notes, found.last_elsewhere)
    partner = _partner(surface, name)
    worked = None if partner is None else _last_worked(partner)
    found = referred(visits, plate, partner_worked=worked)
    notes = list(found.notes)
    radius_mm = None if partner is None else partner.radius_mm
    laid = dataclasses.replace(surface, plate=Plate(name, radius_mm))
    theirs = partner is not None and partner.plate.name == surface.name
    if partner is not None and theirs and not surface.tolerance.limits_anything:
        laid = dataclasses.replace(laid, tolerance=partner.tolerance)
        notes.append(f"judged by the tolerance of {name}, whose plate it is")
    return MadeTo(laid, found.visits, name, tuple(notes))


def visits_made_to(surface: Surface) -> MadeTo:
    """What a surface is made to by all its visits, as the archive's index has them.

    Raises
    ------
    BadInput
        If its folder is not a surface's.
    """
    assert surface.folder is not None
    return made_to(surface, indexed_visits(surface.folder))


def _partner(surface: Surface, name: str) -> Surface | None:
    """Record of the partner; None where the archive has it no more."""
    if surface.folder is None:
        return None
    try:
        folder = folder_by_name(surface.folder.parent, name)
        return None if folder is None else load_surface(folder)
    except BadInput:
        return None


def _last_worked(partner: Surface) -> datetime | None:
    assert partner.folder is not None
    try:
        visits = indexed_visits(partner.folder)
    except BadInput:
        return None
    return max((one.when for one in visits if one.work.worked), default=None)
