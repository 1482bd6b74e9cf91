"""The only place where simulated shops meet the judging: visits in, the next step out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from unittest.mock import patch

import fringe.judge.judging as judging
import fringe.judge.progress as progressing
from fringe.archive.views.surface_state import LIKE_DIAMETER, MOST_LIKE
from fringe.judge.advice.step import NextStep, round_minutes
from fringe.judge.progress import Progress, progress
from fringe.judge.state.visits import VisitRecord
from shops.shop import GRAINS_UM, Job

WORKING = ("grind", "polish")
_SENSE, _DUST, _MINUTES = re.compile(r"sense"), re.compile(r"dust"), re.compile(r"minutes")


@dataclass(frozen=True)
class Logged:
    """A surface as its archive keeps it."""

    job: Job
    visits: tuple[VisitRecord, ...]

    @cached_property
    def other(self) -> Any:
        """The surface as another one learns from it; the same each time, as an archive keeps it."""
        from fringe.judge.state.observed import OtherSurface, observed

        at = self.job.aperture
        return OtherSurface(observed(self.visits, at.wavelength_nm, at.work), at.diameter_mm)


def judge(job: Job, visits: Sequence[VisitRecord], earlier: Sequence[Logged]) -> Progress:
    """Judge a surface's visits, the shop's earlier surfaces beside it, as an archive would.

    Parameters
    ----------
    job : Job
        The surface.
    visits : sequence of VisitRecord
        Its visits so far.
    earlier : sequence of Logged
        Earlier surfaces of the shop, the oldest first.
    """
    alike = [one for one in earlier if _alike(one.job, job)][-MOST_LIKE:]
    with _last_step_alone(len(visits)):
        return progress(visits, job.tolerance, aperture=job.aperture, **_taught(alike))


@contextmanager
def _last_step_alone(count: int) -> Iterator[None]:
    """Leave out the steps after earlier visits, and the rates: nobody in a shop looks at them.

    They take ten times as long as the last step, and change nothing of it.
    """
    real = judging.nextstep
    blank = NextStep("remeasure", "")

    def last(rows: Sequence[Any], *args: Any, **options: Any) -> NextStep:
        return real(rows, *args, **options) if len(rows) == count else blank

    with (
        patch.object(judging, "nextstep", last),
        patch.object(progressing, "_rates", lambda *_: ()),
    ):
        yield


def _alike(one: Job, other: Job) -> bool:
    ratio = one.aperture.diameter_mm / other.aperture.diameter_mm
    return 1 / LIKE_DIAMETER <= ratio <= LIKE_DIAMETER


def _taught(alike: Sequence[Logged]) -> dict[str, Any]:
    """What earlier surfaces teach, as `fringe.archive.views.surface_state` hands it over."""
    return {"others": tuple(one.other for one in alike)}


@dataclass(frozen=True)
class Advice:
    """What a next step tells the person, whichever version of the judging said it.

    Attributes
    ----------
    action : str
        As in `NextStep`.
    stage : str or None
        As told.
    parts : tuple of (str or None, float or None)
        Piece on top and minutes of each spell, as they are printed.
    rest_minutes : float or None
        How long the work is to rest before it is read.
    back_at : datetime or None
        When to come back.
    asked : tuple of (str, int)
        Blunders that are asked about, with the number of the visit.
    sentence : str
        In the program's own words.
    """

    action: str
    stage: str | None
    parts: tuple[tuple[str | None, float | None], ...]
    rest_minutes: float | None
    back_at: Any
    asked: tuple[tuple[str, int], ...]
    sentence: str


def advice(judged: Progress) -> Advice:
    """What the next step tells."""
    step: Any = judged.next_step
    split = getattr(step, "alternate", ()) or ()
    parts = tuple((top, float(round_minutes(minutes))) for top, minutes in split if minutes > 0)
    if not parts:
        minutes = None if step.minutes is None else float(round_minutes(step.minutes))
        parts = ((step.piece_on_top, minutes),)
    return Advice(
        step.action,
        step.stage,
        parts,
        getattr(step, "rest_minutes", None),
        getattr(step, "back_at", None),
        _asked(step, len(judged.rows)),
        step.sentence(),
    )


def _asked(step: Any, last: int) -> tuple[tuple[str, int], ...]:
    """Blunders that a step asks about; the last visit's where the question names none."""
    question, doubt = getattr(step, "question", None), getattr(step, "doubt", None)
    if not question:
        return ()
    if doubt is not None:
        return ((doubt.kind.split()[0], doubt.visit),)
    named = re.search(r"visit (\d+)", question)
    number = int(named[1]) if named else last
    kinds = (("sense", _SENSE), ("dust", _DUST), ("minutes", _MINUTES))
    return tuple((kind, number) for kind, word in kinds if word.search(question))


@dataclass(frozen=True)
class Foretold:
    """Intervals of 90 % that a step foretells, and the chance to be inside.

    Attributes
    ----------
    height_um : (float, float) or None
        Height of power after the advised work [um].
    minutes : (float, float) or None
        Time until the surface is within `width_um`; infinite where that is never.
    width_um : float
        Height that it is to come within [um].
    on_top : str
        Piece on top of the foretold minutes.
    inside : float or None
        Chance to be inside the limits of power after the advised work.
    """

    height_um: tuple[float, float] | None = None
    minutes: tuple[float, float] | None = None
    width_um: float = 0.0
    on_top: str = ""
    inside: float | None = None


def foretold(judged: Progress, job: Job) -> Foretold:
    """What the next step foretells of its work."""
    step: Any = judged.next_step
    one = step.forecast
    if step.action not in WORKING or one is None or step.minutes is None:
        return Foretold()
    after = None if one.after_um is None else (one.after_um.low, one.after_um.high)
    low, high = one.minutes.low, one.minutes.high
    ends = (float("inf") if low is None else low, float("inf") if high is None else high)
    wider = one.half_width_um > 1.001 * job.limit_um
    return Foretold(
        after, ends, one.half_width_um, one.kind.on_top, None if wider else one.inside_after
    )


def claimed(judged: Progress) -> float | None:
    """Probability to be inside that the judging claims now."""
    verdict = judged.verdict
    return None if verdict is None else verdict.probability


def stage_to_do(step: Advice, job: Job, last: str | None) -> tuple[str, bool]:
    """The stage that a person takes, and whether the step told it.

    What is told is taken, or the nearest that the shop has in the same direction. What is not
    told goes on as before, or as the words of the reason say.
    """
    fine = {name: i for i, name in enumerate(job.stages)}
    before = last or job.start
    if step.action == "polish" and step.stage is None:
        return "polish", last == "polish"
    if step.stage is not None and step.stage in fine:
        return step.stage, True
    if step.stage is not None:
        return _nearest(step.stage, job, last), True
    at = fine[before]
    if "go on to" in step.sentence and last is not None:
        at = min(at + 1, len(job.stages) - 2)
    elif "go back a grit" in step.sentence or before == "polish":
        at = max(at - 1, 0)
    return job.stages[at], last is not None and at == fine[before]


def _nearest(name: str, job: Job, last: str | None) -> str:
    """The stage of the shop whose grain is nearest to one that it has not got."""
    from fringe.judge.state.abrasives import stage

    wanted = stage(name)
    if wanted.polish:
        return "polish"
    size = wanted.size_um or GRAINS_UM["#240"]
    here = None if last is None else GRAINS_UM.get(last, 0.0)
    grits = [one for one in job.stages if one in GRAINS_UM]
    if here is not None and size != here:
        grits = [s for s in grits if (GRAINS_UM[s] < here) == (size < here)] or grits
        if size < here and all(GRAINS_UM[s] >= here for s in grits):
            return "polish"
    return min(grits, key=lambda one: max(GRAINS_UM[one] / size, size / GRAINS_UM[one]))
