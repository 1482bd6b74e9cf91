"""The next step's wording and its keys: one spell, a split one, waiting, a question."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from fringe.judge.advice.step import NextStep, round_minutes, worked

NOON = datetime(2026, 9, 7, 12, 0)


@pytest.mark.parametrize(
    ("step", "text", "short"),
    [
        (worked("polish", "far", (("work", 32.0),)), "polish about 30 min, work on top", 30),
        (
            NextStep("grind", "far", "tool", 12.0, "#400"),
            "grind with #400 about 12 min, tool on top",
            "#400 12",
        ),
        (
            NextStep("polish", "far", "tool", 40.0, "cerium", rest_minutes=90.0),
            "polish about 40 min, tool on top",
            40,
        ),
        (
            worked("polish", "pits", (("work", 31.0), ("tool", 39.0))),
            "polish 30 min work, then 40 min tool on top",
            70,
        ),
    ],
)
def test_work_in_words(step, text, short):
    """Stage, minutes, piece on top, turns and rest follow each other; a column gets the total."""
    assert step.text() == text
    assert step.short() == f"{step.action} {short} min"
    rest = ", then let it rest 90 min before reading it" if step.rest_minutes else ""
    assert step.whole() == f"{text}{rest}"
    assert step.sentence() == f"{text}{rest}: {step.reason}"


def test_a_split_spell_begins_with_its_first_piece():
    """Minutes are those of both turns, as rounded; the piece on top is the first turn's."""
    step = worked("grind", "pits", (("tool", 41.0), ("work", 28.0)))
    assert (step.piece_on_top, step.minutes) == ("tool", 70.0)
    assert step.to_json()["alternate"] == [
        {"piece_on_top": "tool", "minutes": 40.0},
        {"piece_on_top": "work", "minutes": 30.0},
    ]
    single = worked("grind", "far", (("tool", 41.0),))
    assert (single.alternate, single.minutes) == ((), 40.0)


@pytest.mark.parametrize(("minutes", "text"), [(90, "13:30"), (13 * 60, "2026-09-08 01:00")])
def test_waiting_says_until_when(minutes, text):
    """The time to come back is told, with its date where that is another day."""
    back = NOON + timedelta(minutes=minutes)
    step = NextStep("wait", "warm", minutes=float(minutes), back_at=back)
    assert step.text() == f"wait about {round_minutes(minutes)} min, until {text}"
    assert step.to_json()["back_at"] == back.isoformat()


def test_a_question_follows_the_reason():
    """A slip is asked about after the reason, in every view."""
    step = NextStep("remeasure", "it does not fit", question="Is the sense right?")
    assert step.why() == "it does not fit. Is the sense right?"
    assert step.sentence() == "remeasure: it does not fit. Is the sense right?"
    assert step.to_json()["question"] == "Is the sense right?"
