"""The state of a surface as its archive tells it: its own visits first, then like surfaces."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from heapq import nlargest
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe.archive.plates.notes import plate_notes
from fringe.archive.store.aperture import aperture_if_any
from fringe.archive.store.index import Entry, indexed_visits
from fringe.archive.store.kept_summaries import MANY
from fringe.archive.store.names import PLATE_SUFFIX
from fringe.archive.store.order import Survey, survey
from fringe.archive.store.session import SessionSummary
from fringe.archive.store.surface import E_LINE_NM, Surface, load_surface
from fringe.archive.views.correcting import correction
from fringe.archive.views.made_to import MadeTo, made_to
from fringe.errors import BadInput
from fringe.judge.advice.partner import read_elsewhere
from fringe.judge.progress import Progress, last_visit, progress
from fringe.judge.state.visits import VisitRecord, VisitRow

if TYPE_CHECKING:
    from fringe.archive.store.kept_beliefs import BeliefMemory
    from fringe.judge.advice.step import NextStep
    from fringe.judge.judging import Judging
    from fringe.judge.state.observed import OtherSurface
    from fringe.judge.tolerance.verdict import Verdict

# A surface is like another when its diameter is within this factor of it (ours, no source).
LIKE_DIAMETER = 1.5
# More of them hardly improve the estimate of the rate; the most recently worked ones.
MOST_LIKE = 20
# So many are looked at for that, however large the archive: a surface's progress must not take
# longer the more others there are.
MOST_LOOKED_AT = 100


@dataclass(frozen=True)
class SurfaceState:
    """All that the visits of a surface say of it together.

    Attributes
    ----------
    surface : Surface
        Its record.
    judged : Progress
        Its visits, judged: rows, verdicts, rates, and the next step.
    problems : tuple of str
        One line for each of its sessions that cannot be read.
    made : MadeTo or None
        What it is made to, and what does not count for that.
    struck : tuple of VisitRow
        Visits that were struck out: their number, time and why.
    of_plate : tuple of str
        What is to be said of its plate: that it is due for recalibration, or known otherwise now.
    """

    surface: Surface
    judged: Progress
    problems: tuple[str, ...] = ()
    made: MadeTo | None = None
    struck: tuple[VisitRow, ...] = ()
    of_plate: tuple[str, ...] = ()

    @property
    def listed(self) -> tuple[VisitRow, ...]:
        """The rows, and where they belong by their time those that were struck out."""
        rows = list(self.rows)
        for one in self.struck:
            later = (i for i, row in enumerate(rows) if row.when > one.when)
            place = next(later, len(rows))
            hours = rows[place - 1].hours_total if place else 0.0
            rows.insert(place, replace(one, hours_total=hours))
        return tuple(rows)

    @property
    def rows(self) -> tuple[VisitRow, ...]:
        """One row a visit, in their order."""
        return self.judged.rows

    @property
    def verdict(self) -> Verdict | None:
        """Of the last visit that worked or read."""
        return self.judged.verdict

    @property
    def next_step(self) -> NextStep:
        """What to do now."""
        return self.judged.next_step

    @property
    def correction(self) -> str | None:
        """The command that corrects what the next step asks about; None where it asks nothing."""
        return correction(self.surface, self.rows, self.next_step)

    @property
    def partner(self) -> str | None:
        """The piece that it is made to; None: its plate."""
        return None if self.made is None else self.made.partner

    @property
    def notes(self) -> tuple[str, ...]:
        """What is to be known of which readings count, and of the plate."""
        return (*(() if self.made is None else self.made.notes), *self.of_plate)

    @property
    def laid_on(self) -> str:
        """What power is read against, in a word: `plate` or `partner`."""
        return "plate" if self.partner is None else "partner"

    @property
    def laid(self) -> Surface:
        """As it is judged: on its partner in place of a plate, where it is made to one."""
        return self.surface if self.made is None else self.made.surface

    @property
    def wavelength_nm(self) -> float | None:
        """Wavelength that fringes are counted in [nm]."""
        return self.judged.wavelength_nm

    def to_json(self) -> dict[str, object]:
        """Return what `fringe progress --json` prints, but for the picture."""
        return {
            "surface": self.surface.to_json(),
            "wavelength_nm": self.wavelength_nm,
            "visits": [row.to_json() for row in self.listed],
            "verdict": self.verdict and self.verdict.to_json(),
            "next_step": self.next_step.to_json(),
            "correction": self.correction,
            "rates": [one.to_json() for one in self.judged.rates],
            "partner": self.partner,
            "notes": list(self.notes),
            "problems": list(self.problems),
        }


@dataclass(frozen=True)
class LoggedVisits:
    """What the state of a surface is made from: its visits, and what like surfaces teach.

    Attributes
    ----------
    surface : Surface
        Its record.
    visits : tuple of VisitRecord
        Its visits that count, in their order.
    others : sequence of OtherSurface
        Like surfaces of its archive with their work, the oldest first.
    problems : tuple of str
        One line for each of its sessions that cannot be read.
    told : mapping
        What was advised when a session was logged, by its identity, where that is kept.
    struck : tuple of VisitRow
        Visits that were struck out.
    of_plate : tuple of str
        What is to be said of its plate.
    """

    surface: Surface
    visits: tuple[VisitRecord, ...]
    others: Sequence[OtherSurface] = ()
    problems: tuple[str, ...] = ()
    told: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    struck: tuple[VisitRow, ...] = ()
    of_plate: tuple[str, ...] = ()

    def state(
        self, *more: VisitRecord, pit_factor: float | None = None, last_only: bool = False
    ) -> SurfaceState:
        """Judge the visits.

        Parameters
        ----------
        *more : VisitRecord
            Visits after the logged ones: what lies on the bench.
        pit_factor : float, optional
            Depth of a grit's pits over its grain size; that of the table otherwise.
        last_only : bool
            Say what to do next after the last visit alone, and not what was to do before.
        """
        made = made_to(self.surface, (*self.visits, *more))
        told = [session for session, step in self.told.items() if step]
        judged = progress(
            made.visits,
            made.surface.tolerance,
            aperture=aperture_if_any(made.surface),
            others=self.others if any(one.own for one in made.visits) else (),
            pit_factor=pit_factor,
            told=[one.session_id for one in made.visits] if last_only else told,
            memory=self._memory(),
        )
        if made.last_elsewhere is not None:
            judged = judged.with_step(read_elsewhere(*made.last_elsewhere))
        rows = tuple(self._as_told(row) for row in judged.rows)
        judged = replace(judged, rows=rows)
        return SurfaceState(self.surface, judged, self.problems, made, self.struck, self.of_plate)

    def _memory(self) -> BeliefMemory | None:
        """What the archive's index keeps of what was believed of it."""
        if self.surface.folder is None or len(self.visits) < MANY:
            return None
        from fringe.archive.store.kept_beliefs import BeliefMemory

        return BeliefMemory(self.surface.folder)

    def _as_told(self, row: VisitRow) -> VisitRow:
        """A row with what was advised then, where that is kept, and not what would be today."""
        told = self.told.get(row.session_id)
        if not told:
            return row
        return replace(row, told_step=told, next_step=str(told.get("text") or row.next_step))

    def judging(self) -> Judging:
        """Its visits, judged, to which visits to come can be added."""
        from fringe.judge.judging import Judging

        made = made_to(self.surface, self.visits)
        surface = made.surface
        wavelength = surface.tolerance.wavelength_nm or E_LINE_NM
        tolerance = replace(surface.tolerance, wavelength_nm=wavelength)
        return Judging(tolerance, aperture_if_any(surface), self.others, made.visits)

    def last(self) -> tuple[VisitRow | None, Verdict | None]:
        """Row and verdict of the last visit that worked or read, without judging the others."""
        made = made_to(self.surface, self.visits)
        return last_visit(made.visits, made.surface.tolerance)


def surface_state(
    surface: Surface, *, alone: bool = False, pit_factor: float | None = None
) -> SurfaceState:
    """Judge a surface's visits, and foretell by its own log and by like surfaces of its archive.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    alone : bool
        Leave the other surfaces of the archive unread.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.
    """
    return logged_visits(surface, alone=alone).state(pit_factor=pit_factor)


def logged_visits(
    surface: Surface, *, alone: bool = False, found: Survey | None = None
) -> LoggedVisits:
    """Gather what the state of a surface is made from.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded.
    alone : bool
        Leave the other surfaces of the archive unread.
    found : Survey, optional
        What its folder holds, where that was read already.
    """
    assert surface.folder is not None
    known = survey(surface.folder) if found is None else found
    others = () if alone else like_surfaces(surface)
    return LoggedVisits(
        surface,
        known.sessions,
        others,
        known.problems,
        told={one.session_id: one.told_step for one in known.sessions},
        struck=tuple(struck_row(one.current) for one in known.visits if one.struck),
        of_plate=plate_notes(surface),
    )


def struck_row(session: SessionSummary) -> VisitRow:
    """The row of a visit that was struck out: that it was, when, and why."""
    return VisitRow(
        when=session.when,
        hours_total=0.0,
        stage=None,
        minutes=None,
        power_fringes=None,
        power_u95_fringes=None,
        radius_difference_mm=None,
        radius_difference_u95_mm=None,
        irregularity_fringes=None,
        sense="unknown",
        verdict=None,
        probability=None,
        next_step=None,
        session_id=session.session_id,
        visit=session.number,
        corrected=session.corrected,
        struck=True,
        remark=session.remarks,
    )


class OtherSurfaces:
    """Surfaces of one archive with what their work teaches, each read once.

    Parameters
    ----------
    entries : sequence of Entry
        What is known of them already.
    """

    def __init__(self, entries: Sequence[Entry] = ()) -> None:
        self._entries = {entry.folder: entry for entry in entries}
        self._latest: dict[Path, list[Path]] = {}
        self._worked: dict[Path, OtherSurface] = {}

    def latest(self, folder: Path) -> list[Path]:
        """Other folders of the archive, those first to which something was added last."""
        archive = folder.parent
        if archive not in self._latest:
            self._latest[archive] = _latest_folders(archive, MOST_LOOKED_AT + 1)
        return [one for one in self._latest[archive] if one.name != folder.name][:MOST_LOOKED_AT]

    def surface(self, folder: Path) -> Surface:
        """The record of one of them; `BadInput` where it cannot be read."""
        entry = self._entries.get(folder)
        return load_surface(folder) if entry is None or entry.surface is None else entry.surface

    def diameter_mm(self, folder: Path) -> float | None:
        """Diameter of one's aperture; None where its record cannot be read."""
        try:
            return self.surface(folder).diameter_mm
        except BadInput:
            return None

    def teaches(self, folder: Path) -> bool:
        """Whether one was read often enough to tell what work does."""
        try:
            return teaches(self.worked(self.surface(folder)))
        except BadInput:
            return False

    def like(self, folder: Path, diameter_mm: float) -> Iterator[Path]:
        """Like surfaces that teach, those first to which something was added last."""
        found = (
            other
            for other in self.latest(folder)
            if _alike(diameter_mm, self.diameter_mm(other)) and self.teaches(other)
        )
        return islice(found, MOST_LIKE)

    def worked(self, surface: Surface) -> OtherSurface:
        """One of them, with what its visits tell of the work."""
        from fringe.judge.state.observed import OtherSurface, observed

        folder = surface.folder
        assert folder is not None
        if folder not in self._worked:
            entry = self._entries.get(folder)
            visits = indexed_visits(folder) if entry is None else entry.visits
            wavelength = surface.tolerance.wavelength_nm or E_LINE_NM
            told = observed(made_to(surface, visits).visits, wavelength, surface.form)
            self._worked[folder] = OtherSurface(told, surface.diameter_mm)
        return self._worked[folder]


def like_surfaces(
    surface: Surface, others: OtherSurfaces | None = None
) -> tuple[OtherSurface, ...]:
    """Like surfaces of the same archive that were worked and read, the oldest first.

    A surface or a session that cannot be read is passed over: `fringe check` names it.
    """
    assert surface.folder is not None
    others = others or OtherSurfaces()
    found = [
        others.worked(others.surface(folder))
        for folder in others.like(surface.folder, surface.diameter_mm)
    ]
    return tuple(reversed(found))


def teaches(other: OtherSurface) -> bool:
    """Whether a surface was read often enough to tell what work does."""
    return sum(bool(visit.readings) for visit in other.visits) > 1


def _alike(diameter_mm: float, other_mm: float | None) -> bool:
    return other_mm is not None and 1 / LIKE_DIAMETER <= diameter_mm / other_mm <= LIKE_DIAMETER


def _latest_folders(archive: Path, count: int) -> list[Path]:
    """Folders of an archive, those first to which something was added last."""
    folders = []
    with os.scandir(archive) as found:
        for entry in found:
            with suppress(OSError):  # it is being moved away
                of_surface = entry.name[0] != "." and not entry.name.endswith(PLATE_SUFFIX)
                if of_surface and entry.is_dir():
                    folders.append((entry.stat().st_mtime, entry.path))
    return [Path(path) for _, path in nlargest(count, folders)]
