"""A surface's state carried from visit to visit: what work did to it, and what readings say of it.

An extended Kalman filter over the quantities of `shop`. At each visit, one Gauss-Newton problem
is solved for the state before, what the spell did beyond its median and the fresh warmth, given
the readings; then the state is carried through the work at that solution. Every blunder that
might explain the visit is a hypothesis, weighted by its evidence. The hypotheses of a visit are
kept apart until the next one has been weighed with each of them, then those of the earlier visit
are merged (the generalised pseudo-Bayes method of second order) but for those of another height.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state import shop
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.belief import Belief, Doubt
from fringe.judge.state.doubts import Doubts
from fringe.judge.state.hypotheses import hypotheses_of, weighed_by_gauge
from fringe.judge.state.memory import KEPT, MANY, FilterState, Memory, keys
from fringe.judge.state.mixture import Mixture, merge_earlier, moments
from fringe.judge.state.observed import SPHEROMETER, ObservedVisit, OtherSurface, Spell
from fringe.judge.state.pits import PitsFilter
from fringe.judge.state.rest import rest_of
from fringe.judge.state.scatter import USUAL, Scatter
from fringe.judge.state.shop import Layout
from fringe.judge.state.update import spells_terms, updated

Array = NDArray[np.float64]

# of the filter, besides its arrays
_PLAIN = ("rested", "unread", "readings", "polished_minutes", "unread_rings")
SHOWS_RINGS_MINUTES = 15.0  # of polishing, after which a surface shows rings


def believe(
    visits: Sequence[ObservedVisit],
    *,
    others: Sequence[OtherSurface] = (),
    pit_factor: float | None = None,
    memory: Memory | None = None,
    wanted: int | None = None,
) -> list[Belief | None]:
    """Infer the state of a surface after each of its visits.

    Parameters
    ----------
    visits : sequence of ObservedVisit
        Of the surface, in their order.
    others : sequence of OtherSurface
        Other surfaces of the shop, the oldest first: what they teach of the shop is carried on
        to this one.
    pit_factor : float, optional
        Depth of a grit's pits over its grain size; learned otherwise.
    memory : Memory, optional
        What was inferred before, to go on from.
    wanted : int, optional
        Of so many of the last visits; None: of all.

    Returns
    -------
    list of Belief or None
        One a visit: by what was known after it; None where it is not wanted.
    """
    stages = [one.stage for visit in visits for one in visit.spells]
    follower = Follower(stages, others=others, pit_factor=pit_factor)
    first = 0 if wanted is None else max(0, len(visits) - wanted)
    if memory is None or len(visits) < MANY:
        return [follower.take(one, told=i >= first) for i, one in enumerate(visits)]
    names = list(keys(visits, follower.layout, others, pit_factor))
    known = [one for one in memory.recall() if names[one.visits : one.visits + 1] == [one.key]]
    usable = [one for one in known if one.visits <= first + 1]
    beliefs: list[Belief | None] = [None] * len(visits)
    done = 0
    if usable:
        last = max(usable, key=lambda one: one.visits)
        done = last.visits
        belief = follower.go_on(last, visits[:done])
        if done > first:
            beliefs[done - 1] = belief
    for place in range(done, len(visits)):
        beliefs[place] = follower.take(visits[place], told=place >= first)
        if place >= len(visits) - 2:
            known.append(follower.state(place + 1, names[place + 1]))
    if done < len(visits):
        states = {one.visits: one for one in known}
        memory.keep([states[count] for count in sorted(states)[-KEPT:]])
    return beliefs


class Follower:
    """The state of one surface, taken on visit by visit; a copy goes on by itself.

    Parameters
    ----------
    stages : sequence of Stage
        All that the surface was or will be worked in.
    others, pit_factor
        As for :func:`believe`.
    """

    def __init__(
        self,
        stages: Sequence[Stage],
        *,
        others: Sequence[OtherSurface] = (),
        pit_factor: float | None = None,
    ) -> None:
        known = taught_shop(tuple(others), pit_factor).extended(stages)
        self._filter = _Filter(known, PitsFilter(known.layout, pit_factor, known.pits))
        self._taught = known.taught
        self.layout = known.layout

    @overload
    def take(self, visit: ObservedVisit) -> Belief: ...

    @overload
    def take(self, visit: ObservedVisit, *, told: bool) -> Belief | None: ...

    def take(self, visit: ObservedVisit, *, told: bool = True) -> Belief | None:
        """Take one visit in: what is believed after it, where that is to be told."""
        self._filter.step(visit)
        return self._filter.belief(self._taught) if told else None

    def state(self, visits: int, key: str) -> FilterState:
        """Its state after so many visits, to be kept."""
        return FilterState(visits, key, *self._filter.kept())

    def go_on(self, state: FilterState, visits: Sequence[ObservedVisit]) -> Belief:
        """Go on from a state, and the visits that it has taken in: what is believed then."""
        self._filter.go_on(state, visits)
        return self._filter.belief(self._taught)

    def copy(self) -> Follower:
        """Another one that goes on from here."""
        made = copy.copy(self)
        made._filter = self._filter.copy()
        return made


@dataclass(frozen=True, eq=False)
class ShopBelief:
    """What the surfaces of a shop teach of it, before its next one.

    Attributes
    ----------
    layout : Layout
        Stages that it worked.
    mean, covariance : ndarray, shapes (n,), (n, n)
        Of the state of a surface that was not seen yet.
    pits : ndarray or None, shape (S, m)
        Samples of its removal rates and grains, as `PitsFilter` keeps them.
    taught : dict of str to int
        Surfaces that were worked in each stage, by its key.
    scatter : Scatter
        How much its spells differ.
    """

    layout: Layout
    mean: Array
    covariance: Array
    pits: Array | None
    taught: dict[str, int]
    scatter: Scatter = USUAL

    def extended(self, stages: Sequence[Stage]) -> ShopBelief:
        """The same with further stages."""
        layout = self.layout.extended(stages)
        if layout == self.layout:
            return self
        known = self.layout.size
        mean, covariance = shop.prior(layout)
        mean[:known] = self.mean
        covariance[:known, :known] = self.covariance
        return replace(self, layout=layout, mean=mean, covariance=covariance)


# surfaces of a list have nearly the same others, in one order
@lru_cache(maxsize=256)
def taught_shop(others: tuple[OtherSurface, ...], pit_factor: float | None = None) -> ShopBelief:
    """What other surfaces teach of their shop, the oldest first."""
    if not others:
        return ShopBelief(Layout(), *shop.prior(Layout()), None, {})
    visits = others[-1].visits
    stages = [one.stage for visit in visits for one in visit.spells]
    known = taught_shop(others[:-1], pit_factor).extended(stages)
    pits = PitsFilter(known.layout, pit_factor, known.pits)
    ended = _Filter(known, pits)
    for visit in visits:
        ended.step(visit)
    mean, covariance = shop.next_surface(*ended.merged(), known.layout)
    taught = dict(known.taught)
    for key in {spell.stage.key for visit in visits for spell in visit.spells}:
        taught[key] = taught.get(key, 0) + 1
    return ShopBelief(known.layout, mean, covariance, pits.shop(), taught, ended.scatter)


class _Filter:
    """One surface's filter: its mixture, and what was logged so far."""

    def __init__(self, known: ShopBelief, pits: PitsFilter) -> None:
        self._layout, self._pits = known.layout, pits
        self._mixture = Mixture(np.ones(1), known.mean[None], known.covariance[None])
        self._doubts = Doubts()
        self.scatter = known.scatter
        self._last: ObservedVisit | None = None
        self._rested: float | None = None
        self._worked: list[Spell] = []
        self._unread = False
        self._readings = 0
        self._polished_minutes = 0.0
        self._unread_rings = 0
        self._doubted: tuple[Doubt, ...] = ()

    def step(self, visit: ObservedVisit) -> None:
        """Take one visit in."""
        self._polish(visit)
        rest = rest_of(visit, self._last, self._rested)
        hypotheses = hypotheses_of(visit, unread=self._unread_rings, doubtful_rest=rest.doubtful)
        gauged = self._pits.step(visit, self.scatter.u)
        hypotheses = weighed_by_gauge(hypotheses, gauged)
        work = spells_terms(visit.spells, self._layout, gauged, self.scatter.u)
        joint, differed = updated(self._mixture, hypotheses, work, visit, rest)
        self._doubted = self._doubts.weighed(joint, hypotheses, visit.number)
        self._mixture, origins = merge_earlier(joint)
        self.scatter = self.scatter.with_spell(*differed)
        self._doubts.merged(origins, hypotheses, visit.number)
        if visit.spells:
            self._rested = rest.minutes
        elif self._rested is not None:
            self._rested += rest.elapsed_minutes
        self._last = visit
        self._worked.extend(visit.spells)
        self._unread = (self._unread or bool(visit.spells)) and not visit.readings
        self._readings += len(visit.readings)

    def kept(self) -> tuple[dict[str, Array], dict[str, Any]]:
        """All that a filter of the same shop and visits needs to go on from here."""
        one, blunders = self._mixture, self._doubts.kept()
        pits, pits_facts = self._pits.kept()
        arrays = {
            "weights": one.weights,
            "means": one.means,
            "covariances": one.covariances,
            "given": blunders[1],
            **{f"pits_{name}": values for name, values in pits.items()},
        }
        facts = {name: getattr(self, f"_{name}") for name in _PLAIN}
        doubted = [dataclasses.asdict(doubt) for doubt in self._doubted]
        scatter = dataclasses.asdict(self.scatter)
        more = {"blunders": blunders[0], "doubted": doubted, "pits": pits_facts}
        return arrays, {**facts, **more, "scatter": scatter}

    def go_on(self, state: FilterState, visits: Sequence[ObservedVisit]) -> None:
        """Undo :meth:`kept`."""
        arrays, facts = state.arrays, state.facts
        self._mixture = Mixture(arrays["weights"], arrays["means"], arrays["covariances"])
        for name in _PLAIN:
            setattr(self, f"_{name}", facts[name])
        self._doubts.go_on(facts["blunders"], arrays["given"])
        self._doubted = tuple(Doubt(**one) for one in facts["doubted"])
        self.scatter = Scatter(**facts["scatter"])
        self._last = visits[-1]
        self._worked = [spell for visit in visits for spell in visit.spells]
        last = self._worked[-1].stage if self._worked else None
        pits = {n.removeprefix("pits_"): v for n, v in arrays.items() if n.startswith("pits_")}
        self._pits.go_on(pits, facts["pits"], last)

    def _polish(self, visit: ObservedVisit) -> None:
        """Count the polishing since the surface was ground last, and visits without its rings."""
        for spell in visit.spells:
            done = self._polished_minutes + (spell.minutes or 0.0)
            self._polished_minutes = done if spell.stage.polish else 0.0
        shows = self._polished_minutes >= SHOWS_RINGS_MINUTES
        read = any(one.source != SPHEROMETER for one in visit.readings)
        self._unread_rings = self._unread_rings + 1 if shows and not read else 0

    def copy(self) -> _Filter:
        """Another one that goes on from here."""
        made = copy.copy(self)
        # arrays are replaced, never changed in place; lists are not
        made._worked, made._pits = list(self._worked), copy.copy(self._pits)
        made._doubts = copy.copy(self._doubts)
        return made

    def merged(self) -> tuple[Array, Array]:
        """Mean and covariance of the whole mixture."""
        one = self._mixture
        mean, covariance = moments(one.weights[None], one.means[None], one.covariances[None])
        return mean[0], covariance[0]

    def belief(self, taught: dict[str, int]) -> Belief:
        """What is believed now."""
        last = self._worked[-1] if self._worked else None
        one = self._mixture
        return Belief(
            layout=self._layout,
            weights=one.weights,
            means=one.means,
            covariances=one.covariances,
            doubts=self._doubted,
            spells=tuple(self._worked),
            last_stage=None if last is None else last.stage,
            last_on_top=None if last is None else last.on_top,
            worked_since_reading=self._unread,
            readings=self._readings,
            rested_minutes=self._rested,
            taught=taught,
            pits=self._pits.belief(),
            scatter=self.scatter.u,
        )
