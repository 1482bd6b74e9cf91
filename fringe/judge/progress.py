"""A surface's visits as a table: what was measured, what it proves, what to do next."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.judge.advice.form import with_form_advice
from fringe.judge.advice.step import NextStep
from fringe.judge.judging import Judging
from fringe.judge.state.combine import combine
from fringe.judge.state.visits import SourceValue, VisitRecord, VisitRow
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance, Verdict
from fringe.judge.visit_rows import first_wavelength, last_visit

if TYPE_CHECKING:
    from fringe.judge.state.belief import Belief
    from fringe.judge.state.forecast import Forecast
    from fringe.judge.state.memory import Memory
    from fringe.judge.state.observed import OtherSurface

__all__ = [
    "Progress",
    "SourceValue",
    "VisitRecord",
    "VisitRow",
    "combine",
    "last_visit",
    "progress",
]


# Of so many of the last visits it is told what was to do next after them.
STEPS_TOLD = 40


@dataclass(frozen=True)
class Progress:
    """The visits of a surface, judged.

    Attributes
    ----------
    rows : tuple of VisitRow
        One a visit, in their order.
    next_step : NextStep
        What to do now.
    verdicts : tuple of Verdict or None
        As it stood after each visit: that of the last visit until then that worked or read; None
        where that one read nothing, or the surface has no tolerance.
    wavelength_nm : float or None
        Wavelength that the rows' fringes are counted in [nm].
    rates : tuple of Forecast
        What each kind of work that was logged does, the latest kind last; empty where
        nothing tells.
    """

    rows: tuple[VisitRow, ...]
    next_step: NextStep
    verdicts: tuple[Verdict | None, ...]
    wavelength_nm: float | None
    rates: tuple[Forecast, ...] = ()

    @property
    def verdict(self) -> Verdict | None:
        """As it stands now."""
        return self.verdicts[-1] if self.verdicts else None

    def with_step(self, step: NextStep) -> Progress:
        """The same with another next step after the last visit."""
        last = dataclasses.replace(self.rows[-1], next_step=step.text())
        return dataclasses.replace(self, rows=(*self.rows[:-1], last), next_step=step)


def progress(
    visits: Sequence[VisitRecord],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    others: Sequence[OtherSurface] = (),
    pit_factor: float | None = None,
    told: Collection[str] = (),
    memory: Memory | None = None,
) -> Progress:
    """Judge each visit of a surface as it stood then, by the tolerance of today.

    Parameters
    ----------
    visits : sequence of VisitRecord
        Visits in their order.
    tolerance : Tolerance
        What is allowed; where it names no wavelength, that of the first reading counts.
    aperture : Aperture, optional
        The surface, for the radius that a next spell leads to.
    others : sequence of OtherSurface
        Other surfaces of the shop, the oldest first: what they teach of its work.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; that of the table otherwise.
    told : collection of str
        Sessions of which what was to do next after them is known; only of the last visit it is
        worked out all the same.
    memory : Memory, optional
        What was inferred of the surface before.

    Returns
    -------
    Progress
    """
    wavelength = tolerance.wavelength_nm or first_wavelength(visits)
    tolerance = dataclasses.replace(tolerance, wavelength_nm=wavelength)
    asked = [
        left == 0 or (left < STEPS_TOLD and visit.session_id not in told)
        for left, visit in zip(range(len(visits))[::-1], visits, strict=True)
    ]
    wanted = len(visits) - asked.index(True) if visits else 0
    beliefs = _beliefs(visits, wavelength, others, aperture, pit_factor, memory, wanted)
    judging = Judging(tolerance, aperture, others, beliefs=beliefs)
    rows: list[VisitRow] = []
    for place, (visit, ask) in enumerate(zip(visits, asked, strict=True), 1):
        row = judging.add(visit)
        if ask:
            step = judging.advise(brief=place < len(visits))
            row = dataclasses.replace(row, next_step=step.text())
        rows.append(row)
    rates = _rates(judging.belief, tolerance, aperture)
    step = with_form_advice(judging.step, rows, tolerance)
    return Progress(tuple(rows), step, tuple(judging.verdicts), wavelength, rates)


def _beliefs(
    visits: Sequence[VisitRecord],
    wavelength_nm: float | None,
    others: Sequence[OtherSurface],
    aperture: Aperture | None,
    pit_factor: float | None,
    memory: Memory | None,
    wanted: int,
) -> Sequence[Belief | None]:
    """What is believed of the surface after the last visits; None before power was read."""
    if not any(one.power_fringes is not None for visit in visits for one in visit.own):
        return [None] * len(visits)
    from fringe.judge.state.filter import believe
    from fringe.judge.state.observed import observed

    form = "convex" if aperture is None else aperture.work
    return believe(
        observed(visits, wavelength_nm, form),
        others=others,
        pit_factor=pit_factor,
        memory=memory,
        wanted=wanted,
    )


def _rates(
    last: Belief | None, tolerance: Tolerance, aperture: Aperture | None
) -> tuple[Forecast, ...]:
    if last is None:
        return ()
    from fringe.judge.advice.ahead import learned
    from fringe.judge.tolerance.half_width import half_width_um

    return learned(last, half_width_um(tolerance, aperture))
