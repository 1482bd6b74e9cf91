"""`fringe plan` as a person and a program call it."""

from __future__ import annotations

import re
from datetime import datetime

import pytest
from PIL import Image

from calling import call, refused
from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.judge.state.visits import Work
from sample_visits import FRINGES_ALONE, full_surface, hours, power_reading
from shared_files import copied_once

START = ("--start", "2026-03-16T09:00")


def two_on_the_way(folder):
    """An archive `shop` with two surfaces on the way."""
    for name, powers in (("concave 1", (9.0, 6.0)), ("concave 2", (3.0, 2.6))):
        surface = full_surface(folder / "shop", name, tolerance=FRINGES_ALONE)
        for i, power in enumerate(powers):
            work = Work("polish", 60.0 * i or None, "work", pits="gone", rested_minutes=240.0)
            visit = Visit(work=work, readings=(power_reading(power, 0.2, "centre"),))
            log_visit(surface, visit, now=hours(24 * i))


@pytest.fixture(autouse=True)
def shop(tmp_path, tmp_path_factory, monkeypatch):
    """Two surfaces on the way, in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("fringe.judge.advice.plan.LIVES", 12)
    copied_once(tmp_path_factory, tmp_path, two_on_the_way)
    return tmp_path / "shop"


def planned(capsys, *words):
    return call(capsys, "plan", *words, *START, "--json").json


def test_one_surface(capsys):
    """What is still to go, each with its interval, and a course that ends with a reading."""
    found = planned(capsys, "shop/concave 1")
    (one,) = found["surfaces"]
    assert one["chance"] == 1.0
    for name in ("visits", "work_minutes"):
        assert 0 < one[name]["low"] <= one[name]["median"] <= one[name]["high"]
    # 3 fringes went in 60 minutes, 6 are left
    assert 60 < one["work_minutes"]["median"] < 240
    turns = found["turns"]
    assert turns[0]["what"].startswith("polish")
    assert turns[-1]["what"] == "read"
    assert turns[0]["start"] == datetime(2026, 3, 16, 9).astimezone().isoformat()
    assert found["finished"]["low"] <= found["finished"]["median"] <= found["finished"]["high"]


def test_two_share_one_pair_of_hands(capsys):
    """Together they take longer than the longer one alone, and less than one after the other."""
    ends = {}
    for names in (["shop/concave 1"], ["shop/concave 2"], ["shop/concave 1", "shop/concave 2"]):
        found = planned(capsys, *names, "--hours", "0:00-24:00")
        begin = datetime.fromisoformat(found["from"])
        ends[len(names), names[0]] = datetime.fromisoformat(found["finished"]["median"]) - begin
    one, other = ends[1, "shop/concave 1"], ends[1, "shop/concave 2"]
    assert max(one, other) <= ends[2, "shop/concave 1"] < one + other


def test_what_if(capsys):
    """A first spell of another length is lived through beside the advised one."""
    found = planned(capsys, "shop/concave 1", "--minutes", "5")
    short, advised = found["what_if"]["surfaces"][0], found["surfaces"][0]
    assert found["what_if"]["turns"][0]["what"] == "polish 5 min"
    assert short["visits"]["median"] >= advised["visits"]["median"]


def test_a_pair_is_laid_together_at_the_end(capsys):
    """One more reading, after both are finished."""
    words = ["shop/concave 1", "shop/concave 2", "--hours", "0-24"]
    alone, pair = planned(capsys, *words), planned(capsys, *words, "--pair")
    ends = [datetime.fromisoformat(one["finished"]["median"]) for one in (alone, pair)]
    assert (ends[1] - ends[0]).total_seconds() == 600


def test_text_and_picture(capsys, tmp_path):
    """The table, the next steps and the course; nothing wider than 60 columns where asked."""
    answer = call(capsys, "plan", "shop/concave 1", *START, "--picture", tmp_path / "p.png")
    assert "ranges hold in 90 of 100 cases" in answer.out
    assert "A likely course:" in answer.out
    assert "Mon 2026-03-16" in answer.out
    assert Image.open(tmp_path / "p.png").width > 1000


def test_a_finished_surface_takes_nothing(capsys, shop):
    """Where the next step is stop, there is no course, and that is said."""
    surface = full_surface(shop, "concave 3", tolerance=FRINGES_ALONE)
    for i in range(2):
        work = Work("polish", 60.0, "work", pits="gone", rested_minutes=240.0) if not i else Work()
        visit = Visit(work=work, readings=(power_reading(0.3, 0.1, "centre"),))
        log_visit(surface, visit, now=hours(5 * i))
    found = planned(capsys, "shop/concave 3")
    assert found["next_steps"] == ["stop"]
    assert found["turns"] == []
    out = call(capsys, "plan", "shop/concave 3", *START).out
    assert re.search(r"concave 3 +0 +0 h +already", out)
    assert "Nothing is left to do." in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["shop/concave 9"], "no such surface"),
        (["shop/concave 1", "shop/concave 1"], "named twice"),
        (["shop/concave 1", "--hours", "25-26"], "--hours"),
        (["shop/concave 1", "--hours", "17:00-9:00"], "--hours"),
        (["shop/concave 1", "--start", "soon"], "--start"),
        (["shop/concave 1", "--start", "0001-01-01T00:00"], "--start"),
        (["shop/concave 1", "--pair"], "two pieces"),
        (["shop/concave 1", "--minutes", "2000"], "longer than a day"),
        (["shop/bare"], "nothing was read"),
    ],
)
def test_nonsense_is_one_line(capsys, shop, words, says):
    """What cannot be planned is said in one line, with status 2."""
    full_surface(shop, "bare", tolerance=FRINGES_ALONE)
    assert says in refused(capsys, "plan", *words)
