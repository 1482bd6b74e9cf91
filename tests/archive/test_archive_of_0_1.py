"""A whole archive that version 0.1 wrote reads as it did then.

It holds one surface with a spherometer's visit, one by eye and its correction, and one with a
photograph; beside it lies what 0.1 said of it, and what it exported. None of it is made anew.
"""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from calling import call
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session, session_files

SAMPLE = Path(__file__).with_name("samples") / "archive-0.1"
SURFACE = "shop/concave-1-2cd1fd91"


def said(name):
    """Return what 0.1 printed of this archive."""
    return json.loads((SAMPLE / name).read_text(encoding="utf-8"))


def known_keys(then, now):
    """Return those keys and values of today's answer that there were then.

    Numbers may differ in the tenth digit: other processors add up in another order. Half-widths
    may by half a per cent: wavelength and plate count in all of them since 0.1.
    """
    found = {}
    for key, old in then.items():
        near = 5e-3 if "_u95_" in key else 1e-9
        found[key] = pytest.approx(now[key], rel=near) if isinstance(old, float) else now[key]
    return found


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A copy of the archive in the working folder, with nothing else in it."""
    shutil.copytree(SAMPLE / "shop", tmp_path / "shop")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "shop"


def test_it_is_sound(capsys, shop):
    """`check` finds all eight files as written: sessions, the surface's record, instruments."""
    answer = call(capsys, "check", "shop", "--json")
    assert (answer.status, answer.err) == (0, "")
    assert known_keys(said("check.json"), answer.json) == said("check.json")


def test_it_is_listed(capsys, shop):
    """(regression) `surfaces` counts the visits and tells the last power as 0.1 did."""
    (then,) = said("surfaces.json")["surfaces"]
    (now,) = call(capsys, "surfaces", "shop", "--json").json["surfaces"]
    assert known_keys(then, now) == then


def test_its_progress_is_told(capsys, shop):
    """(regression) `progress` gives each visit's power, interval, sense and verdict of then."""
    keys = [
        *("when", "session_id", "stage", "minutes", "on_top", "method", "sense", "verdict"),
        *("power_fringes", "power_u95_fringes", "irregularity_fringes"),
        *("radius_difference_mm", "radius_difference_u95_mm"),
    ]
    then = said("progress.json")["visits"]
    now = call(capsys, "progress", SURFACE, "--json").json["visits"]
    assert len(then) == len(now) == 3
    for old, new in zip(then, now, strict=True):
        expected = {key: old[key] for key in keys}
        assert known_keys(expected, new) == expected


def test_it_is_read_again(capsys, shop):
    """(regression) `reread` computes the powers of photograph and spherometer to the same digits.

    Irregularity may be told otherwise, within its interval: since 0.1 what noise alone would make
    of it is taken out.
    """
    now = call(capsys, "reread", SURFACE, "--json").json
    assert said("reread.json")["changes"] == []
    for one in now["changes"]:
        assert one["quantity"] == "irregularity_fringes"
        assert abs(one["now"] - one["before"]) <= one["u95_now"]
    assert (now["sessions"], now["computed"], now["problems"]) == (4, 2, [])


def test_its_photograph_is_the_cameras(shop):
    """The photograph comes out byte for byte, the correction takes the place of what it names."""
    first, correction, photograph = list_sessions(shop.parent / SURFACE)
    (logged,) = open_session(photograph.place).visit.photographs
    assert logged.data == (SAMPLE / "rings.jpg").read_bytes()
    assert correction.replaces == session_files(shop.parent / SURFACE)[1].stem
    assert first.replaces is None


def test_its_table_is_the_same(capsys, shop):
    """(regression) `export` writes the table that 0.1 wrote, column by column."""
    assert call(capsys, "export", SURFACE, "table.csv").status == 0
    then, now = (
        list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
        for path in (SAMPLE / "visits.csv", Path("table.csv"))
    )
    assert len(then) == 4
    assert [known_keys(old, new) for old, new in zip(then, now, strict=True)] == then


@pytest.mark.parametrize("by", ["0.1", "today"])
def test_it_moves(capsys, shop, by):
    """What 0.1 exported, and what today's version does, comes back with every value sealed."""
    if by == "0.1":
        shutil.copy(SAMPLE / "concave-1.nc", "out.nc")
    else:
        assert call(capsys, "export", SURFACE, "out.nc").status == 0
    assert call(capsys, "import", "out.nc", "other").status == 0
    answer = call(capsys, "check", "other", "--json").json
    assert (answer["problems"], answer["damaged"]) == ([], [])
    (folder,) = Path("other").glob("concave-1*")
    names = [[path.name for path in session_files(one)] for one in (folder, Path(SURFACE))]
    assert names[0] == names[1]
    digests = [
        [open_session(path).content_sha256 for path in session_files(one)]
        for one in (folder, Path(SURFACE))
    ]
    assert digests[0] == digests[1]
