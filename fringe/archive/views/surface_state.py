"""A surface's progress as its archive tells it: its own visits first, then like surfaces."""

from __future__ import annotations

import os
from contextlib import suppress
from heapq import nlargest
from pathlib import Path

from fringe.archive.store.index import indexed_visits
from fringe.archive.store.order import survey
from fringe.archive.store.surface import E_LINE_NM, Surface, load_surface
from fringe.archive.store.visit_records import visit_records
from fringe.archive.store.whole_aperture import surface_aperture
from fringe.errors import BadInput
from fringe.judge.progress import Progress, progress, visit_rows
from fringe.judge.state.history import life
from fringe.judge.state.rates import Change
from fringe.judge.tolerance.tolerance import Aperture

# A surface is like another when its diameter is within this factor of it (ours, no source).
LIKE_DIAMETER = 1.5
# As many as tell the rate as well as it can be told; the most recently worked ones.
MOST_LIKE = 20
# So many are looked at for that, however large the archive: a surface's progress must not take
# longer the more others there are.
MOST_LOOKED_AT = 100


def surface_progress(
    surface: Surface, *, alone: bool = False, pit_factor: float | None = None
) -> tuple[Progress, tuple[str, ...]]:
    """Judge a surface's visits, and foretell by its own log and by like surfaces of its archive.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    alone : bool
        Leave the other surfaces of the archive unread.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.

    Returns
    -------
    progress : Progress
    problems : tuple of str
        One line for each of this surface's sessions that cannot be read.
    """
    assert surface.folder is not None
    found = survey(surface.folder)
    records = visit_records(found.sessions)
    like = [] if alone or not any(r.measured for r in records) else like_changes(surface)
    result = progress(
        records,
        surface.tolerance,
        aperture=aperture_if_any(surface),
        like=like,
        pit_factor=pit_factor,
    )
    return result, found.problems


def like_changes(surface: Surface) -> list[tuple[Change, ...]]:
    """What work did to like surfaces of the same archive, a tuple a surface.

    A surface or a session that cannot be read is passed over: `fringe check` names it.
    """
    assert surface.folder is not None
    found: list[tuple[Change, ...]] = []
    for folder in _latest_others(surface.folder):
        if len(found) >= MOST_LIKE:
            break
        try:
            other = load_surface(folder)
            if not _alike(surface, other):
                continue
            changes = _changes(other)
        except BadInput:
            continue
        if changes:
            found.append(changes)
    return found


def _alike(surface: Surface, other: Surface) -> bool:
    ratio = surface.diameter_mm / other.diameter_mm
    return 1 / LIKE_DIAMETER <= ratio <= LIKE_DIAMETER


def _latest_others(folder: Path) -> list[Path]:
    """Other folders of the archive, those first to which something was added last."""
    others = []
    with os.scandir(folder.parent) as found:
        for entry in found:
            with suppress(OSError):  # it is being moved away
                if entry.is_dir() and entry.name[0] != "." and entry.name != folder.name:
                    others.append((entry.stat().st_mtime, entry.path))
    return [Path(path) for _, path in nlargest(MOST_LOOKED_AT, others)]


def _changes(surface: Surface) -> tuple[Change, ...]:
    assert surface.folder is not None
    wavelength = surface.tolerance.wavelength_nm or E_LINE_NM
    records = indexed_visits(surface.folder)
    return life(visit_rows(records, wavelength), wavelength).changes


def aperture_if_any(surface: Surface) -> Aperture | None:
    """The aperture that power is quoted over; None for a half sphere, which has none."""
    try:
        return surface_aperture(surface)
    except BadInput:
        return None
