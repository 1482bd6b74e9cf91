"""Which grit comes before and which after another: those that the log knows, else usual ones."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from fringe.judge.state.abrasives import Stage, stage

POLISH = stage("polish")
# Where no log tells: each grit about half as coarse as the one before, the finest handed on to
# polishing (common practice, no source).
USUAL = tuple(stage(name) for name in ("#80", "#120", "#240", "#400", "#800"))
USUAL_FIRST = stage("#120")
FINEST_UM = 15.0
_HALF = 0.45
# a grit much finer than that takes too long over the pits of the one before it
_MOST_AT_ONCE = 1 / 8


@dataclass(frozen=True)
class Ladder:
    """Stages from coarse to fine.

    Attributes
    ----------
    known : tuple of Stage
        Those that this surface or others of the shop were worked in and whose grain is known.
    """

    known: tuple[Stage, ...] = ()

    @classmethod
    def of(cls, stages: Iterable[Stage]) -> Ladder:
        """The stages that are logged somewhere, each once, under the name it was given first."""
        found: dict[str, Stage] = {}
        for one in stages:
            if one.polish or one.size_um is not None:
                found.setdefault(one.key, one)
        return cls(tuple(sorted(found.values(), key=lambda one: one.fineness)))

    def has(self, one: Stage) -> bool:
        """Whether this stage was worked somewhere, or has no grain to compare."""
        return one.size_um is None or any(known.key == one.key for known in self.known)

    def finer(self, now: Stage) -> Stage:
        """The stage to hand over to; polishing where nothing lies between."""
        if now.polish or now.size_um is None:
            return self.polish
        grits = [one for one in self.known if one.size_um and one.fineness > now.fineness]
        near = [one for one in grits if (one.size_um or 0.0) >= _MOST_AT_ONCE * now.size_um]
        if near:
            return near[0]
        if now.size_um <= FINEST_UM:
            return self.polish
        wanted = math.log(_HALF * now.size_um)
        usual = [one for one in USUAL if one.fineness > now.fineness]
        return min(usual, key=lambda one: abs(math.log(one.size_um or 1.0) - wanted))

    def coarser(self, now: Stage) -> list[Stage]:
        """Grits to go back to, the finest first; usual ones where the log knows none."""
        for grits in (self.known, USUAL):
            found = [one for one in grits if one.size_um and one.fineness < now.fineness]
            if found:
                return found[::-1]
        return []

    def grits(self) -> list[Stage]:
        """All grits, the finest first; usual ones where the log knows none."""
        return self.coarser(POLISH)

    @property
    def polish(self) -> Stage:
        """Polishing, under the name that the log gives it."""
        return next((one for one in self.known if one.polish), POLISH)
