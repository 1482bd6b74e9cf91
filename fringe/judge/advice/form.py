"""What to do about a zone, a turned edge, a hole or astigmatism: the log's own experience first.

What the log does not tell is common practice, no source: it follows from where a lap wears most.
The piece on top wears in the middle, the lower one toward its edge; a longer stroke, with more
overhang, does more of that, a shorter one less; a lap wears less where its pitch is cut away.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fringe.format import figures

if TYPE_CHECKING:
    from fringe.judge.advice.step import NextStep
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.verdict import Tolerance
    from fringe.optics.feature import FormFeature

_SAME_PLACE = 0.12  # shares of the radius that one zone may be apart at two visits
_SHORT = "in short spells, for it moves power too"
# (kind, side): what practice does
_PRACTICE = {
    ("zone", 1): (
        "wear it down where the lap is strongest: a stroke whose overhang ends on that zone, the "
        "lap's pitch cut away on the other ones; change the stroke's length often, to blend it"
    ),
    ("zone", -1): (
        "wear the lap less there: cut its pitch away on that zone, change the stroke's length so "
        "that it does not end there, and bring the rest down to it"
    ),
    ("edge", 1): (
        "a longer stroke with more overhang and a lap as large as the work; the tool on top, "
        f"which wears the work's edge, {_SHORT}"
    ),
    ("edge", -1): (
        "a shorter stroke with less overhang, a harder or cooler lap no larger than the work, "
        f"little pressure; the work on top, which spares its edge, {_SHORT}"
    ),
    ("centre", 1): (
        "a longer stroke, centre over centre; the work on top, which wears its middle, "
        f"{_SHORT}; cut the lap's pitch away toward its edge"
    ),
    ("centre", -1): (
        "a shorter stroke that does not pass centre over centre, the lap's pitch cut away in the "
        f"middle; the tool on top, which wears the work's edge, {_SHORT}"
    ),
}
_ASTIGMATISM = (
    "turn the work on its plate and read again first (`fringe turning`): what stays is the "
    "plate's; then turn the work on its support between wets, bed it evenly, go round it "
    "steadily, and let it rest before it is read"
)
# pressing helps against all that is round: a lap that no longer fits makes zones
_PRESS = (
    "press the lap first, so that it fits all over: hot pitch sticks and burns deep, hot water "
    "scalds, so gloves and goggles on, and your shop's rules first"
)
_SOURCE = "common practice, no source"


def form_advice(features: Sequence[FormFeature], rows: Sequence[VisitRow] = ()) -> str:
    """Say what is wrong with a form, and what to do about it.

    Parameters
    ----------
    features : sequence of FormFeature
        What the form proves, the highest first.
    rows : sequence of VisitRow
        The surface's visits in their order, for what its own log tells.

    Returns
    -------
    str
        Empty where nothing is named. Where the sense is unknown, both cases are told.
    """
    if not features:
        return ""
    highest, *others = features
    practice = [f"{_practice(highest)} ({_SOURCE})"]
    if highest.kind != "astigmatism":
        practice.append(_PRESS)
    besides = [f"then look again: {' and '.join(one.text() for one in others)}"] if others else []
    return f"{highest.text()}: {'; '.join([*_learned(highest, rows), *practice, *besides])}"


def with_form_advice(step: NextStep, rows: Sequence[VisitRow], tolerance: Tolerance) -> NextStep:
    """Add to a step of work what to do about the form, where that alone is outside its limit."""
    if step.action not in ("grind", "polish") or not rows or not _form_alone(rows[-1], tolerance):
        return step
    advice = form_advice(rows[-1].form, rows)
    return dataclasses.replace(step, reason=f"{step.reason}; {advice}") if advice else step


def _form_alone(row: VisitRow, tolerance: Tolerance) -> bool:
    """Whether irregularity is beyond its limit, and all else that is limited is within."""
    limit = tolerance.irregularity_fringes
    if limit is None or row.irregularity_fringes is None or row.irregularity_fringes <= limit:
        return False
    others = (
        (tolerance.power_fringes, row.power_fringes, row.power_u95_fringes),
        (
            tolerance.radius_difference_mm,
            row.radius_difference_mm,
            row.radius_difference_u95_mm,
        ),
    )
    return all(
        most is None or (value is not None and abs(value) + (u95 or 0.0) < most)
        for most, value, u95 in others
    )


def _practice(one: FormFeature) -> str:
    if one.kind == "astigmatism":
        return _ASTIGMATISM
    if one.side:
        return _PRACTICE[one.kind, one.side]
    up, down = _PRACTICE[one.kind, 1], _PRACTICE[one.kind, -1]
    return (
        "which of the two is not known before the contact is: press the edge, or read with a "
        f"second lamp. If it is high: {up}. If it is low: {down}"
    )


def _learned(one: FormFeature, rows: Sequence[VisitRow]) -> list[str]:
    """What spells of this log did to it: the one that lessened it most, the one that made it."""
    better: tuple[float, str] | None = None
    worse: tuple[float, str] | None = None
    read: VisitRow | None = None
    work: list[VisitRow] = []
    for number, row in enumerate(rows, 1):
        work.append(row)
        if row.irregularity_fringes is None:
            continue
        worked = [each for each in work if each.minutes]
        work = []
        before, read = read, row
        if before is None or not worked:
            continue
        was, now = (_height(one, each) for each in (before, row))
        change = now[0] - was[0]
        if abs(change) <= math.hypot(was[1], now[1]):
            continue
        text = f"{_spell(worked)} {_turned(was[0], now[0])} (visit {row.visit or number})"
        if change < 0 and (better is None or change < better[0]):
            better = change, text
        if change > 0 and (worse is None or change > worse[0]):
            worse = change, text
    found = [f"in this log {better[1]}: do that again"] if better else []
    return [*found, f"in this log {worse[1]}: not that"] if worse else found


def _height(one: FormFeature, row: VisitRow) -> tuple[float, float]:
    """How high the like feature was at a visit, in its direction, with U; nothing where none was.

    What is not named is there at most as far as the irregularity reaches.
    """
    for other in row.form:
        if _is_like(one, other):
            factor = other.wavelength_nm / one.wavelength_nm
            return abs(other.height_fringes) * factor, other.height_u95_fringes * factor
    return 0.0, min(one.height_u95_fringes, row.irregularity_fringes or 0.0)


def _is_like(one: FormFeature, other: FormFeature) -> bool:
    if one.kind != other.kind or one.side != other.side:
        return False
    if one.kind != "zone" or one.place is None or other.place is None:
        return True
    return abs(one.place - other.place) <= _SAME_PLACE


def _spell(worked: Sequence[VisitRow]) -> str:
    """What was done, as `40 min of polish, work on top, short stroke`."""
    minutes = math.fsum(row.minutes or 0.0 for row in worked)
    stages = " and ".join(dict.fromkeys(row.stage for row in worked if row.stage))
    pieces = dict.fromkeys(row.on_top for row in worked if row.on_top)
    on_top = f"{next(iter(pieces))} on top" if len(pieces) == 1 else ""
    strokes = " and ".join(dict.fromkeys(row.stroke for row in worked if row.stroke))
    what = f"{figures(minutes, 3)} min" + (f" of {stages}" if stages else "")
    return ", ".join(filter(None, [what, on_top, f"stroke {strokes}" if strokes else ""]))


def _turned(was: float, now: float) -> str:
    if now == 0:
        return f"took it from {figures(was, 2)} fringes to none that is proven"
    if was == 0:
        return f"left it, {figures(now, 2)} fringes where none was proven"
    return f"took it from {figures(was, 2)} to {figures(now, 2)} fringes"
