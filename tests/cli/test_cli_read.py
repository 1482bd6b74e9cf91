"""`fringe read` as a person and a program call it; the reading of photographs is a stand-in."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calling import Answer, call, refused
from fringe.errors import BadInput, Refused
from sample_visits import power_reading


@pytest.fixture
def photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Photographs of the working folder, whose names say the power that is read there."""
    monkeypatch.chdir(tmp_path)

    def load(path: Path, *, keep_samples: bool = False) -> Path:
        if path.name.startswith("cut"):
            raise BadInput(f"{path.name}: is damaged or cut short")
        return path

    def read(path: Path, options: object) -> object:
        if path.name.startswith("blank"):
            raise Refused("no fringes found inside the edge")
        return power_reading(float(path.stem), 0.1).reading

    monkeypatch.setattr("fringe.photo.load.load_photo", load)
    monkeypatch.setattr("fringe.orders.read.read", read)
    return tmp_path


def read(capsys: pytest.CaptureFixture[str], *words: object) -> Answer:
    """Read in this process, where the stand-in is."""
    return call(capsys, "read", *words, "--lamp", "sodium", "--workers", "1")


def test_one_photograph_is_one_object(photos: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One photograph gives the keys of a reading, and no list."""
    values = read(capsys, "1.5.jpg", "--json").json
    assert values["power_fringes"] == 1.5
    assert not {"readings", "photo"} & values.keys()


def test_several_photographs_are_a_list(photos: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Several give `readings` in the order given, each with its `photo` and a reading's keys."""
    answer = read(capsys, "2.5.jpg", "1.5.jpg", "--json")
    assert (answer.status, answer.err) == (0, "")
    assert answer.json.keys() == {"readings"}
    told = answer.json["readings"]
    assert [(one["photo"], one["power_fringes"]) for one in told] == [
        ("2.5.jpg", 2.5),
        ("1.5.jpg", 1.5),
    ]
    alone = read(capsys, "1.5.jpg", "--json").json
    assert alone.items() <= told[1].items()


def test_what_is_refused_is_named_beside_the_rest(
    photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A refused and a damaged file each stand with `photo` and `error`; status 2, rest read."""
    answer = read(capsys, "blank.jpg", "1.5.jpg", "cut.jpg", "--json")
    assert answer.status == 2
    first, second, third = json.loads(answer.out)["readings"]
    assert first == {
        "photo": "blank.jpg",
        "error": "blank.jpg: no fringes found inside the edge",
    }
    assert second["power_fringes"] == 1.5
    assert third.keys() == {"photo", "error"}
    assert answer.err.splitlines() == [f"fringe: {one['error']}" for one in (first, third)]


def test_several_photographs_as_a_table(photos: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On the screen each photograph has its row; what is refused goes to standard error."""
    answer = read(capsys, "1.5.jpg", "blank.jpg", "2.5.jpg")
    assert answer.status == 2
    rows = {line.split()[0]: line for line in answer.out.splitlines() if ".jpg" in line}
    assert "+1.50 ± 0.10" in rows["1.5.jpg"]
    assert "+2.50 ± 0.10" in rows["2.5.jpg"]
    assert "blank.jpg" not in rows
    assert answer.err.count("\n") == 1


def test_nothing_to_read(photos: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No photograph, or one picture for two photographs, is refused in a line."""
    assert "photograph" in refused(capsys, "read", "--lamp", "sodium")
    assert "--picture" in refused(
        capsys, "read", "1.5.jpg", "2.5.jpg", "--lamp", "sodium", "--picture", "o.png"
    )


def test_by_eye(capsys: pytest.CaptureFixture[str]) -> None:
    """What was seen by eye has the keys of a reading of a photograph, and needs none."""
    words = ("--lamp", "sodium", "--diameter", "150mm", "--plate-radius", "3048mm")
    told = call(capsys, "read", "--by-eye", "rings 3.5 centre", *words, "--json").json
    assert told.keys() == power_reading(3.5).reading.to_json().keys()
    assert (told["power_fringes"], told["sense"]) == (3.5, "centre")
    assert told["radius_difference_mm"] < 0
    shown = call(capsys, "read", "--by-eye", "rings 3.5 centre", *words)
    assert shown.out.startswith("by eye: rings 3.5 centre  589.2 nm\n  +3.50 ± 0.28 fringes")


@pytest.mark.parametrize(
    "words",
    [
        ("a.jpg",),
        ("--edge", "5,5,4"),
        ("--picture", "o.png"),
        ("--scale", "3"),
        ("--camera-distance", "1m"),
    ],
)
def test_by_eye_has_no_photograph(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """A photograph, or what is said of one, beside --by-eye is refused in a line."""
    line = refused(capsys, "read", *words, "--by-eye", "rings 2", "--lamp", "sodium")
    assert "photograph" in line
