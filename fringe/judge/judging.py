"""The judging of one surface, visit by visit: what is believed, and what to do next."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence

from fringe.judge.advice.ladder import USUAL
from fringe.judge.advice.next_step import nextstep
from fringe.judge.advice.step import NextStep
from fringe.judge.progress import visit_row
from fringe.judge.state.abrasives import stage
from fringe.judge.state.belief import Belief
from fringe.judge.state.filter import Follower
from fringe.judge.state.observed import OtherSurface, observed
from fringe.judge.state.visits import VisitRecord, VisitRow
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance

_FEW_OTHERS = 24


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
        That were logged already, in their order.

    Attributes
    ----------
    visits, rows : list of VisitRecord, list of VisitRow
        Until now.
    belief : Belief or None
        After the last one.
    step : NextStep
        What to do now.
    """

    def __init__(
        self,
        tolerance: Tolerance,
        aperture: Aperture | None = None,
        others: Sequence[OtherSurface] = (),
        visits: Sequence[VisitRecord] = (),
    ) -> None:
        self.tolerance, self.aperture = tolerance, aperture
        self._others = tuple(others)[-_FEW_OTHERS:]
        worked = [stage(one.work.stage) for one in visits if one.work.stage]
        taught = [s.stage for other in self._others for v in other.visits for s in v.spells]
        # whatever may still be advised has its place in the state from the beginning
        everything = [*worked, *taught, *USUAL, stage("polish")]
        self._follower = Follower(everything, others=self._others)
        self.visits: list[VisitRecord] = []
        self.rows: list[VisitRow] = []
        self.belief: Belief | None = None
        self.step = nextstep([], tolerance)
        self._hours = 0.0
        for visit in visits:
            self._add(visit)
        self._advise()

    def take(self, visit: VisitRecord) -> NextStep:
        """Take a visit in; what to do after it."""
        self._add(visit)
        self._advise()
        return self.step

    def copy(self) -> Judging:
        """Another one that goes on from here."""
        made = copy.copy(self)
        made.visits, made.rows = list(self.visits), list(self.rows)
        made._follower = self._follower.copy()
        return made

    def _add(self, visit: VisitRecord) -> None:
        self._hours += (visit.work.minutes or 0.0) / 60
        self.visits.append(visit)
        self.rows.append(visit_row(visit, self.tolerance, self._hours)[0])
        form = "convex" if self.aperture is None else self.aperture.work
        (seen,) = observed([visit], self.tolerance.wavelength_nm, form)
        self.belief = self._follower.take(dataclasses.replace(seen, number=len(self.visits)))

    def _advise(self) -> None:
        self.step = nextstep(
            self.rows,
            self.tolerance,
            self.belief,
            aperture=self.aperture,
            others=self._others,
            brief=True,
        )
