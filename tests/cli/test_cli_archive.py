"""`fringe check`, `reread`, `export` and `import` as a person and a program call them."""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from calling import call, refused
from fringe.archive.store.read import session_files
from fringe.archive.store.session import Photograph, Visit
from fringe.archive.store.surface import load_surface
from fringe.archive.store.write import log_visit
from sample_visits import full_surface, full_visit, hours, plain_visit, power_reading


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An archive `shop` with a surface of two visits; making it anew each time would take long."""
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    folder = tmp_path_factory.mktemp("made")
    surface = full_surface(folder / "shop")
    log_visit(surface, full_visit(rng), now=hours(0))
    log_visit(surface, plain_visit(), now=hours(1))
    return folder / "shop"


@pytest.fixture
def surface(made, tmp_path, monkeypatch):
    """The surface, in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(made, tmp_path / "shop")
    return load_surface(next(Path("shop").glob("concave*")))


def test_a_sound_archive(capsys, surface):
    """All as written: one line, status 0, and an empty list of problems."""
    answer = call(capsys, "check", "shop")
    assert (answer.status, answer.err) == (0, "")
    first, second = answer.out.splitlines()
    assert first == "shop: 3 files checked, all as written"
    assert re.fullmatch("History: [0-9a-f]{64}", second)
    values = call(capsys, "check", "shop", "--json").json
    assert values == {
        "checked": 3,
        "digest": second.removeprefix("History: "),
        "left": [],
        "problems": [],
        "damaged": [],
        "leftovers": [],
        "unknown": [],
        "trusted": 0,
        "signed": None,
    }


def test_a_damaged_session(capsys, surface):
    """Damage to one value: status 1, the file by name, and what still reads of it."""
    path = session_files(surface.folder)[0]
    data = bytearray(path.read_bytes())
    place = data.index(b"rings \xc3\xa4.jpg")  # the name of a photograph, inside its group
    data[place] ^= 1
    path.write_bytes(data)
    answer = call(capsys, "check", "shop")
    assert (answer.status, answer.err) == (1, "")
    lines = answer.out.splitlines()
    assert lines[0] == "shop: 3 files checked, 1 problem"
    assert lines[1].startswith(f"  {path}: the file was altered")
    assert "still reads: the visit; the surface's record; the readings;" in lines[2]
    assert "photograph 2 (dim.tif), whole by its own digest" in lines[2]
    assert "photograph 1" not in lines[2]
    (damaged,) = call(capsys, "check", "shop", "--json").json["damaged"]
    assert damaged["file"] == str(path)
    assert "the readings" in damaged["still_reads"]


def test_a_session_cut_short(capsys, surface):
    """Of a file that was cut short nothing reads, and that is said."""
    path = session_files(surface.folder)[0]
    path.write_bytes(path.read_bytes()[:9000])
    answer = call(capsys, "check", "shop")
    assert answer.status == 1
    assert "still reads: nothing" in answer.out


def test_leftovers_and_strangers(capsys, surface):
    """What a killed writer left and files of others are listed; they are no problem."""
    (surface.folder / ".0009.partial").write_bytes(b"")
    (surface.folder / "notes.txt").write_text("hello")
    answer = call(capsys, "check", "shop")
    assert answer.status == 0
    assert "Left behind" in answer.out
    assert ".0009.partial" in answer.out
    assert "Not the archive's:" in answer.out
    assert "notes.txt" in answer.out


def by_bytes(photographs, options):
    """Read power from the photograph's bytes."""
    return power_reading(float(photographs[0].data)).reading


@pytest.fixture
def stand_in(monkeypatch):
    """Photographs are read by their bytes."""
    monkeypatch.setattr(
        "fringe.archive.views.reread.reread_surface.__kwdefaults__",
        {
            "reader": by_bytes,
            "workers": 1,
            "scheduler": None,
        },
    )


def test_reread(capsys, surface, stand_in):
    """What moved by more than its uncertainty is listed with both values; no file changes."""
    for power, data in ((2.0, b"2.0"), (3.0, b"3.5")):
        reading = dataclasses.replace(power_reading(power), photographs=(1,))
        log_visit(surface, Visit(readings=(reading,), photographs=(Photograph("a.jpg", data),)))
    session_files(surface.folder)[0].unlink()  # its photographs are noise
    before = {p: p.read_bytes() for p in surface.folder.iterdir()}
    answer = call(capsys, "reread", "shop/concave 1")
    assert (answer.status, answer.err) == (0, "")
    assert answer.out.startswith("concave 1: 2 readings of 3 sessions computed again by fringe ")
    assert "  visit 4, a.jpg: power +3.00 ± 0.10 fringes → +3.50 ± 0.10 fringes\n" in answer.out
    values = call(capsys, "reread", "shop/concave 1", "--json").json
    assert (values["sessions"], values["computed"], values["left_out"]) == (3, 2, [])
    (change,) = values["changes"]
    assert change["visit"] == 4
    assert (change["quantity"], change["before"], change["now"]) == ("power_fringes", 3.0, 3.5)
    assert {p: p.read_bytes() for p in surface.folder.iterdir()} == before


def test_reread_without_a_photograph(capsys, tmp_path, monkeypatch):
    """A surface whose visits have nothing to compute is answered all the same."""
    monkeypatch.chdir(tmp_path)
    made = full_surface(tmp_path / "shop")
    log_visit(made, plain_visit(), now=hours(1))
    answer = call(capsys, "reread", "shop/concave 1")
    assert (answer.status, answer.err) == (0, "")
    assert "0 readings of 1 session" in answer.out


@pytest.mark.parametrize("name", ["out.csv", "out.nc", "out"])
def test_export(capsys, surface, name):
    """Text: what was written and how much is in it; JSON the same by its keys."""
    answer = call(capsys, "export", "shop/concave 1", name)
    photographs = 0 if name == "out.csv" else 2
    assert (answer.status, answer.err) == (0, "")
    assert answer.out == f"{name}: 2 sessions, {photographs} photographs\n"
    values = call(capsys, "export", "shop/concave 1", f"json-{name}", "--json").json
    assert values == {
        "path": f"json-{name}",
        "sessions": 2,
        "photographs": photographs,
        "problems": [],
    }
    assert "is there already" in refused(capsys, "export", "shop/concave 1", name)


@pytest.mark.parametrize("name", ["out.nc", "out"])
def test_import(capsys, surface, name):
    """A surface goes to another archive; a second time nothing is added, and both are told."""
    call(capsys, "export", "shop/concave 1", name)
    answer = call(capsys, "import", name, "other")
    assert (answer.status, answer.out, answer.err) == (0, "concave 1: 2 sessions added\n", "")
    values = call(capsys, "import", name, "other", "--json").json
    assert (values["new"], values["added"], values["present"]) == (False, 0, 2)
    assert values["surface"] == "concave 1"
    assert call(capsys, "check", "other").status == 0


def test_import_of_a_table(capsys, surface):
    """A table goes to a surface that is there; to an archive it does not."""
    call(capsys, "export", "shop/concave 1", "out.csv")
    full_surface(Path("other"))
    answer = call(capsys, "import", "out.csv", "other/concave 1")
    assert (answer.status, answer.out) == (0, "concave 1: 2 sessions added\n")
    assert "ARCHIVE/NAME" in refused(capsys, "import", "out.csv", "other")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("check", "nowhere"), "no such archive"),
        (("reread", "shop/convex 9"), "concave 1"),
        (("reread", "shop/concave 1", "--workers", "0"), "--workers"),
        (("reread", "shop/concave 1", "--scheduler", "nonsense://x"), "nonsense://x"),
        (("export", "shop/concave 1", "no/such/folder.nc"), "there is no folder"),
        (("export", "shop/convex 9", "out.nc"), "concave 1"),
        (("import", "gone.nc", "other"), "gone.nc: there is no such"),
        (("import", "shop", "other"), "no surface's record"),
        (("import", "out.csv", "shop/convex 9"), "concave 1"),
    ],
)
def test_one_line_of_refusal(capsys, surface, words, message):
    """A mistake is one line, status 2, and changes nothing."""
    before = sorted(Path().rglob("*"))
    assert message in refused(capsys, *words)
    assert sorted(Path().rglob("*")) == before
