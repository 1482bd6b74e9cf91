"""`fringe sense` as a person and a program call it; the reading of photographs is a stand-in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from made_orders import orders, reading

from calling import Answer, call, refused
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading


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
