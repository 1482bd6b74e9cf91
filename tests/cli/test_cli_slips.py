"""Slips that are asked about, and what follows once they are corrected: by the command line."""

from __future__ import annotations

import json
import shlex
from types import SimpleNamespace

import pytest

from calling import call
from fringe.archive.store.surface import Plate, Surface, add_surface, find_surface
from fringe.archive.views.correcting import correction
from fringe.judge.state.belief import Doubt
from fringe.judge.tolerance.verdict import Tolerance

WAVE = 589.29
SPELL = ("--stage", "polish", "--minutes", "60", "--on-top", "work")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """An archive `shop` of the working folder, with a concave to be polished."""
    monkeypatch.chdir(tmp_path)
    one = Surface(
        "concave 1",
        "concave",
        3048.0,
        150.0,
        plate=Plate("P7", 3048.0, 0.1),
        tolerance=Tolerance(1.0, wavelength_nm=WAVE),
        lamp="sodium",
    )
    add_surface(tmp_path / "shop", one)
    return one


def logged(capsys, day, *words):
    """Log a visit of a day, by eye and settled; its answer as JSON."""
    rest = ("--rested", "600", "--when", f"2026-03-{day:02}T10:00+00:00")
    done = call(capsys, "log", "shop/concave 1", *words, *rest, "--json")
    assert (done.status, done.err) == (0, "")
    return done.json


def told(capsys):
    """What progress says as JSON, and as text with its white space as single spaces."""
    values = call(capsys, "progress", "shop/concave 1", "--json").json
    return values, " ".join(call(capsys, "progress", "shop/concave 1").out.split())


def followed(capsys, command):
    """Type a command that was proposed."""
    words = shlex.split(command)
    assert words[0] == "fringe"
    done = call(capsys, *words[1:], "--json")
    assert (done.status, done.err) == (0, "")
    return json.loads(done.out)


def test_a_wrong_sense_is_asked_about_and_corrected(shop, capsys):
    """The question has both answers and a command; once it is typed, all is as if never wrong."""
    for day, rings in ((1, 12), (2, 10), (3, 8)):
        spell = SPELL if day > 1 else ()
        values = logged(capsys, day, *spell, "--by-eye", f"rings {rings} +-0.1 centre")
        assert (values["correction"], values["next_step"]["question"]) == (None, None)
    values = logged(capsys, 4, *SPELL, "--by-eye", "rings 6.2 +-0.1 edge")
    step = values["next_step"]
    assert step["action"] == "remeasure"
    assert "Is the sense of visit 4 right?" in step["question"]
    assert "at the centre, power is now +6." in step["question"]
    assert "If it is right" in step["question"]
    command = "fringe log 'shop/concave 1' --replaces 4 --sense centre"
    assert values["correction"] == command
    values, text = told(capsys)
    assert values["correction"] == command
    assert f"To correct: {command}" in text

    corrected = followed(capsys, command)
    assert corrected["visit"] == 4
    assert corrected["power_fringes"] == pytest.approx(6.2, abs=0.01)
    assert (corrected["correction"], corrected["next_step"]["question"]) == (None, None)
    values, text = told(capsys)
    assert [round(row["power_fringes"], 1) for row in values["visits"]] == [12, 10, 8, 6.2]
    step = values["next_step"]
    assert (step["action"], step["piece_on_top"]) == ("polish", "work")
    assert step["minutes"] > 0
    assert "To correct" not in text


def test_nothing_is_asked_of_a_life_without_slips(shop, capsys):
    """Spells that do what such spells did before raise no question and propose no command."""
    for day, rings in enumerate((12, 10.2, 8, 5.9, 4.1, 2), 1):
        spell = SPELL if day > 1 else ()
        values = logged(capsys, day, *spell, "--by-eye", f"rings {rings} +-0.1 centre")
        assert (values["correction"], values["next_step"]["question"]) == (None, None)


def test_a_right_sense_that_is_read_again_is_asked_no_more(shop, capsys):
    """The other answer: read again with the same sense, the work goes on from there."""
    for day, rings in ((1, 8.2), (2, 6.2), (3, 4.2)):
        spell = SPELL if day > 1 else ()
        logged(capsys, day, *spell, "--by-eye", f"rings {rings} +-0.1 centre")
    values = logged(capsys, 4, *SPELL, "--by-eye", "rings 2.4 +-0.1 edge")
    assert "Is the sense of visit 4 right?" in values["next_step"]["question"]
    for day in (5, 6):
        values = logged(capsys, day, "--by-eye", "rings 2.4 +-0.1 edge")
    step = values["next_step"]
    assert "sense" not in (step["question"] or "")
    # contact at the edge: the concave is too deep, and turns shallower below its tool
    assert (step["action"], step["piece_on_top"]) == ("polish", "tool")


def doubted(shop, kind, **fields):
    """The command for a slip of the first visit, which was this row."""
    known = {"visit": 7, "sense": "centre", "split": (), "minutes": None}
    row = SimpleNamespace(**(known | fields))
    step = SimpleNamespace(doubt=Doubt(kind, 1, 0.9, 0.0, 0.1))
    return correction(find_surface("shop/concave 1"), [row], step)


@pytest.mark.parametrize(
    ("kind", "fields", "options"),
    [
        ("sense", {"sense": "edge"}, "--sense centre"),
        ("minutes twice", {"minutes": 30.0}, "--minutes 60"),
        ("minutes half", {"minutes": 45.0}, "--minutes 22.5"),
        (
            "minutes twice",
            {"minutes": 50.0, "split": (("work", 20.0), ("tool", 30.0))},
            "--minutes 40 --on-top work --minutes 60 --on-top tool",
        ),
        ("dust", {}, "--sag-plate L,L --sag-work L,L"),
    ],
)
def test_the_command_for_each_slip(shop, kind, fields, options):
    """Each slip has the command that makes the record say what is asked about."""
    expected = f"fringe log 'shop/concave 1' --replaces 7 {options}"
    assert doubted(shop, kind, **fields) == expected


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("sense", {"sense": "unknown"}),
        ("minutes twice", {}),
        ("reversed", {"minutes": 30.0}),
        ("sense", {"visit": 0}),
    ],
)
def test_no_command_where_none_helps(shop, kind, fields):
    """What no option can correct, or is not logged yet, has no command."""
    assert doubted(shop, kind, **fields) is None


def test_an_archive_elsewhere_is_named_in_full(shop, monkeypatch, tmp_path):
    """From another folder the command names the archive by its whole path."""
    surface = find_surface(str(tmp_path / "shop/concave 1"))
    (tmp_path / "bench").mkdir()
    monkeypatch.chdir(tmp_path / "bench")
    row = SimpleNamespace(visit=1, minutes=30.0, split=(), sense="centre")
    step = SimpleNamespace(doubt=Doubt("minutes half", 1, 0.9, 0.0, 0.1))
    words = shlex.split(correction(surface, [row], step))
    assert words[2] == f"{surface.folder.parent.resolve()}/concave 1"
