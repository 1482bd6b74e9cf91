"""Work between visits: split spells, corrections, and what files keep of it."""

from __future__ import annotations

import math

import pytest

from fringe.errors import BadInput
from fringe.judge.state.visits import Work, split_spell

SPLIT = Work("9um", parts=(("work", 30.0), ("tool", 40.0)))


def test_a_split_spell_is_the_sum_of_its_parts():
    """A spell with both pieces on top lasts as long as its parts, and has no one piece on top."""
    assert (SPLIT.minutes, SPLIT.on_top) == (70.0, None)
    assert SPLIT.parts == (("work", 30.0), ("tool", 40.0))
    assert Work("9um", 70, parts=[["work", 30], ["tool", 40]]) == SPLIT


def test_parts_with_one_piece_are_one_spell():
    """Parts that all have the same piece on top, or none of the other, are a spell like any."""
    assert Work("9um", parts=(("tool", 10.0), ("tool", 5.0))) == Work("9um", 15.0, "tool")
    assert Work("9um", parts=(("work", 0.0), ("tool", 5.0))) == Work("9um", 5.0, "tool")


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"parts": (("work", 30.0), ("tool", 40.0)), "minutes": 60.0}, "are 70 minutes, not 60"),
        ({"parts": (("work", 30.0), ("tool", 40.0)), "on_top": "work"}, "say otherwise"),
        ({"parts": (("both", 30.0),)}, "not work or tool"),
        ({"parts": (("work", -1.0), ("tool", 40.0))}, "-1 minutes cannot be"),
        ({"parts": (("work", math.nan), ("tool", 40.0))}, "cannot be"),
        ({"rested_minutes": -1.0}, "rested -1 minutes cannot be"),
        ({"rested_minutes": 60 * 24 * 60 + 1.0}, "cannot be"),
        ({"rested_minutes": math.nan}, "cannot be"),
    ],
)
def test_work_that_cannot_be(values, says):
    """Parts that contradict the whole, and a rest that cannot be, are refused in one line."""
    with pytest.raises(BadInput, match=says) as told:
        Work("9um", **values)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("work", [SPLIT, Work(), Work("polish", 40.0, "tool", rested_minutes=0.0)])
def test_there_and_back_through_texts_and_numbers(work):
    """What files and tables keep of work gives the same work again."""
    stored = work.to_stored()
    assert {type(value) for value in stored.values()} <= {str, float, type(None)}
    assert Work.from_stored(stored) == work


@pytest.mark.parametrize("text", ["work", "work soon", "30 work", "work 30; tool 40", "work inf"])
def test_parts_that_are_none(text):
    """A text of parts that was written by hand and makes no sense is refused."""
    with pytest.raises(BadInput, match="work: "):
        Work.from_stored({"parts": text})


@pytest.mark.parametrize(
    ("new", "expected"),
    [
        (Work(pits="gone"), Work("9um", parts=SPLIT.parts, pits="gone")),
        (Work(minutes=60.0), Work("9um", 60.0)),
        (Work(on_top="tool"), Work("9um", 70.0, "tool")),
        (Work(parts=(("tool", 5.0), ("work", 6.0))), Work("9um", parts=(("tool", 5), ("work", 6)))),
        (Work(rested_minutes=5.0), Work("9um", parts=SPLIT.parts, rested_minutes=5.0)),
    ],
)
def test_a_correction_of_a_split_spell(new, expected):
    """Minutes or a piece said anew end the split; anything else leaves it as it was."""
    assert new.completed(SPLIT) == expected


def test_a_correction_that_splits():
    """A split said anew takes the place of minutes and piece on top."""
    old = Work("9um", 60.0, "work", rested_minutes=20.0)
    expected = Work("9um", parts=SPLIT.parts, rested_minutes=20.0)
    assert Work(parts=SPLIT.parts).completed(old) == expected


def test_minutes_and_pieces_in_turn():
    """As many pieces as minutes are parts; one of each, or less, is a spell as it always was."""
    assert split_spell([], []) == {"minutes": None, "on_top": None}
    assert split_spell([30.0], []) == {"minutes": 30.0, "on_top": None}
    assert split_spell([], ["work"]) == {"minutes": None, "on_top": "work"}
    assert split_spell([30.0, 40.0], ["work", "tool"]) == {"parts": SPLIT.parts}
    for minutes, pieces in (([30.0, 40.0], []), ([30.0], ["work", "tool"])):
        with pytest.raises(BadInput, match="says both for each part"):
            split_spell(minutes, pieces)
