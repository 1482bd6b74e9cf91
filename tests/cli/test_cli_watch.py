"""`fringe watch` as a person and a program call it; the reading is a stand-in here."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from calling import call, refused
from fringe.archive.views.watching import PATIENCE_S
from fringe.errors import BadInput, Refused
from sample_visits import FRINGES_ALONE, full_surface, power_reading

FRINGE = Path(sys.executable).with_name("fringe")
QUICK = ("--still", "0", "--once")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder `incoming` of the working folder; names say the power that is read there."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("fringe.archive.views.watching.PATIENCE_S", 0.0)

    def load(path):
        if path.name.startswith("cut"):
            raise BadInput(f"{path.name}: is damaged or cut short")
        return path

    def read(path, options):
        if path.name.startswith("blank"):
            raise Refused(f"{path.name}: no fringes found inside the edge")
        return power_reading(float(path.stem), 0.1).reading

    monkeypatch.setattr("fringe.archive.views.watching.load_photo", load)
    monkeypatch.setattr("fringe.archive.views.watching.read", read)
    made = tmp_path / "incoming"
    made.mkdir()

    def put(*names):
        for name in names:
            (made / name).write_bytes(b"photograph")

    return put


def test_each_photograph_is_told(folder, capsys):
    """Power, sense and wavelength of each photograph that is there stand on its lines."""
    folder("1.5.jpg", "2.5.png", "note.txt")
    answer = call(capsys, "watch", "incoming", "--lamp", "sodium", *QUICK)
    assert (answer.status, answer.err) == (0, "")
    for name, power in (("1.5.jpg", "+1.50 ± 0.10"), ("2.5.png", "+2.50 ± 0.10")):
        after = answer.out.partition(f"  {name}\n")[2]
        assert after.startswith(f"  Power: {power} fringes at 589.3 nm\n")
    assert "note.txt" not in answer.out


def test_a_refusal_is_told_and_the_next_is_read(folder, capsys):
    """A photograph without fringes, and one that is cut short, do not end it."""
    folder("blank.jpg", "cut.jpg", "0.5.jpg")
    answer = call(capsys, "watch", "incoming", "--lamp", "sodium", *QUICK)
    assert answer.status == 0
    assert "blank.jpg: no fringes found inside the edge" in answer.out
    assert "cut.jpg: is damaged or cut short" in answer.out
    assert "+0.50 ± 0.10" in answer.out


def test_json_is_a_line_a_photograph(folder, capsys):
    """Each line is one object: the photograph, and its reading or why there is none."""
    folder("1.5.jpg", "blank.jpg")
    answer = call(capsys, "watch", "incoming", "--lamp", "sodium", "--json", *QUICK)
    assert answer.err == ""
    found = {Path(one["photo"]).name: one for one in map(json.loads, answer.out.splitlines())}
    assert found["1.5.jpg"]["power_fringes"] == 1.5
    assert "no fringes" in found["blank.jpg"]["error"]


def test_a_surface_judges(folder, capsys, tmp_path, monkeypatch):
    """With a surface its own lamp, sizes and tolerance count, and the verdict is told."""
    full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    asked = []

    def read(path, options):
        asked.append((options.lamp.name, options.work, options.plate_radius_mm))
        return power_reading(float(path.stem), 0.1).reading

    monkeypatch.setattr("fringe.archive.views.watching.read", read)
    folder("9.5.jpg")
    words = ("watch", "incoming", "--surface", "shop/concave 1", *QUICK)
    answer = call(capsys, *words)
    assert asked == [("sodium", "concave", 3048.6)]
    assert "power +9.50 ± 0.10 fringes is proven outside ±2 fringes" in answer.out
    assert call(capsys, *words, "--json").json["verdict"]["state"] == "outside"
    line = refused(capsys, *words, "--diameter", "150mm")
    assert "--diameter: the surface's record says it already" in line


def test_one_that_cannot_be_opened_may_still_arrive(folder, capsys, monkeypatch):
    """A damaged file is tried again while it has not stood still for long, and then read."""
    monkeypatch.setattr("fringe.archive.views.watching.PATIENCE_S", PATIENCE_S)
    tries = []

    def arriving(path):
        tries.append(path.name)
        if len(tries) < 3:
            raise BadInput(f"{path.name}: is damaged or cut short")
        return path

    monkeypatch.setattr("fringe.archive.views.watching.load_photo", arriving)
    folder("1.5.jpg")
    answer = call(capsys, "watch", "incoming", "--lamp", "sodium", *QUICK)
    assert tries == ["1.5.jpg"] * 3
    assert "cut short" not in answer.out
    assert "+1.50 ± 0.10" in answer.out


def test_an_empty_folder(folder, capsys):
    """With --once and nothing to read it says so, as a success."""
    answer = call(capsys, "watch", "incoming", "--lamp", "sodium", *QUICK)
    assert answer.status == 0
    assert "no photograph is there" in answer.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("gone", "--lamp", "sodium"), "there is no such folder"),
        (("incoming",), "--lamp NAME"),
        (("incoming", "--lamp", "moon"), "no lamp named"),
        (("incoming", "--lamp", "sodium", "--edge", "1,2"), "is not an edge"),
    ],
)
def test_bad_words(folder, capsys, words, says):
    """A folder, lamp or edge that is none is refused before the watch begins."""
    assert says in refused(capsys, "watch", *words, *QUICK)


def test_large_letters_on_a_terminal(folder, capsys, monkeypatch):
    """On a terminal the power is drawn in large letters, in a file it is not."""
    folder("1.5.jpg")
    words = ("watch", "incoming", "--lamp", "sodium", *QUICK)
    assert "█" not in call(capsys, *words).out
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    assert "█" in call(capsys, *words).out


def test_ctrl_c_ends_it(tmp_path):
    """A watch that is interrupted says one line, leaves no trace of an error, and is a success."""
    (tmp_path / "incoming").mkdir()
    watch = subprocess.Popen(
        [FRINGE, "watch", "incoming", "--lamp", "sodium"],
        cwd=tmp_path,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert watch.stderr is not None
    assert watch.stderr.readline() == "watching incoming; Ctrl-C ends it\n"
    watch.send_signal(signal.SIGINT)
    out, err = watch.communicate(timeout=600)
    assert (watch.returncode, out, err) == (0, "", "stopped watching\n")


def test_a_real_photograph_that_arrives_slowly(tmp_path):
    """A photograph that is copied in two halves is read once, when it is whole, and rightly."""
    scene = ["--power", "4", "--tilt", "1", "--size", "400", "--edge", "200,200,170", "--seed", "5"]
    subprocess.run([FRINGE, "synth", "--out", "whole.png", *scene], cwd=tmp_path, check=True)
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    watch = subprocess.Popen(
        [
            FRINGE,
            "watch",
            "incoming",
            "--lamp",
            "sodium",
            "--edge",
            "200,200,170",
            "--sense",
            "centre",
            "--still",
            "0.2",
            "--json",
        ],
        cwd=tmp_path,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert watch.stdout is not None
    assert watch.stderr is not None
    try:
        assert watch.stderr.readline().startswith("watching")
        data = (tmp_path / "whole.png").read_bytes()
        (incoming / "half.png").write_bytes(data[: len(data) // 2])
        Image.new("L", (99, 99)).save(tmp_path / "small.png")
        shutil.copy(tmp_path / "small.png", incoming)  # its refusal says that both were seen
        first = json.loads(watch.stdout.readline())
        (incoming / "half.png").write_bytes(data)
        second = json.loads(watch.stdout.readline())
    finally:
        watch.send_signal(signal.SIGINT)
        rest, _ = watch.communicate(timeout=600)
    assert (Path(first["photo"]).name, "error" in first) == ("small.png", True)
    assert Path(second["photo"]).name == "half.png"
    assert second["power_fringes"] == pytest.approx(4.0, abs=max(0.1, second["power_u95_fringes"]))
    assert rest == ""
