"""The judging of one surface, visit by visit: what is believed, and what to do next."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fringe.judge.advice.next_step import nextstep
from fringe.judge.advice.step import NextStep
from fringe.judge.state.visits import VisitRecord, VisitRow
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance, Verdict
from fringe.judge.visit_rows import visit_row

if TYPE_CHECKING:
    from fringe.judge.state.abrasives import Stage
    from fringe.judge.state.belief import Belief
    from fringe.judge.state.filter import Follower
    from fringe.judge.state.observed import ObservedVisit, OtherSurface


class Judging:
    """A surface and what its visits say, to which visits can be added.

    Parameters
    ----------
    tolerance : Tolerance
        What is allowed, with the wavelength that fringes are counted in.
    aperture : Aperture, optional
        The surface.
    others : sequence of OtherSurface
        Other surfaces of the shop, the oldest first.
    visits : sequence of VisitRecord
        That were logged already, in their order; advice is given after the last of them.
    beliefs : sequence of Belief or None, optional
        What is believed after each visit, where that was inferred elsewhere; no other visits can
        be added then.

    Attributes
    ----------
    visits, rows : list of VisitRecord, list of VisitRow
        Until now.
    verdicts : list of Verdict or None
        As it stood after each visit: that of the last visit until then that worked or read; None
        where that one read nothing, or the surface has no tolerance.
    belief : Belief or None
        After the last visit; None before power was read.
    step : NextStep
        What to do, by the last advice.
    """

    def __init__(
        self,
        tolerance: Tolerance,
        aperture: Aperture | None = None,
        others: Sequence[OtherSurface] = (),
        visits: Sequence[VisitRecord] = (),
        *,
        beliefs: Sequence[Belief | None] | None = None,
    ) -> None:
        self.tolerance, self.aperture = tolerance, aperture
        self._others, self._beliefs = tuple(others), beliefs
        self._logged = tuple(visits)
        self._follower: Follower | None = None
        self.visits: list[VisitRecord] = []
        self.rows: list[VisitRow] = []
        self.verdicts: list[Verdict | None] = []
        self.belief: Belief | None = None
        self.step = nextstep([], tolerance)
        self._minutes = 0.0
        for visit in visits:
            self.add(visit)
        if visits:
            self.advise()

    def take(self, visit: VisitRecord) -> NextStep:
        """Take a visit in; what to do after it."""
        self.add(visit)
        return self.advise()

    def add(self, visit: VisitRecord) -> VisitRow:
        """Take a visit in: its row."""
        self._minutes += visit.work.minutes or 0.0
        row, judged = visit_row(visit, self.tolerance, self._minutes / 60)
        stands = judged is not None or visit.work.stage or visit.work.minutes or not self.verdicts
        self.verdicts.append(judged if stands else self.verdicts[-1])
        self.visits.append(visit)
        self.rows.append(row)
        if self._beliefs is not None:
            self.belief = self._beliefs[len(self.visits) - 1]
        elif self._follower is not None:
            self.belief = self._follower.take(self._observed(visit, len(self.visits)))
        elif any(one.power_fringes is not None for one in visit.own):
            self._begin()
        return row

    def advise(self, *, brief: bool = True) -> NextStep:
        """Say what to do now.

        Parameters
        ----------
        brief : bool
            Without a forecast, and with a short reason.
        """
        self.step = nextstep(
            self.rows,
            self.tolerance,
            self.belief,
            aperture=self.aperture,
            others=self._others,
            brief=brief,
        )
        return self.step

    def copy(self) -> Judging:
        """Another one that goes on from here."""
        made = copy.copy(self)
        made.visits, made.rows = list(self.visits), list(self.rows)
        made.verdicts = list(self.verdicts)
        made._follower = None if self._follower is None else self._follower.copy()
        return made

    def _begin(self) -> None:
        """Follow its state, now that power was read: the filter is loaded only for that."""
        from fringe.judge.state.filter import Follower

        stages = _to_come([*self._logged, *self.visits], self._others)
        self._follower = Follower(stages, others=self._others)
        for number, visit in enumerate(self.visits, 1):
            self.belief = self._follower.take(self._observed(visit, number))

    def _observed(self, visit: VisitRecord, number: int) -> ObservedVisit:
        from fringe.judge.state.observed import observed

        form = "convex" if self.aperture is None else self.aperture.work
        (seen,) = observed([visit], self.tolerance.wavelength_nm, form)
        return dataclasses.replace(seen, number=number)


def _to_come(visits: Sequence[VisitRecord], others: Sequence[OtherSurface]) -> list[Stage]:
    """Whatever may still be advised has its place in the state from the beginning."""
    from fringe.judge.advice.ladder import USUAL
    from fringe.judge.state.abrasives import stage

    worked = [stage(one.work.stage) for one in visits if one.work.stage]
    taught = [s.stage for other in others for v in other.visits for s in v.spells]
    return [*worked, *taught, *USUAL, stage("polish")]
