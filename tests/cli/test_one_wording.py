"""Verdict, probability and next step are in the same words wherever they are shown."""

from __future__ import annotations

import json
import re

import pytest

from calling import call
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.archive.views.surface_state import surface_state
from fringe.format import percent_text
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours, power_reading


@pytest.fixture
def surface(tmp_path, monkeypatch):
    """A surface whose next step has a stage, a time and a piece on top."""
    monkeypatch.chdir(tmp_path)
    made = add_surface(
        tmp_path / "shop",
        Surface("one", "concave", 3048.0, 150.0, tolerance=Tolerance(2.0, wavelength_nm=589.29)),
    )
    for i, power in enumerate((-20.0, -14.0, -8.0)):
        work = Work("polish", 37.0, "tool") if i else Work()
        reading = power_reading(power, 0.1, "edge", 589.29)
        log_visit(made, Visit(readings=(reading,), work=work), now=hours(i))
    return made


def words(text):
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def test_the_next_step_is_worded_once(surface, capsys):
    """progress, the list, the log and the report say the next step in one wording (regression)."""
    step = surface_state(surface).next_step
    assert step.text().startswith("polish about ")
    assert step.minutes is not None
    shown = words(call(capsys, "progress", "shop/one").out)
    assert f"Next: {step.sentence()}" in shown
    listed = json.loads(call(capsys, "surfaces", "shop", "--next", "--json").out)
    assert [one["next_step"] for one in listed["surfaces"]] == [step.text()]
    call(capsys, "report", "shop/one", "--out", "page.html")
    page = words((surface.folder.parent.parent / "page.html").read_text("utf-8"))
    assert f"Next step: {step.sentence()}" in re.sub("</?b>", "", page)
    logged = words(call(capsys, "log", "shop/one", "--remark", "looked at it").out)
    assert surface_state(surface).next_step.sentence() in logged


def test_the_probability_is_worded_once(surface, capsys):
    """The probability of conformity has the same digits in progress and in the report."""
    state = surface_state(surface)
    assert state.verdict is not None
    chance = percent_text(state.verdict.probability)
    assert chance in words(call(capsys, "progress", "shop/one").out)
    call(capsys, "report", "shop/one", "--out", "page.html")
    page = words((surface.folder.parent.parent / "page.html").read_text("utf-8"))
    assert f"Probability of conformity: {chance.replace('<', '&lt;')}." in page
