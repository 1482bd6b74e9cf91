"""Turns of several surfaces in one pair of hands, worked out by hand."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise

import pytest

from fringe.judge.advice.schedule import Day, Turn, schedule

MONDAY = datetime(2026, 3, 2, 9, 0)


def lanes(slots):
    """Surface, turn, and start and end as day and time."""
    return [(s.surface, s.turn, f"{s.start:%d %H:%M}", f"{s.end:%H:%M}") for s in slots]


def test_one_piece_rests_while_another_is_worked():
    """The rest of the first is the time of the second; it is not waited for idly."""
    first = [Turn(60, 120), Turn(10)]
    second = [Turn(60), Turn(30)]
    assert lanes(schedule([first, second], MONDAY, Day())) == [
        (0, 0, "02 09:00", "10:00"),
        (1, 0, "02 10:00", "11:00"),
        (1, 1, "02 11:00", "11:30"),
        (0, 1, "02 12:00", "12:10"),
    ]


def test_the_longest_way_to_go_comes_first():
    """Of two pieces that are ready, that one which has more work and rest before it."""
    short, long = [Turn(30)], [Turn(30, 200), Turn(10)]
    assert [s.surface for s in schedule([short, long], MONDAY, Day())] == [1, 0, 1]


def test_nights_are_kept():
    """What would end after hours waits for the morning; rest goes on through the night."""
    turns = [Turn(400, 90), Turn(60), Turn(60)]
    assert lanes(schedule([turns], MONDAY, Day())) == [
        (0, 0, "02 09:00", "15:40"),
        (0, 1, "03 09:00", "10:00"),
        (0, 2, "03 10:00", "11:00"),
    ]


def test_a_turn_longer_than_a_day_begins_with_one():
    """It is not put off for ever."""
    late = MONDAY.replace(hour=12)
    assert lanes(schedule([[Turn(600)]], late, Day())) == [(0, 0, "03 09:00", "19:00")]


@pytest.mark.parametrize("seed", range(5))
def test_no_two_turns_at_once_and_none_before_its_rest(seed):
    """Whatever the turns are: one pair of hands, rest kept, in order, all of them."""
    import numpy as np

    rng = np.random.default_rng(seed)
    lives = [
        [Turn(float(rng.integers(1, 300)), float(rng.integers(0, 400))) for _ in range(count)]
        for count in rng.integers(0, 8, 4)
    ]
    slots = schedule(lives, MONDAY, Day(8 * 60, 6 * 60))
    assert sorted((s.surface, s.turn) for s in slots) == [
        (i, n) for i, turns in enumerate(lives) for n in range(len(turns))
    ]
    for before, after in pairwise(slots):
        assert before.end <= after.start
    for slot in slots:
        if slot.turn:
            earlier = next(s for s in slots if (s.surface, s.turn) == (slot.surface, slot.turn - 1))
            rest = lives[slot.surface][slot.turn - 1].rest_minutes
            assert (slot.start - earlier.end).total_seconds() >= 60 * rest
