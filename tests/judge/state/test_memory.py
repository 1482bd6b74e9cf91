"""A filter that goes on from a kept state says what one says that went through all visits."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fringe.judge.state import filter as filter_module
from fringe.judge.state.abrasives import stage
from fringe.judge.state.filter import believe
from fringe.judge.state.observed import HeightReading, ObservedVisit, OtherSurface, Spell

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


class Kept:
    """A memory of this process; counts what was taken up again."""

    def __init__(self):
        self.states = []

    def recall(self):
        return self.states

    def keep(self, states):
        self.states = list(states)


@pytest.fixture(autouse=True)
def few(monkeypatch):
    """So many visits are worth a memory."""
    monkeypatch.setattr(filter_module, "MANY", 3)


def made_visits(rng, count=7):
    """Grinding with a gauge and a loupe, then polishing, with readings of several kinds."""
    visits = []
    for i in range(count):
        one = stage("9um" if i < 3 else "polish")
        spell = Spell(one, float(rng.uniform(10, 40)), "tool", 30.0 if i == 1 else None)
        spell = dataclasses.replace(spell, pits="gone" if i == 4 else None)
        power = float(rng.normal(6 - i, 0.2))
        source = "spherometer" if i < 3 else "fringes"
        reading = HeightReading(source, power, 0.1, 0.5 if i < 3 else 0.0, signed=i != 5)
        spells = () if i == 5 else (spell,)
        when = START + timedelta(hours=2 * i)
        visits.append(ObservedVisit(when, spells, (reading,), i + 1))
    return visits


def same(one, other):
    """Whether two beliefs are the same to the last bit."""
    for name in ("weights", "means", "covariances"):
        assert np.array_equal(getattr(one, name), getattr(other, name))
    for name in ("doubts", "spells", "readings", "rested_minutes", "worked_since_reading"):
        assert getattr(one, name) == getattr(other, name)
    for name in ("depth_um", "log_rates", "grains", "weights"):
        assert np.array_equal(getattr(one.pits, name), getattr(other.pits, name))
    assert one.pits.left_by == other.pits.left_by


def test_going_on_is_going_through_all(rng, monkeypatch):
    """After one more visit, one corrected, and none, the belief is the same to the last bit."""
    visits = made_visits(rng)
    others = (OtherSurface(tuple(made_visits(rng, 4))),)
    memory = Kept()
    steps = []
    step = filter_module._Filter.step
    monkeypatch.setattr(
        filter_module._Filter, "step", lambda one, visit: (steps.append(visit), step(one, visit))
    )
    believe(visits[:6], others=others, memory=memory, wanted=1)
    corrected = [*visits[:6], dataclasses.replace(visits[6], readings=())]
    for after in (visits, visits, corrected, corrected):
        truth = believe(after, others=others)[-1]
        steps.clear()
        *before, last = believe(after, others=others, memory=memory, wanted=1)
        same(last, truth)
        assert before == [None] * 6
        assert len(steps) <= 1
    assert [one.visits for one in memory.states] == [5, 6, 7]


def test_nothing_else_is_gone_on_from(rng):
    """Another shop, another early visit, another stage or factor start from the beginning."""
    visits = made_visits(rng)
    others = (OtherSurface(tuple(made_visits(rng, 4))),)
    memory = Kept()
    believe(visits, memory=memory, wanted=1)
    early = [dataclasses.replace(visits[0], readings=()), *visits[1:]]
    new_stage = dataclasses.replace(visits[-1], spells=(Spell(stage("3um"), 5.0, "work"),))
    for given, kept in (
        ((visits, others, None), memory),
        ((early, (), None), memory),
        (([*visits, new_stage], (), None), memory),
        ((visits, (), 1.5), memory),
    ):
        found = [
            believe(given[0], others=given[1], pit_factor=given[2], memory=one, wanted=1)[-1]
            for one in (kept, None)
        ]
        same(*found)


def test_all_that_is_wanted_is_told(rng):
    """The last so many beliefs are there, whatever is kept."""
    visits = made_visits(rng)
    memory = Kept()
    believe(visits, memory=memory, wanted=1)
    *before, one, two, three = believe(visits, memory=memory, wanted=3)
    assert before == [None] * 4
    for found, truth in zip((one, two, three), believe(visits)[-3:], strict=True):
        same(found, truth)
