"""A visit that was just logged, and what the surface's visits say with it among them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.order import find_visit
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface
from fringe.archive.store.write import write_visit
from fringe.archive.views.surface_state import SurfaceState, surface_state
from fringe.judge.progress import last_visit
from fringe.judge.spherometer.compare import SagResult, trap_text
from fringe.judge.state.visits import VisitRow
from fringe.quantity import half_width_if_any


@dataclass(frozen=True)
class LoggedVisit:
    """A visit in the archive.

    Attributes
    ----------
    visit : Visit
        As it was written.
    path : Path
        Its session's file.
    number : int
        Of the visit; a correction has that of the visit that it corrects.
    state : SurfaceState
        Of the surface, this visit among the others.
    sagittas : SagResult or None
        What the spherometer said.
    before : VisitRow or None
        The visit as it stood before, where this one corrects it.
    """

    visit: Visit
    path: Path
    number: int
    state: SurfaceState
    sagittas: SagResult | None = None
    before: VisitRow | None = None

    @property
    def row(self) -> VisitRow:
        """The visit as the progress has it."""
        return next(row for row in self.state.rows if row.session_id == self.path.stem)

    @property
    def refusals(self) -> list[str]:
        """Photographs that are kept without a reading, one line each."""
        kept = [one for one in self.visit.photographs if one.refusal is not None]
        return [f"{one.file_name} is kept without a reading: {one.refusal}" for one in kept]

    @property
    def notes(self) -> list[str]:
        """What the person should know of the spherometer's readings."""
        if self.sagittas is None:
            return []
        options = [one.options for one in self.visit.spherometers]
        assumed = [one["assumed"] for one in options if "assumed" in one]
        trap = trap_text(self.sagittas)
        return [*([trap] if trap else []), *dict.fromkeys(assumed), *self.sagittas.notes]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe log --json`."""
        return {
            "surface": self.state.surface.name,
            "session": self.path.stem,
            "file": str(self.path),
            "visit": self.number,
            **self.row.to_json(),
            "corrects": None if self.before is None else self.before.to_json(),
            "wavelength_nm": self.state.wavelength_nm,
            "readings": [logged.reading.to_json() for logged in self.visit.readings],
            "spherometer": _spherometer_json(self.visit),
            "refused": self.refusals,
            "next_step": self.state.next_step.to_json(),
            "partner": self.state.partner,
            "notes": list(self.state.notes),
            "problems": list(self.state.problems),
        }


def log_and_judge(surface: Surface, visit: Visit, sagittas: SagResult | None = None) -> LoggedVisit:
    """Write a visit, and judge the surface's visits with it among them.

    Raises
    ------
    BadInput
        If it cannot be written, as :func:`fringe.archive.store.write.log_visit`.
    """
    before = _row_before(surface, visit)
    written = write_visit(surface, visit)
    state = surface_state(surface)
    return LoggedVisit(visit, written.path, written.number, state, sagittas, before)


def _row_before(surface: Surface, visit: Visit) -> VisitRow | None:
    """The visit that is corrected, judged by itself."""
    if visit.replaces is None or surface.folder is None:
        return None
    current = find_visit(surface.folder, visit.replaces).current
    return last_visit([current.record], surface.tolerance)[0]


def _spherometer_json(visit: Visit) -> dict[str, object] | None:
    one = next((s for s in visit.spherometers if s.measured is not None), None)
    if one is None or one.measured is None:
        return None
    found = one.measured
    return {
        "power_fringes": found.power_fringes,
        "power_u95_fringes": half_width_if_any(found.power_u_fringes, found.dof),
        "radius_difference_mm": found.radius_difference_mm,
        "radius_difference_u95_mm": half_width_if_any(found.radius_difference_u_mm, found.dof),
        "work_radius_mm": one.radius_mm,
    }
