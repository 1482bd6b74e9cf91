"""An archive's surfaces with how far each is, the latest visit first."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from fringe.archive.plates.known import known_plates
from fringe.archive.plates.notes import notes_on
from fringe.archive.plates.state import PlateState
from fringe.archive.store.heads import Head, keep_heads, list_heads
from fringe.archive.store.surface import Plate
from fringe.archive.views.decided import Decided, Decisions


@dataclass(frozen=True)
class ListedSurface:
    """How far a surface is.

    Attributes
    ----------
    head : Head
        What the archive's list knows of it.
    decided : Decided
        Of its last visit that worked or read, by today's tolerance.
    step : str or None
        What to do next, where that was asked for.
    behind : int
        Like surfaces with visits or records that this step does not count yet.
    of_plate : tuple of str
        What is to be said of its plate.
    """

    head: Head
    decided: Decided
    step: str | None = None
    behind: int = 0
    of_plate: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Of the surface; of its folder where the record cannot be read."""
        return self.head.name

    @property
    def form(self) -> str | None:
        """`convex` or `concave`; None where the record cannot be read."""
        form: str | None = self._recorded("form")
        return form

    @property
    def state(self) -> str:
        """Verdict, or how far it is without one."""
        if self.head.values["record"] is None:
            return "damaged"
        if not self.decided.worked:
            return "new"
        return self.decided.state or "open"

    @property
    def last_visit(self) -> datetime | None:
        """Time of the last visit."""
        when = self.head.values["last_visit"]
        return None if when is None else datetime.fromisoformat(when)

    @property
    def visits(self) -> int:
        """How many count."""
        return int(self.head.values["visits"])

    @property
    def hours(self) -> float:
        """Work so far [h]."""
        return float(self.head.values["hours"])

    @property
    def stage(self) -> str | None:
        """The last stage that was worked."""
        stage: str | None = self.head.values["stage"]
        return stage

    def to_json(self) -> dict[str, object]:
        """Return everything under its name."""
        return {
            "name": self.name,
            "folder": str(self.head.folder),
            "form": self.form,
            "radius_mm": self._recorded("radius_mm"),
            "diameter_mm": self._recorded("diameter_mm"),
            "outside_diameter_mm": self._recorded("outside_diameter_mm"),
            "state": self.state,
            "probability": self.decided.probability,
            "last_visit": self.head.values["last_visit"],
            "visits": self.visits,
            "sessions": self.head.values["sessions"],
            "hours": self.hours,
            "stage": self.stage,
            "power_fringes": self.decided.power_fringes,
            "power_u95_fringes": self.decided.power_u95_fringes,
            "sense": self.decided.sense,
            "next_step": self.step,
            "next_step_behind": self.behind,
            "of_plate": list(self.of_plate),
        }

    def _recorded(self, name: str) -> Any:
        record = self.head.values["record"]
        return None if record is None else record.get(name)


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

    @property
    def behind(self) -> int:
        """How many of the next steps do not count all visits of like surfaces yet."""
        return sum(one.behind > 0 for one in self.shown)

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
    listed = list_heads(archive)
    heads = listed.heads
    decisions = Decisions(heads)
    if steps:
        decisions.add_steps()
    if listed.changed or decisions.changed:
        keep_heads(archive, decisions.heads)
    plates = known_plates(archive) if steps else {}
    shown = [_listed(one, decisions, plates, steps=steps) for one in heads]
    shown = [one for one in shown if not (still_open and one.state == "inside")]
    shown.sort(key=_last_time, reverse=True)
    problems = tuple(line for head in heads for line in head.problems)
    return SurfaceList(archive, tuple(shown), len(heads), problems)


def _listed(
    head: Head, decisions: Decisions, plates: Mapping[str, PlateState], *, steps: bool
) -> ListedSurface:
    decided = decisions.of(head.folder)
    if not steps:
        return ListedSurface(head, decided)
    behind = decisions.behind(head.folder)
    return ListedSurface(head, decided, decided.step, behind, _of_plate(head, plates))


def _of_plate(head: Head, plates: Mapping[str, PlateState]) -> tuple[str, ...]:
    record = head.values["record"]
    said = None if record is None else record.get("plate")
    state = None if said is None else plates.get(str(said.get("name")))
    if said is None or state is None:
        return ()
    plate = Plate(state.name, said.get("radius_mm"), said.get("radius_u_mm"))
    return notes_on(state, plate, date.today())


def _last_time(one: ListedSurface) -> float:
    """Time of the last visit; before all time without one."""
    return one.last_visit.timestamp() if one.last_visit else -math.inf
