"""What was written out of an archive and brought into one, in rows of text."""

from __future__ import annotations

from fringe.archive.transfer.export import Exported
from fringe.archive.transfer.imports import Imported
from fringe.show.text.lines import how_many


def exported_rows(done: Exported) -> list[str]:
    """Where it is, and how much of it."""
    photographs = how_many(done.photographs, "photograph")
    return [f"{done.path}: {how_many(done.sessions, 'session')}, {photographs}"]


def imported_rows(done: Imported) -> list[str]:
    """What was new, and what was there."""
    there = f", {done.present} were there already" if done.present else ""
    return [f"{done.surface.name}: {how_many(done.added, 'session')} added{there}"]
