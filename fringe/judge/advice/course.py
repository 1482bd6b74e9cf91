"""Lives that a surface may still have, each worked as the next step says, to its end."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fringe.judge.advice.schedule import Turn
from fringe.judge.state.abrasives import stage
from fringe.judge.state.foreseen import Life
from fringe.judge.state.observed import (
    SPHEROMETER,
    UNSTATED_FRINGES,
    UNSTATED_SPHEROMETER_UM,
    Spell,
    observed,
)
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.half_width import NM_PER_UM
from fringe.judge.tolerance.measured import Measured
from fringe.optics.spheres import radius_difference_mm

if TYPE_CHECKING:
    from fringe.judge.advice.step import NextStep
    from fringe.judge.judging import Judging
    from fringe.judge.tolerance.verdict import Tolerance

MOST_VISITS = 40  # a life that is longer is given up
_EXPECTED_FORM = 0.5  # of the limit: irregularity of a surface that never showed any


@dataclass(frozen=True)
class Course:
    """What one life still takes.

    Attributes
    ----------
    turns : tuple of Turn
        At the bench: spells of work, and readings.
    steps : tuple of str
        What each turn is, in the words of the next step.
    visits : int
        Visits that read the surface.
    work_minutes : float
        Of work, without readings [min].
    finished : bool
        Whether it came to `stop` within `MOST_VISITS`.
    height_um : float
        True height of power at its end [um].
    """

    turns: tuple[Turn, ...]
    steps: tuple[str, ...]
    visits: int
    work_minutes: float
    finished: bool
    height_um: float


def course(
    judging: Judging,
    seed: Sequence[int],
    reading_minutes: float,
    first_minutes: float | None = None,
) -> Course:
    """Live one life on: do what the next step says until it says stop.

    Parameters
    ----------
    judging : Judging
        The surface after its last visit; it is left as it is.
    seed : sequence of int
        Which life.
    reading_minutes : float
        That a reading takes the hands, cleaning included [min].
    first_minutes : float, optional
        The first spell's minutes in place of those advised.

    Returns
    -------
    Course
    """
    return _Lived(judging.copy(), seed, reading_minutes, first_minutes).to_the_end()


class _Lived:
    """A life while it goes on."""

    def __init__(
        self,
        judging: Judging,
        seed: Sequence[int],
        reading_minutes: float,
        first_minutes: float | None,
    ) -> None:
        assert judging.belief is not None
        self._judging, self._rng = judging, np.random.default_rng(seed)
        self._life = Life(judging.belief, self._rng)
        self._readers = _Readers(judging)
        self._reading_minutes, self._first = reading_minutes, first_minutes
        self._when = judging.visits[-1].when
        self._turns: list[Turn] = []
        self._steps: list[str] = []
        self._visits = 0
        self._work = 0.0

    def to_the_end(self) -> Course:
        step = self._judging.step
        while step.action != "stop" and self._visits < MOST_VISITS:
            work = self._worked(step) if step.action in ("grind", "polish") else self._lies(step)
            self._read(work)
            step = self._judging.step
        return Course(
            tuple(self._turns),
            tuple(self._steps),
            self._visits,
            self._work,
            step.action == "stop",
            self._life.height_um,
        )

    def _worked(self, step: NextStep) -> Work:
        if self._first is not None:
            step, self._first = lasting(step, self._first), None
        spells = spells_of(step)
        removed = self._life.work(spells)
        minutes = math.fsum(one.minutes or 0.0 for one in spells)
        self._work += minutes
        rest = step.rest_minutes or 0.0
        self._add(Turn(minutes, rest), step.short())
        self._rest(minutes + rest, rest)
        return Work(
            stage=step.stage,
            minutes=minutes,
            on_top=None if step.alternate else step.piece_on_top,
            parts=step.alternate,
            rested_minutes=rest,
            removed_mm=removed / NM_PER_UM if self._readers.gauge else None,
            pits=("left" if self._life.pits_left else "gone") if self._readers.loupe else None,
        )

    def _lies(self, step: NextStep) -> Work:
        minutes = step.minutes or 0.0
        if minutes and self._turns:
            last = self._turns[-1]
            self._turns[-1] = replace(last, rest_minutes=last.rest_minutes + minutes)
        elif minutes:
            self._add(Turn(0.0, minutes), "wait")
        self._rest(minutes, minutes)
        return Work()

    def _read(self, work: Work) -> None:
        self._add(Turn(self._reading_minutes), "read")
        self._visits += 1
        measured = self._readers.read(self._life, self._rng, _is_polished(work, self._judging))
        visit = VisitRecord(f"ahead-{self._visits}", self._when, work, (measured,))
        self._judging.take(visit)
        self._rest(self._reading_minutes, self._reading_minutes)

    def _rest(self, minutes: float, rested: float) -> None:
        self._when += timedelta(minutes=minutes)
        self._life.rest(rested)

    def _add(self, turn: Turn, words: str) -> None:
        self._turns.append(turn)
        self._steps.append(words)


class _Readers:
    """How a surface is read: as it was until now."""

    def __init__(self, judging: Judging) -> None:
        self._tolerance, self._aperture = judging.tolerance, judging.aperture
        self._last: dict[str, Measured] = {}
        for visit in judging.visits:
            for one in visit.own:
                if one.power_fringes is not None:
                    self._last[SPHEROMETER if one.source == SPHEROMETER else "fringes"] = one
        works = [visit.work for visit in judging.visits]
        self.gauge = any(one.removed_mm is not None for one in works)
        self.loupe = any(one.pits is not None for one in works)

    def read(self, life: Life, rng: np.random.Generator, polished: bool) -> Measured:
        """One reading of a life as it is now: by fringes where it is polished."""
        wavelength = self._tolerance.wavelength_nm
        assert wavelength is not None
        fringe_um = wavelength / 2 / NM_PER_UM
        kind = "fringes" if polished else SPHEROMETER
        one = self._last.get(kind) or self._unused(kind, wavelength)
        told = observed([VisitRecord("", datetime.min, Work(), (one,))], wavelength)[0].readings[0]
        truth = life.shown_um if polished else life.height_um + life.offset * told.u_offset_um
        power = (truth + told.u_um * rng.standard_normal()) / fringe_um
        return self._with(one, power, wavelength)

    def _with(self, one: Measured, power: float, wavelength_nm: float) -> Measured:
        scale = (one.wavelength_nm or wavelength_nm) / wavelength_nm
        radius = one.radius_difference_mm
        if self._aperture is not None:
            at = self._aperture
            radius = radius_difference_mm(
                power * wavelength_nm / at.wavelength_nm,
                at.radius_mm,
                at.diameter_mm,
                at.wavelength_nm,
                at.work,
            )
        limit = self._tolerance.irregularity_fringes
        form = one.irregularity_fringes
        if limit is not None and one.source != SPHEROMETER and not (form and form < limit):
            one = replace(one, irregularity_u_fringes=0.05 * limit, irregularity_parts=())
            form = _EXPECTED_FORM * limit
        return replace(
            one,
            power_fringes=power / scale,
            sense="centre" if power >= 0 else "edge",
            radius_difference_mm=radius,
            irregularity_fringes=form,
            photograph="",
            against=None,
        )

    def _unused(self, kind: str, wavelength_nm: float) -> Measured:
        u = UNSTATED_FRINGES["fringes"]
        if kind == SPHEROMETER:
            u = UNSTATED_SPHEROMETER_UM / (wavelength_nm / 2 / NM_PER_UM)
        return Measured(
            power_fringes=0.0, power_u_fringes=u, wavelength_nm=wavelength_nm, source=kind
        )


def _is_polished(work: Work, judging: Judging) -> bool:
    """Whether the surface shows fringes: polished last, or read by fringes and not ground since."""
    for one in (work, *(visit.work for visit in reversed(judging.visits))):
        if one.stage is not None:
            return stage(one.stage).polish
    return any(one.source != SPHEROMETER for visit in judging.visits for one in visit.own)


def spells_of(step: NextStep) -> tuple[Spell, ...]:
    """The work of a step as spells with one piece on top each."""
    made = stage(step.stage or step.action)
    turns: Sequence[tuple[str, float]] = step.alternate
    if not turns:
        assert step.piece_on_top is not None
        turns = ((step.piece_on_top, step.minutes or 0.0),)
    return tuple(Spell(made, minutes, on_top) for on_top, minutes in turns)


def lasting(step: NextStep, minutes: float) -> NextStep:
    """The same work for another time, each piece on top for the same share of it."""
    factor = minutes / step.minutes if step.minutes else 1.0
    turns = tuple((on_top, factor * told) for on_top, told in step.alternate)
    return dataclasses.replace(step, minutes=minutes, alternate=turns)


def limits_power(tolerance: Tolerance) -> bool:
    """Whether a tolerance limits power, so that a plan has an end to plan for."""
    return tolerance.power_fringes is not None or tolerance.radius_difference_mm is not None
