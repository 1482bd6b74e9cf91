"""`fringe sense` as a person and a program call it; the reading of photographs is a stand-in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from made_orders import orders, reading

from calling import Answer, call, refused
from fringe.archive.store.read import open_session, session_files
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading
from sample_visits import FRINGES_ALONE, full_surface


class Bench:
    """What is seen in each photograph, and the options that it was read with."""

    def __init__(self) -> None:
        self.seen: dict[str, Reading] = {}
        self.told: dict[str, ReadOptions] = {}

    def read(self, path: Path, options: ReadOptions) -> Reading:
        """Read in place of the program."""
        self.told[path.name] = options
        return self.seen[path.name]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """Photographs `before.png` and `after.png` as tests lay them out."""
    bench = Bench()
    monkeypatch.setattr("fringe.orders.read_pair.load_photo", lambda path: path)
    monkeypatch.setattr("fringe.orders.read_pair.read", bench.read)
    return bench


def sense(capsys: pytest.CaptureFixture[str], *words: object) -> Answer:
    """Call the command in sodium light."""
    return call(capsys, "sense", "before.png", "after.png", "--lamp", "sodium", *words)


def test_a_press(
    bench: Bench, capsys: pytest.CaptureFixture[str], rng: np.random.Generator
) -> None:
    """Rings that run inward under a press make the power negative, with the radii that go with it.

    The second photograph is read over the edge of the first: the camera stood still.
    """
    bench.seen = {
        "before.png": reading(orders(-4.0, 0.3, 0.6), rng),
        "after.png": reading(orders(-4.0, 0.3, 0.4), rng),
    }
    words = ("--change", "pressed-centre", "--diameter", "100mm", "--plate-radius", "1m")
    told = sense(capsys, *words, "--json")
    assert (told.status, told.err) == (0, "")
    values = told.json
    assert (values["sense"], values["sense_source"], values["change"]) == (
        "edge",
        "press",
        "pressed-centre",
    )
    assert values["power_fringes"] == pytest.approx(-4.0, abs=0.05)
    assert values["radius_difference_mm"] > 0
    assert values["shift_fringes"] == pytest.approx(0.2, abs=0.05)
    assert values["after"]["power_fringes"] == pytest.approx(4.0, abs=0.05)
    assert bench.told["before.png"].edge == "auto"
    assert bench.told["after.png"].edge == bench.seen["before.png"].edge
    shown = sense(capsys, *words).out
    assert "Contact at the edge: the gap opens toward the centre (told by pressing)" in shown
    assert "the rings ran inward by" in shown
    assert "Power −" in shown


def test_a_lowered_eye(
    bench: Bench, capsys: pytest.CaptureFixture[str], rng: np.random.Generator
) -> None:
    """The edge of the second photograph is looked for anew, since the camera has moved."""
    true = orders(6.0, 0.0, 0.2)
    bench.seen = {
        "before.png": reading(true, rng),
        "after.png": reading(true * 0.95, rng, 0.95),
    }
    values = sense(capsys, "--change", "lower-eye", "--json").json
    assert (values["sense"], values["sense_source"]) == ("centre", "eye")
    assert bench.told["after.png"].edge == "auto"


def test_a_second_lamp_by_two_words(
    bench: Bench, capsys: pytest.CaptureFixture[str], rng: np.random.Generator
) -> None:
    """`--change lamp NAME2` takes the name of the second lamp, wherever it stands on the line."""
    true = orders(-4.0, 0.0, 0.2)
    bench.seen = {
        "before.png": reading(true, rng),
        "after.png": reading(true * 589.1942 / 546.0735, rng),
    }
    words = ("before.png", "after.png", "--lamp", "sodium", "--json")
    for line in (
        ("sense", *words, "--change", "lamp", "mercury-green"),
        ("sense", "--change", "lamp", "mercury-green", *words),
        ("sense", "--change", "lamp mercury-green", *words),
    ):
        values = call(capsys, *line).json
        assert (values["sense"], values["sense_source"]) == ("edge", "two-lamp")
        assert bench.told["after.png"].lamp.name == "mercury-green"


def test_what_does_not_tell_stays_unknown(
    bench: Bench, capsys: pytest.CaptureFixture[str], rng: np.random.Generator
) -> None:
    """Rings that stand still leave the sense unknown, with the reason, and that is no refusal."""
    bench.seen = dict.fromkeys(("before.png", "after.png"), reading(orders(4.0, 0.0, 0.5), rng))
    answer = sense(capsys, "--change", "pressed-centre")
    assert answer.status == 0
    assert "Sense unknown" in answer.out
    assert "hardly moved" in answer.out


@pytest.mark.parametrize(
    "change", ["wink", "lamp", "lamp moonshine", "lower-eye sodium", "pressed-centre lamp"]
)
def test_other_changes_are_refused(change: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A change that is none, or a lamp that is none, is refused in a line that lists them."""
    line = refused(capsys, "sense", "a.png", "b.png", "--lamp", "sodium", "--change", change)
    assert "lamp" in line


EDGE = ("--edge", "159.5,159.5,134.4")  # of a rendered work of 320 pixels


def test_a_logged_sense_test_keeps_both_photographs(tmp_path, monkeypatch, capsys):
    """`fringe log` by two photographs has the sense that they tell, and both as its evidence."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    scene = ("--power", "6", "--pair", "press", "--size", "320", "--seed", "7")
    call(capsys, "synth", "--out", "rings.png", *scene)
    words = ("log", "shop/concave 1", "rings-before.png", *EDGE)
    pair = ("--sense-after", "rings-after.png", "--change", "pressed-centre")
    told = call(capsys, *words, *pair, "--json").json
    assert (told["sense"], told["readings"][0]["sense_source"]) == ("centre", "press")
    assert told["power_fringes"] == pytest.approx(6, abs=0.2)
    assert told["assumed"][-1].startswith("sense test: ")
    session = open_session(session_files(surface.folder)[0])
    assert [one.file_name for one in session.visit.photographs] == [
        "rings-before.png",
        "rings-after.png",
    ]
    kept = session.visit.inputs["sense_test"]
    assert (kept["after"], kept["change"], kept["sense"]) == (2, "pressed-centre", "centre")
    assert call(capsys, "check", "shop").status == 0
    assert call(capsys, "reread", "shop/concave 1", "--json").json["changes"] == []


def test_a_sense_test_that_is_added_later(tmp_path, monkeypatch, capsys):
    """A correction brings the second photograph; the first is the kept one, read as it was."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    scene = ("--power", "6", "--pair", "press", "--size", "320", "--seed", "7")
    call(capsys, "synth", "--out", "rings.png", *scene)
    first = call(capsys, "log", "shop/concave 1", "rings-before.png", *EDGE, "--json").json
    assert first["sense"] == "unknown"
    (tmp_path / "rings-before.png").unlink()
    pair = ("--sense-after", "rings-after.png", "--change", "pressed-centre")
    told = call(capsys, "log", "shop/concave 1", "--replaces", "1", *pair, "--json").json
    assert (told["visit"], told["sense"]) == (1, "centre")
    assert told["readings"][0]["sense_source"] == "press"
    assert told["power_fringes"] == pytest.approx(abs(first["power_fringes"]), abs=0.01)
    kept = open_session(session_files(surface.folder)[1]).visit
    assert [one.file_name for one in kept.photographs] == ["rings-before.png", "rings-after.png"]
    assert (kept.inputs["sense_test"]["after"], kept.inputs["sense_test"]["sense"]) == (2, "centre")
    assert call(capsys, "check", "shop").status == 0
    call(capsys, "log", "shop/concave 1", "--by-eye", "rings 3")
    line = refused(capsys, "log", "shop/concave 1", "--replaces", "2", *pair)
    assert "the visit must keep one reading of one photograph" in line


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--sense-after", "b.png"), "--sense-after: say what was done in between"),
        (("--change", "lower-eye"), "--change: give the photograph after it as well"),
        (
            ("--sense-after", "b.png", "--change", "lower-eye", "--sense", "edge"),
            "--sense-after tells the sense itself; leave --sense out",
        ),
        (
            ("b.png", "--sense-after", "b.png", "--change", "lower-eye"),
            "--sense-after: goes with the one PHOTO that was taken before it",
        ),
    ],
)
def test_sense_tests_that_do_not_go_together(tmp_path, monkeypatch, capsys, words, message):
    """What is missing, or said twice, is one line; nothing is kept."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    for name in ("a.png", "b.png"):
        (tmp_path / name).write_bytes(name.encode())
    told = call(capsys, "log", "shop/concave 1", "a.png", *words)
    assert (told.status, message in told.err) == (2, True), told.err
    assert session_files(surface.folder) == []
