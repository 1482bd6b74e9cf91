"""A surface that is judged visit by visit is judged as its whole log is."""

from __future__ import annotations

import dataclasses

from advised import TOLERANCE, ground, history, judged, polish, rings, visit

from fringe.judge.judging import Judging

VISITS = history(
    visit(None),
    ground(-30.0, "#400", 20.0, pits="left"),
    ground(-12.0, "#800", 40.0, pits="gone"),
    polish(-7.0, 60.0, rested_minutes=300.0),
    rings(-6.8),
    polish(-3.0, 60.0, rested_minutes=300.0),
)


def test_visits_that_are_added_are_judged_as_the_log() -> None:
    """Rows, verdicts, action and stage after each visit are those of the whole log."""
    judging = Judging(TOLERANCE)
    for count, one in enumerate(VISITS, 1):
        step = judging.take(one)
        whole = judged(*VISITS[:count])
        assert judging.rows[-1] == dataclasses.replace(whole.rows[-1], next_step=None)
        assert tuple(judging.verdicts) == whole.verdicts
        assert (step.action, step.stage) == (whole.next_step.action, whole.next_step.stage)


def test_a_copy_goes_on_by_itself() -> None:
    """Visits that a copy takes are no visits of the surface that it was copied from."""
    judging = Judging(TOLERANCE, visits=VISITS[:4])
    step, belief = judging.step, judging.belief
    copied = judging.copy()
    copied.take(VISITS[4])
    assert (len(copied.visits), len(judging.visits)) == (5, 4)
    assert judging.step is step
    assert judging.belief is belief
    assert judging.take(VISITS[4]).text() == copied.step.text()


def test_before_power_is_read_nothing_is_believed() -> None:
    """Nor is the filter loaded; from then on all visits before count."""
    judging = Judging(TOLERANCE, visits=VISITS[:1])
    assert judging.belief is None
    judging.take(VISITS[1])
    assert judging.belief is not None
    assert judging.belief.readings == 1
