"""The filter against direct solutions, and what it makes of blunders."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import pytest

from fringe.judge.state.abrasives import stage
from fringe.judge.state.filter import believe
from fringe.judge.state.observed import HeightReading, ObservedVisit, Spell
from sample_visits import hours

POLISH = stage("polish")


def visit(
    number: int,
    height_um: float,
    u_um: float,
    *spells: Spell,
    source: str = "fringes",
    u_offset_um: float = 3.0,
) -> ObservedVisit:
    """A visit with one reading, four hours after the one before."""
    offset = u_offset_um if source == "spherometer" else 0.0
    reading = HeightReading(source, height_um, u_um, offset)
    return ObservedVisit(hours(4 * number), spells, (reading,), number)


def test_readings_without_work_are_weighted() -> None:
    """Without work, height and its u are those of the weighted mean (analytic)."""
    heights, us = [1.0, 1.3, 0.9], [0.3, 0.2, 0.4]
    visits = [visit(i, h, u) for i, (h, u) in enumerate(zip(heights, us, strict=True))]
    weights = 1 / np.square(us)
    found = believe(visits)[-1]
    plain = int(np.argmax(found.weights))
    assert found.means[plain, 0] == pytest.approx(weights @ heights / weights.sum(), abs=2e-3)
    assert found.covariances[plain, 0, 0] == pytest.approx(1 / weights.sum(), rel=0.02)


def test_precise_reading_is_not_forgotten() -> None:
    """A coarse reading after a precise one hardly moves the height (analytic)."""
    visits: Sequence[ObservedVisit] = [
        visit(1, -2.3, 0.05, source="eye"),
        visit(2, -9.0, 8.0, source="spherometer"),
    ]
    found = believe(visits)[-1]
    assert found.height.median == pytest.approx(-2.3, abs=0.03)
    low, high = found.height.interval()
    assert high - low < 4 * 0.05


def test_wrong_sense_is_doubted() -> None:
    """A reading that only fits reversed is doubted for its sense, and the next one is not."""
    spell = Spell(POLISH, 60.0, "work")
    visits = [visit(1, 8.0, 0.1)]
    visits += [visit(i, 8.0 - 1.2 * (i - 1), 0.1, spell) for i in (2, 3, 4)]
    wrong = visits[-1]
    flipped = HeightReading("fringes", -wrong.readings[0].height_um, 0.1)
    visits[-1] = ObservedVisit(wrong.when, wrong.spells, (flipped,), 4)
    visits.append(visit(5, 8.0 - 1.2 * 4, 0.1, spell))
    doubts = {(one.kind, one.visit): one.probability for one in believe(visits)[-1].doubts}
    assert doubts["sense", 4] > 0.95
    assert doubts.get(("sense", 5), 0.0) < 0.05


def test_rings_that_are_not_read_are_too_many() -> None:
    """A polished surface that only the spherometer reads has more rings than can be counted."""
    spell = Spell(POLISH, 60.0, "work")
    unread = [
        visit(i, 6.0, 2.0, spell, source="spherometer", u_offset_um=12.0) for i in range(1, 9)
    ]
    read = [unread[0], visit(2, 5.5, 0.1, spell)]
    # 6 um, known to 12 um, lie within 10 um with 0.53
    chances = [one.height.chance_between(-10.0, 10.0) for one in believe(unread)]
    assert chances[0] < 0.42
    assert chances[-1] < 0.3
    assert believe(read)[-1].height.chance_between(-10.0, 10.0) > 0.99


def test_rest_by_the_clock() -> None:
    """What is read hours after a spell is settled unless it is told; at once it is warm."""
    first, spell = visit(1, 4.0, 0.03), Spell(POLISH, 60.0, "work")
    reading = HeightReading("fringes", 3.0, 0.03)
    late = ObservedVisit(hours(9), (spell,), (reading,), 2)
    soon = ObservedVisit(hours(5.2), (spell,), (reading,), 2)
    settled, warm = (believe([first, one])[-1] for one in (late, soon))
    assert settled.rested_minutes == pytest.approx(230.0)
    low, high = settled.height.interval(0.6)
    assert high - low < 0.15
    low, high = warm.height.interval(0.6)
    assert high - low > 0.4


def test_wrong_sense_stays_in_doubt_while_nothing_settles_it() -> None:
    """A doubt of a sense lives on through coarse readings, until fringes settle it."""
    coarse = partial(visit, u_um=6.0, source="spherometer", u_offset_um=9.0)
    visits = [coarse(1, 12.0), visit(2, -19.0, 0.3)]
    visits += [coarse(i, read) for i, read in enumerate((22.0, 20.0, 9.0, 24.0, 25.0), 3)]
    found = {(one.kind, one.visit): one for one in believe(visits)[-1].doubts}
    assert found["sense", 2].probability > 0.5
    assert found["sense", 2].height_um == pytest.approx(19.0, abs=1.0)
    settled = believe([*visits, visit(8, 19.1, 0.3)])[-1]
    doubts = {(one.kind, one.visit): one.probability for one in settled.doubts}
    assert doubts["sense", 2] > 0.99


def test_readings_that_agree_are_not_all_dust() -> None:
    """One reading far off may be dust; readings again that agree with it refute that."""
    spell = Spell(stage("#400"), 30.0, "work")
    visits = [visit(1, 30.0, 1.0, source="spherometer")]
    visits += [visit(i, 30.0 - 6 * (i - 1), 1.0, spell, source="spherometer") for i in (2, 3, 4)]
    visits.append(visit(5, -40.0, 1.0, spell, source="spherometer"))
    again = [visit(i, -40.0 + i - 6, 1.0, source="spherometer") for i in (6, 7)]

    def dust(seen: Sequence[ObservedVisit]) -> float:
        doubts = {(one.kind, one.visit): one.probability for one in believe(seen)[-1].doubts}
        return max(doubts.get(("dust", number), 0.0) for number in (5, 6, 7))

    assert dust(visits) > 0.5
    assert dust([*visits, *again]) < 0.1
    assert believe([*visits, *again])[-1].height.median == pytest.approx(-40.0, abs=4.0)
