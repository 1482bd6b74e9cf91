"""Which work to do next: this stage or another, how long, which piece on top, which way it moves.

A grit is done when the radius is as near as it needs to hand over (its grain size, or what the
next stage can take), and when it has removed the pits of the grit before. Where the log tells
the rates, they decide; where it does not, the grain size is the floor.
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.format import figures, plus_minus
from fringe.judge.advice.step import NextStep, minutes_text
from fringe.judge.state.abrasives import Pits, Stage, pits, stage
from fringe.judge.state.forecast import Forecast
from fringe.judge.state.history import NO_STAGE, RateHistory, foretell, half_width_um, rate_history
from fringe.judge.state.rates import HeightChange, Kind

if TYPE_CHECKING:
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.tolerance import Aperture
    from fringe.judge.tolerance.verdict import Tolerance

# Chances below and above which a stage is given up, or trusted (ours, no source)
HOPELESS, SURE = 0.1, 0.9
FINEST_UM = 15.0  # grains above it are not followed by polishing (common practice, no source)
USUAL_STAGE = 60.0  # minutes that a stage is worked anyway, where no log tells


@dataclass(frozen=True)
class _Bench:
    """All that the decision looks at."""

    row: VisitRow
    rows: Sequence[VisitRow]
    tolerance: Tolerance
    aperture: Aperture | None
    own: RateHistory
    like: Sequence[Sequence[HeightChange]]
    now: Stage
    pits: Pits | None
    band_um: float | None
    # the next stage is known to take no more than the tolerance itself
    strict: bool = False

    def target_um(self, key: str) -> float | None:
        """How near a stage must bring the height of power [um]: a grit, to one of its grains."""
        one = stage(key) if key else NO_STAGE
        if one.polish or one.size_um is None or self.band_um is None:
            return self.band_um
        return self.band_um if self.strict else max(self.band_um, one.size_um)

    @property
    def on_top(self) -> str:
        # Power > 0: the gap opens toward the edge. A convex work is curved too strongly then, a
        # concave one too weakly; either has to turn more concave, as the upper piece does.
        return "work" if (self.row.power_fringes or 0.0) > 0 else "tool"

    @property
    def action(self) -> str:
        return "polish" if self.now.polish else "grind"

    @property
    def moves(self) -> str:
        if self.aperture is None:
            return "power falls" if self.on_top == "work" else "power grows"
        return radius_moves(self.aperture.work, self.on_top)

    @property
    def shown(self) -> str:
        row = self.row
        if row.power_fringes is None:
            return "no power was read"
        text = plus_minus(row.power_fringes or 0.0, row.power_u95_fringes, "fringes", signed=True)
        return f"power is {text}{_passed(self.rows)}"

    def forecast(self, key: str) -> Forecast | None:
        """What a stage does with the piece on top that the error asks for."""
        for on_top in (self.on_top, ""):
            kind = Kind(key, on_top)
            if on_top or self.knows(kind):
                found = foretell(kind, self.own, self.target_um(key), self.like)
                if found is not None:
                    return found
        return None

    def knows(self, kind: Kind) -> bool:
        every = [self.own.changes, *self.like]
        return any(k == kind for each in every for one in each for k, _ in one.minutes)

    def stages(self) -> list[Stage]:
        """Every stage that this surface or a like one has been through, from coarse to fine."""
        keys = {spell.stage.key: spell.stage for spell in self.own.spells}
        for each in self.like:
            for one in each:
                for kind, _ in one.minutes:
                    keys.setdefault(kind.stage, stage(kind.name or kind.stage))
        known = [one for one in keys.values() if one.polish or one.size_um is not None]
        return sorted(known, key=lambda one: one.fineness)


def radius_moves(form: str, on_top: str) -> str:
    """Which way a surface's radius goes with one piece on top (common practice, no source)."""
    grows = (form == "convex") == (on_top == "work")
    return "the radius grows" if grows else "the radius falls"


def next_work(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    like: Sequence[Sequence[HeightChange]] = (),
    pit_factor: float | None = None,
    inside: bool = False,
) -> NextStep | None:
    """Say which work comes next.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order; the last one has a power of known sense.
    tolerance, aperture, like, pit_factor
        As for `nextstep`.
    inside : bool
        The radius is as it shall be, or no more can be told of it: only whether a finer stage
        is still to come is asked.

    Returns
    -------
    NextStep or None
        None where `inside` and no finer stage is still to come.
    """
    bench = _bench(rows, tolerance, aperture, like, pit_factor)
    if inside:
        return _hand_over(bench, "the radius is right") if _is_ground(bench) else None
    if _only_irregular(rows[-1], tolerance):
        return NextStep(bench.action, "power is inside its limit, irregularity is not")
    if bench.now.polish or bench.now is NO_STAGE:
        return _chase(bench)
    return _grind(bench)


def _bench(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    aperture: Aperture | None,
    like: Sequence[Sequence[HeightChange]],
    pit_factor: float | None,
) -> _Bench:
    wavelength = tolerance.wavelength_nm
    own = RateHistory() if wavelength is None else rate_history(rows, wavelength)
    name = next((row.stage for row in reversed(rows) if row.stage), None)
    now = NO_STAGE if name is None else stage(name)
    return _Bench(
        rows[-1],
        rows,
        tolerance,
        aperture,
        own,
        like,
        now,
        pits(own.spells, pit_factor),
        half_width_um(tolerance, aperture),
    )


def _is_ground(bench: _Bench) -> bool:
    """Whether the last work was a grit, so that the surface is grey."""
    return bench.now.size_um is not None and not bench.now.polish


def _grind(bench: _Bench) -> NextStep:
    if bench.pits is not None and bench.pits.gone is False:
        return _keep_on_for_pits(bench)
    finer = _finer(bench)
    able = None if finer is None else _can_take(bench, finer)
    if able:
        return _hand_over(bench, f"{finer.name if finer else ''} can take what is left")
    if able is None and _within_grain(bench):
        return _hand_over(bench, f"what is left is less than a grain of {bench.now.name}")
    return _chase(dataclasses.replace(bench, strict=able is False))


def _within_grain(bench: _Bench) -> bool:
    own, size = bench.own, bench.now.size_um
    if size is None or own.height_um is None or own.u_um is None:
        return False
    return abs(own.height_um) + 2 * own.u_um <= size


def _finer(bench: _Bench) -> Stage | None:
    """The next finer stage that is known from the log."""
    if bench.now.size_um is None:
        return None
    return next((one for one in bench.stages() if one.fineness > bench.now.fineness), None)


def _coarser(bench: _Bench) -> list[Stage]:
    """Coarser grits that are known from the log, the finest first."""
    if not bench.now.polish and bench.now.size_um is None:
        return []
    return [one for one in reversed(bench.stages()) if one.fineness < bench.now.fineness]


def _can_take(bench: _Bench, finer: Stage) -> bool | None:
    """Whether a finer stage gets there in the time that it is worked anyway; None: not known."""
    there = bench.forecast(finer.key)
    if there is None:
        return None
    here = bench.forecast(bench.now.key)
    anyway = _usual_stage(bench, finer.key)
    if here is not None and here.minutes.median is not None:
        anyway = max(anyway, here.minutes.median)
    high = there.minutes.high
    return high is not None and there.chance >= SURE and high <= anyway


def _usual_stage(bench: _Bench, key: str) -> float:
    """How long a stage is usually worked in all [min]: median of the surfaces that log it."""
    totals = []
    for each in (bench.own.changes, *bench.like):
        total = math.fsum(m for one in each for kind, m in one.minutes if kind.stage == key)
        if total:
            totals.append(total)
    return statistics.median(totals) if totals else USUAL_STAGE


def _hand_over(bench: _Bench, why: str) -> NextStep:
    """Go on to the next finer stage, if the pits of the last one are gone."""
    state = bench.pits
    if state is not None and state.gone is False:
        return _keep_on_for_pits(bench)
    finer = _finer(bench)
    action = "grind" if finer is not None and not finer.polish else "polish"
    name = finer.name if finer is not None else None
    on_top = _handed_on_top(bench)
    look = (
        ""
        if state is None or state.gone
        else (
            f"; first look through a loupe whether the pits of {state.left_by}, about "
            f"{state.depth_um:.0f} µm deep, are gone"
        )
    )
    found = None if finer is None or on_top is None else bench.forecast(finer.key)
    if name is None:
        action = "grind" if bench.now.size_um and bench.now.size_um > FINEST_UM else "polish"
    to = name or ("the next finer grit" if action == "grind" else "a finer grit, or polishing")
    reason = f"{bench.shown}: {why}, go on to {to}{look}"
    return NextStep(
        action,
        reason,
        on_top,
        found.advised_minutes if found else None,
        name if name != action else None,
        bench.moves if on_top else None,
        found,
        state,
    )


def _handed_on_top(bench: _Bench) -> str | None:
    row = bench.row
    proven = row.power_u95_fringes is None or abs(row.power_fringes or 0.0) > row.power_u95_fringes
    return bench.on_top if proven and row.sense != "unknown" and row.power_fringes else None


def _keep_on_for_pits(bench: _Bench) -> NextStep:
    state = bench.pits
    assert state is not None
    taken = "" if state.removed_um is None else f"{state.removed_um:.0f} of "
    reason = (
        f"the pits of {state.left_by} are not gone ({taken}about {state.depth_um:.0f} µm taken off)"
        f"; {bench.shown}"
    )
    return NextStep(
        bench.action,
        reason,
        _handed_on_top(bench),
        state.minutes_left,
        moves=bench.moves if _handed_on_top(bench) else None,
        pits=state,
    )


def _chase(bench: _Bench) -> NextStep:
    """Work on toward the middle of the tolerance in this stage, or go back a grit."""
    found = bench.forecast(bench.now.key)
    step = NextStep(bench.action, "", bench.on_top, moves=bench.moves, pits=bench.pits)
    name = bench.now.name or "this work"
    if found is None:
        reason = f"{bench.shown}; no such work is logged to learn from"
        return dataclasses.replace(step, reason=reason)
    step = dataclasses.replace(step, forecast=found, piece_on_top=found.kind.on_top or None)
    pace = _pace_text(found, bench)
    if found.spells + found.surfaces and _wrong_way(found, bench):
        reason = (
            f"{bench.shown}, and {name} with the {bench.on_top} on top moves it the wrong way "
            f"({pace}): change the stroke or the piece on top"
        )
        return dataclasses.replace(step, reason=reason, piece_on_top=None, moves=None)
    back = _go_back(bench, found, name, pace)
    if back is not None:
        return back
    if found.chance < SURE and _lost(found):
        reason = f"{bench.shown}; {name} moves it by {pace}, too little to tell"
        return dataclasses.replace(step, reason=reason)
    reason = f"{bench.shown}; {name} moves it by {pace}, {_reach_text(found, bench)}"
    if found.advised_minutes is None:
        return dataclasses.replace(step, reason=reason)
    return dataclasses.replace(step, reason=reason, minutes=found.advised_minutes)


def _go_back(bench: _Bench, found: Forecast, name: str, pace: str) -> NextStep | None:
    """A coarser grit, where this stage does not get there or a coarser one is quicker by far."""
    hopeless = found.chance < HOPELESS
    for coarser in _coarser(bench):
        there = bench.forecast(coarser.key)
        if there is None or there.minutes.median is None or there.chance < 0.5:
            continue
        finer = [one for one in bench.stages() if coarser.fineness < one.fineness]
        after = math.fsum(_usual_stage(bench, one.key) for one in finer)
        if not hopeless and not _surely_slower(found, there, after):
            continue
        reason = (
            f"{bench.shown}; {name} moves it by {pace}, too slow for what is left: go back to "
            f"{coarser.name}"
        )
        return NextStep(
            "grind",
            reason,
            there.kind.on_top or None,
            there.advised_minutes,
            coarser.name,
            bench.moves,
            there,
            bench.pits,
        )
    if not hopeless:
        return None
    known = _coarser(bench)
    to = f" to {known[0].name}" if known else " a grit"
    reason = f"{bench.shown}; {name} moves it by {pace}, too slow for what is left: go back{to}"
    return NextStep(
        "grind",
        reason,
        bench.on_top,
        None,
        known[0].name if known else None,
        bench.moves,
        found,
        bench.pits,
    )


def _surely_slower(here: Forecast, there: Forecast, after: float) -> bool:
    """Whether this stage takes longer than a coarser one and all after it, beyond doubt."""
    if here.borrowed or there.borrowed or there.minutes.high is None:
        return False
    low = math.inf if here.minutes.low is None else here.minutes.low
    return low > there.minutes.high + after


def _wrong_way(found: Forecast, bench: _Bench) -> bool:
    """Whether nearly all of the rate's interval leads away from the middle."""
    low, high = found.rate_um_h.low or 0.0, found.rate_um_h.high or 0.0
    up = (bench.row.power_fringes or 0.0) < 0
    toward, away = (high, low) if up else (-low, -high)
    return toward < -0.2 * away if away < 0 else False


def _lost(found: Forecast) -> bool:
    """Whether the rate cannot be distinguished from zero."""
    low, high = found.rate_um_h.low or 0.0, found.rate_um_h.high or 0.0
    return low < 0 < high


def _pace_text(found: Forecast, bench: _Bench) -> str:
    from fringe.judge.state.history import NM_PER_UM

    wavelength = bench.tolerance.wavelength_nm or 1.0
    scale = 2 * NM_PER_UM / wavelength
    ends = sorted(
        ((end or 0.0) * scale for end in (found.rate_um_h.low, found.rate_um_h.high)), key=abs
    )
    shown = [figures(end, 2, signed=True) for end in ends]
    text = f"{shown[0]} to {shown[1]} fringes/h"
    return text + (", guessed from the other piece on top" if found.borrowed else "")


def _reach_text(found: Forecast, bench: _Bench) -> str:
    if found.minutes.median == 0:
        return "it is there as likely as not"
    wider = bench.band_um is not None and found.half_width_um > bench.band_um
    there = f"within a grain of {bench.now.name}" if wider else "inside"
    text = f"{there} in {minutes_text(found.minutes.low, found.minutes.high)}"
    return text if found.chance > SURE else f"{text} ({100 * found.chance:.0f} % likely at all)"


def _passed(rows: Sequence[VisitRow]) -> str:
    """Say where the last spell went through the middle and out on the other side."""
    signed = [r for r in rows if r.power_fringes is not None and r.sense != "unknown"]
    if len(signed) < 2:
        return ""
    before, after = signed[-2], signed[-1]
    if before.verdict != "outside" or after.verdict != "outside":
        return ""
    p, q = before.power_fringes or 0.0, after.power_fringes or 0.0
    if p * q >= 0:
        return ""
    was = plus_minus(p, before.power_u95_fringes, signed=True)
    return f", gone past the middle from {was}"


def _only_irregular(row: VisitRow, tolerance: Tolerance) -> bool:
    """Whether power is inside its limit, so that only irregularity is left to better."""
    limit, power, u95 = tolerance.power_fringes, row.power_fringes, row.power_u95_fringes
    if tolerance.irregularity_fringes is None or power is None:
        return False
    return limit is not None and abs(power) + (u95 or 0.0) < limit
