"""An archive's surfaces with how far each is, the latest visit first."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.index import Entry, list_archive
from fringe.archive.views.surface_state import LoggedVisits, listed_visits
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict import Verdict


@dataclass(frozen=True)
class ListedSurface:
    """How far a surface is.

    Attributes
    ----------
    entry : Entry
        What the archive's list knows of it.
    row : VisitRow or None
        Of the last visit that worked or read.
    verdict : Verdict or None
        Of that visit, by today's tolerance.
    step : str or None
        What to do next, where that was asked for.
    """

    entry: Entry
    row: VisitRow | None = None
    verdict: Verdict | None = None
    step: str | None = None

    @property
    def name(self) -> str:
        """Of the surface; of its folder where the record cannot be read."""
        return self.entry.surface.name if self.entry.surface else self.entry.folder.name

    @property
    def state(self) -> str:
        """Verdict, or how far it is without one."""
        if self.entry.surface is None:
            return "damaged"
        if self.row is None:
            return "new"
        return "open" if self.verdict is None else self.verdict.state

    @property
    def when(self) -> float:
        """Time of the last visit; before all time without one."""
        return self.entry.visits[-1].when.timestamp() if self.entry.visits else float("-inf")

    @property
    def hours(self) -> float:
        """Work so far [h]."""
        return sum(visit.work.minutes or 0.0 for visit in self.entry.visits) / 60

    @property
    def stage(self) -> str | None:
        """The last stage that was worked."""
        return next((v.work.stage for v in reversed(self.entry.visits) if v.work.stage), None)

    def to_json(self) -> dict[str, object]:
        """Return everything under its name."""
        surface, row, visits = self.entry.surface, self.row, self.entry.visits
        return {
            "name": self.name,
            "folder": str(self.entry.folder),
            "form": surface.form if surface else None,
            "radius_mm": surface.radius_mm if surface else None,
            "diameter_mm": surface.diameter_mm if surface else None,
            "state": self.state,
            "probability": self.verdict.probability if self.verdict else None,
            "last_visit": visits[-1].when.isoformat() if visits else None,
            "visits": len(visits),
            "sessions": self.entry.sessions,
            "hours": self.hours,
            "stage": self.stage,
            "power_fringes": row.power_fringes if row else None,
            "power_u95_fringes": row.power_u95_fringes if row else None,
            "sense": row.sense if row else None,
            "next_step": self.step,
        }


@dataclass(frozen=True)
class SurfaceList:
    """Surfaces of an archive.

    Attributes
    ----------
    archive : Path
    shown : tuple of ListedSurface
        Those that were asked for, the latest visit first.
    count : int
        How many the archive has.
    problems : tuple of str
        What cannot be read, one line each.
    """

    archive: Path
    shown: tuple[ListedSurface, ...]
    count: int
    problems: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe surfaces --json`."""
        return {
            "surfaces": [one.to_json() for one in self.shown],
            "problems": list(self.problems),
        }


def surface_list(archive: Path, *, still_open: bool = False, steps: bool = False) -> SurfaceList:
    """List an archive's surfaces.

    Parameters
    ----------
    archive : Path
    still_open : bool
        Only those that are not proven inside.
    steps : bool
        Say of each what to do next.

    Raises
    ------
    BadInput
        If there is no such archive.
    """
    entries = list_archive(archive).entries
    visits = listed_visits(entries, alone=not steps)
    states = [_listed(*both, steps=steps) for both in zip(entries, visits, strict=True)]
    shown = [one for one in states if not (still_open and one.state == "inside")]
    shown.sort(key=lambda one: one.when, reverse=True)
    problems = tuple(line for entry in entries for line in entry.problems)
    return SurfaceList(archive, tuple(shown), len(states), problems)


def _listed(entry: Entry, visits: LoggedVisits | None, *, steps: bool) -> ListedSurface:
    if visits is None:
        return ListedSurface(entry)
    row, verdict = visits.last()
    return ListedSurface(entry, row, verdict, visits.state().next_step.text() if steps else None)
