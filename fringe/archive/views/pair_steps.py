"""What is to be done to each piece of a pair, by its own log, so that the two match."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from datetime import datetime

from fringe.archive.store.surface import Plate, Surface
from fringe.archive.views.pair_evidence import PairRecord
from fringe.archive.views.surface_state import SurfaceState, logged_visits
from fringe.judge.advice.step import NextStep
from fringe.judge.pair.match import Pair
from fringe.judge.state.reference import Logged, laid_together
from fringe.judge.state.visits import VisitRecord
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes


def piece_steps(
    convex: Surface, concave: Surface, record: PairRecord, pair: Pair, tolerance: Tolerance
) -> Mapping[str, NextStep]:
    """What is to be done to each piece of a pair, by its name, were it the one to be worked.

    Its stage, rates, pits and warmth are those of its own log; its power is that of the two laid
    together: as they were read, or as all evidence has it where they were not since the last work.

    Parameters
    ----------
    convex, concave : Surface
        As they were loaded, with their folders.
    record, pair : PairRecord, Pair
        The evidence, and the estimate by it.
    tolerance : Tolerance
        What the two must keep.
    """
    limits = _as_power(tolerance, pair)
    logged = {one.name: logged_visits(one) for one in (convex, concave)}
    kept = {
        one.name: Logged(one.name, one.plate.name, logged[one.name].visits)
        for one in (convex, concave)
    }
    steps = {}
    for one, other in ((convex, concave), (concave, convex)):
        visits = laid_together(kept[one.name], kept[other.name])
        if not _read_since_work(visits):
            visits = _read_last(visits, _estimate(record, pair), record.when)
        laid = dataclasses.replace(one, plate=Plate(other.name, other.radius_mm), tolerance=limits)
        mine = dataclasses.replace(logged[one.name], surface=laid, visits=visits)
        steps[one.name] = _of_own_visits(mine.state())
    return steps


def _as_power(tolerance: Tolerance, pair: Pair) -> Tolerance:
    """Limits of the two in contact, a mismatch of radii as the power that it shows."""
    if tolerance.radius_difference_mm is None:
        return tolerance
    radius_mm, _ = pair.radius(pair.convex)
    power = abs(
        power_fringes(
            tolerance.radius_difference_mm,
            radius_mm,
            pair.diameter_mm,
            pair.wavelength_nm,
            "concave",
        )
    )
    least = min(power, tolerance.power_fringes or power)
    return dataclasses.replace(
        tolerance,
        power_fringes=least,
        radius_difference_mm=None,
        wavelength_nm=pair.wavelength_nm,
    )


def _of_own_visits(state: SurfaceState) -> NextStep:
    """The next step; without its question where that is about a visit of the other piece."""
    step = state.next_step
    if step.doubt is None or state.rows[step.doubt.visit - 1].visit:
        return step
    return dataclasses.replace(step, question=None, doubt=None)


def _read_since_work(visits: tuple[VisitRecord, ...]) -> bool:
    """Whether the two were laid on each other since the last work."""
    for visit in reversed(visits):
        if visit.measured:
            return True
        if visit.work.worked:
            return False
    return False


def _read_last(
    visits: tuple[VisitRecord, ...], read: Measured, when: Sequence[datetime]
) -> tuple[VisitRecord, ...]:
    """The visits with a reading at the last work, whose rest from the lap was told with it."""
    for place in range(len(visits) - 1, -1, -1):
        if visits[place].work.worked:
            last = dataclasses.replace(visits[place], measured=(read,))
            return (*visits[:place], last, *visits[place + 1 :])
    return (*visits, VisitRecord("", max(when), measured=(read,)))


def _estimate(record: PairRecord, pair: Pair) -> Measured:
    """What all evidence says of the two laid together, as a reading."""
    form, u_form = record.irregularity or (None, None)
    return Measured(
        power_fringes=pair.power_fringes,
        power_u_fringes=pair.u_power_fringes,
        sense="centre" if pair.power_fringes > 0 else "edge",
        irregularity_fringes=form,
        irregularity_u_fringes=u_form,
        radius_difference_mm=None,
        wavelength_nm=pair.wavelength_nm,
        source="fringes" if record.contacts else "spherometer",
    )
