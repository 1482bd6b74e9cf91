"""What `fringe log` asks before a visit is kept."""

from __future__ import annotations

import json
import shutil
from datetime import datetime, timedelta

import pytest

from calling import call
from fringe.archive.store.index import list_archive
from fringe.archive.store.order import list_sessions
from sample_visits import full_surface


def ahead(hours):
    """A time so many hours from now, as `--when` takes it."""
    return (datetime.now().astimezone() + timedelta(hours=hours)).isoformat(timespec="seconds")


def test_a_photograph_that_is_there_already(run, photos, surface):
    """The same bytes under another name are named with their visit; --yes logs them."""
    run("--remark", "first")
    (name,) = photos("3.5.jpg")
    run(name)
    shutil.copy(name, "4.5.jpg")
    code, out, err = run("4.5.jpg", "--minutes", "3")
    assert (code, out) == (2, "")
    assert err == (
        "fringe: 4.5.jpg: this photograph is in visit 2 of concave 1 already; "
        "--yes logs it all the same\n"
    )
    assert len(list_sessions(surface.folder)) == 2
    assert run("4.5.jpg", "--yes")[0] == 0
    assert run(name, "--replaces", "2")[0] == 0  # a correction says the same again


def test_a_photograph_of_another_surface(run, photos, surface, capsys):
    """A photograph that another surface of the archive has is found by the archive's list."""
    (name,) = photos("3.5.jpg")
    run(name)
    full_surface(surface.folder.parent, "concave 2")
    list_archive(surface.folder.parent, now_ns=1 << 62)
    answer = call(capsys, "log", "shop/concave 2", name)
    assert answer.status == 2
    assert "visit 1 of concave 1 already" in answer.err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--when", ahead(2)), "is in the future; --yes"),
        (("--when", "2026-01-01T10:00"), "is before visit 1, 2026-03-14 09:30; --yes"),
        (("--stage", "polish", "--minutes", "1441"), "1441 min is more than a day of work; --yes"),
    ],
)
def test_times_that_are_hardly_meant(run, surface, words, message):
    """A visit in the future, before the last one, or of more than a day is asked about."""
    run("--remark", "first", "--when", "2026-03-14T09:30")
    code, out, err = run("--remark", "x", *words)
    assert (code, out) == (2, "")
    assert message in err
    assert len(list_sessions(surface.folder)) == 1
    assert run("--remark", "x", *words, "--yes")[0] == 0


def test_a_correction_may_lie_before_the_last_visit(run, surface):
    """Only a new visit is asked about its place among the others."""
    run("--remark", "first", "--when", "2026-03-14T09:30")
    run("--remark", "second", "--when", "2026-03-15T09:30")
    assert run("--replaces", "1", "--when", "2026-03-14T08:30")[0] == 0


def test_at_a_terminal_it_is_a_question(run, surface, monkeypatch):
    """At a terminal a yes logs the visit and a no does not."""
    words = ("--stage", "polish", "--minutes", "2000")
    asked = []

    def answering(said):
        def confirm(text, **_):
            asked.append(text)
            return said

        return confirm

    monkeypatch.setattr("fringe.cli.asking._at_a_terminal", lambda: True)
    monkeypatch.setattr("fringe.cli.asking.click.confirm", answering(False))
    assert run(*words)[0] == 2
    assert list_sessions(surface.folder) == []
    monkeypatch.setattr("fringe.cli.asking.click.confirm", answering(True))
    code, _, err = run(*words)
    assert code == 0
    assert "2000 min is more than a day" in err
    assert len(asked) == 2


def test_a_plate_smaller_than_the_work(run, photos, surface, capsys):
    """A plate that is smaller by its record needs its circle, or a yes."""
    words = ("--form", "convex", "--radius", "3048.6mm", "--diameter", "60mm")
    call(capsys, "instrument", "add", "plate", "shop", "plate 7", *words)
    (name,) = photos("3.5.jpg")
    code, _, err = run(name)
    assert code == 2
    assert "plate plate 7 is 60 mm and the work 150 mm in diameter; --aperture 60mm" in err
    assert run(name, "--aperture", "60mm")[0] == 0


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("wibble", "grits are written '#400' or 9um"),
        ("polieren", "the nearest is 'polish'"),
        ("F40O", "the nearest is 'F400'"),
    ],
)
def test_a_stage_that_is_none(run, surface, name, message):
    """A name that is no stage is refused with the nearest and the option that tells."""
    code, _, err = run("--stage", name, "--minutes", "10")
    assert code == 2
    assert message in err
    assert "--stage-is grit or --stage-is polish" in err
    assert list_sessions(surface.folder) == []


def test_a_stage_of_ones_own(run, surface):
    """A name of one's own is kept with what it is, and not asked again on that surface."""
    code, out, _ = run(
        "--stage", "pad 7", "--stage-is", "polish", "--minutes", "10", "--on-top", "tool", "--json"
    )
    assert (code, json.loads(out)["stage"]) == (0, "pad 7 (polish)")
    code, out, _ = run("--stage", "pad 7", "--minutes", "10", "--json")
    assert (code, json.loads(out)["stage"]) == (0, "pad 7 (polish)")
    code, _, err = run("--stage", "#400", "--stage-is", "polish", "--minutes", "10")
    assert (code, "known as a grit" in err) == (2, True)
