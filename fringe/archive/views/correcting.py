"""The command that corrects a visit whose record is doubted."""

from __future__ import annotations

import os
import shlex
from collections.abc import Sequence
from pathlib import Path

from fringe.archive.store.surface import Surface
from fringe.judge.advice.step import NextStep
from fringe.judge.state.visits import VisitRow

_FACTORS = {"minutes twice": 2.0, "minutes half": 0.5}
_OTHER = {"centre": "edge", "edge": "centre"}


def correction(surface: Surface, rows: Sequence[VisitRow], step: NextStep) -> str | None:
    """The command line that makes the record say what is asked about; None where nothing is.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    rows : sequence of VisitRow
        Its visits.
    step : NextStep
        What is to be done, with the slip that is asked about.

    Returns
    -------
    str or None
        For dust under a spherometer with places for the readings that are to be taken anew.
    """
    doubt = step.doubt
    if doubt is None or surface.folder is None or not 0 < doubt.visit <= len(rows):
        return None
    row = rows[doubt.visit - 1]
    options = _options(doubt.kind, row)
    if not options or not row.visit:
        return None
    words = ["fringe", "log", _place(surface), "--replaces", str(row.visit), *options]
    return shlex.join(words)


def _options(kind: str, row: VisitRow) -> list[str]:
    if kind in _FACTORS:
        return _with_minutes(row, _FACTORS[kind])
    if kind == "dust":
        return ["--sag-plate", "L,L", "--sag-work", "L,L"]
    return ["--sense", _OTHER[row.sense]] if kind == "sense" and row.sense in _OTHER else []


def _with_minutes(row: VisitRow, factor: float) -> list[str]:
    if row.split:
        parts = ((f"{factor * minutes:g}", piece) for piece, minutes in row.split)
        return [word for m, piece in parts for word in ("--minutes", m, "--on-top", piece)]
    return [] if row.minutes is None else ["--minutes", f"{factor * row.minutes:g}"]


def _place(surface: Surface) -> str:
    """The surface as it is named on the command line, from the working folder where that helps."""
    assert surface.folder is not None
    archive = surface.folder.parent.resolve()
    try:
        near = Path(os.path.relpath(archive))
    except ValueError:  # on another drive
        near = archive
    return f"{archive if near.parts[:1] == ('..',) else near}/{surface.name}"
