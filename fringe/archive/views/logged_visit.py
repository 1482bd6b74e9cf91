"""A visit that was just logged, and what the surface's visits say with it among them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.store.order import find_visit, survey
from fringe.archive.store.session import SessionSummary, Visit
from fringe.archive.store.surface import Surface
from fringe.archive.store.write import Written, write_visit
from fringe.archive.views.surface_state import SurfaceState, logged_visits, struck_row
from fringe.errors import BadInput
from fringe.judge.progress import last_visit
from fringe.judge.spherometer.compare import SagResult, trap_text
from fringe.judge.state.visits import VisitRow
from fringe.quantity import half_width_if_any


@dataclass(frozen=True)
class LoggedVisit:
    """A visit in the archive; that it is there hangs on nothing else that is told here.

    Attributes
    ----------
    surface : Surface
    visit : Visit
        As it was written.
    path : Path
        Its session's file.
    number : int
        Of the visit; a correction has that of the visit that it corrects.
    judged : SurfaceState or None
        Of the surface, this visit among the others; None where that could not be worked out.
    sagittas : SagResult or None
        What the spherometer said.
    before : VisitRow or None
        The visit as it stood before, where this one corrects it.
    failures : tuple of str
        What could not be worked out beside it, a line each.
    assumed : tuple of str
        What was not said, and taken over from the last time or found, a line each.
    by_photograph : bool
        Whether its time is that of its photographs.
    """

    surface: Surface
    visit: Visit
    path: Path
    number: int
    judged: SurfaceState | None
    sagittas: SagResult | None = None
    before: VisitRow | None = None
    failures: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    by_photograph: bool = False

    @property
    def state(self) -> SurfaceState:
        """What all visits say with this one; `BadInput` where that could not be worked out."""
        if self.judged is None:
            raise BadInput("; ".join(self.failures))
        return self.judged

    @property
    def row(self) -> VisitRow | None:
        """The visit as the progress has it; None where that could not be worked out."""
        if self.judged is None:
            return None
        return next(row for row in self.judged.listed if row.session_id == self.path.stem)

    @property
    def refusals(self) -> list[str]:
        """Photographs that are kept without a reading, one line each."""
        kept = [one for one in self.visit.photographs if one.refusal is not None]
        return [f"{one.file_name} is kept without a reading: {one.refusal}" for one in kept]

    @property
    def warnings(self) -> list[str]:
        """All that the person should know besides, one line each."""
        problems = self.judged.problems if self.judged is not None else ()
        kept = f"visit {self.number} is kept, do not log it again; "
        return [*self.refusals, *problems, *(kept + line for line in self.failures)]

    @property
    def notes(self) -> list[str]:
        """What the person should know of what was taken for granted, and of the spherometer."""
        if self.sagittas is None:
            return list(self.assumed)
        options = [one.options for one in self.visit.spherometers]
        assumed = [one["assumed"] for one in options if "assumed" in one]
        trap = trap_text(self.sagittas)
        return [
            *self.assumed,
            *([trap] if trap else []),
            *dict.fromkeys(assumed),
            *self.sagittas.notes,
        ]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe log --json`."""
        row, judged = self.row, self.judged
        return {
            "surface": self.surface.name,
            "session": self.path.stem,
            "file": str(self.path),
            "kept": True,
            **(row.to_json() if row is not None else {}),
            "visit": self.number,
            "corrects": None if self.before is None else self.before.to_json(),
            "wavelength_nm": None if judged is None else judged.wavelength_nm,
            "readings": [logged.reading.to_json() for logged in self.visit.readings],
            "spherometer": _spherometer_json(self.visit),
            "refused": self.refusals,
            "assumed": list(self.assumed),
            "when_from": "photograph" if self.by_photograph else None,
            "next_step": None if judged is None else judged.next_step.to_json(),
            "correction": None if judged is None else judged.correction,
            "partner": None if judged is None else judged.partner,
            "notes": [] if judged is None else list(judged.notes),
            "problems": [*(judged.problems if judged is not None else ()), *self.failures],
        }


def log_and_judge(surface: Surface, visit: Visit, sagittas: SagResult | None = None) -> LoggedVisit:
    """Write a visit with what it advises, the surface's visits judged with it among them.

    Whatever fails but the writing does not keep the visit from being kept.

    Raises
    ------
    BadInput
        If it cannot be written, as :func:`fringe.archive.store.write.write_visit`.
    """
    before = _row_before(surface, visit)
    judging = _Judging(surface)
    written = write_visit(surface, visit, advise=judging)
    return LoggedVisit(
        surface,
        visit,
        written.path,
        written.number,
        judging.state_after(written),
        sagittas,
        before,
        tuple(judging.failures),
    )


class _Judging:
    """Judges a surface's visits with one that is about to be written among them."""

    def __init__(self, surface: Surface) -> None:
        self.failures: list[str] = []
        self._surface = surface
        self._state: SurfaceState | None = None
        self._session = ""

    def __call__(self, session: SessionSummary) -> Mapping[str, object] | None:
        """What to do next once this session is written; None where that cannot be told."""
        folder = self._surface.folder
        assert folder is not None
        try:
            found = survey(folder, session)
            self._session = session.session_id
            self._state = logged_visits(self._surface, found=found).state()
            step = self._state.next_step
            return {**step.to_json(), "text": step.text()}
        except Exception as error:  # a visit must not be lost because of what is made of it
            words = " ".join(str(error).split()) or type(error).__name__
            self.failures.append(f"the next step could not be worked out: {words}")
            return None

    def state_after(self, written: Written) -> SurfaceState | None:
        """What was judged, under the name and number that the session got in the end."""
        if self._state is None or self.failures:
            return None

        def named(rows: tuple[VisitRow, ...]) -> tuple[VisitRow, ...]:
            return tuple(
                replace(row, session_id=written.path.stem, visit=written.number)
                if row.session_id == self._session
                else row
                for row in rows
            )

        judged = replace(self._state.judged, rows=named(self._state.rows))
        return replace(self._state, judged=judged, struck=named(self._state.struck))


def _row_before(surface: Surface, visit: Visit) -> VisitRow | None:
    """The visit that is corrected, judged by itself."""
    if visit.replaces is None or surface.folder is None:
        return None
    current = find_visit(surface.folder, visit.replaces).current
    if current.struck:
        return struck_row(current)
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
