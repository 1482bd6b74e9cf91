"""`fringe settle` as a person and a program call it; the reading itself is a stand-in here."""

from __future__ import annotations

import math
import os

import pytest
from PIL import Image

from calling import call, refused
from fringe.errors import Refused
from fringe.judge.tolerance.verdict import Tolerance
from fringe.orders.reading import Quality, Reading
from sample_visits import full_surface

MINUTES = (0, 8, 16, 25, 35, 45, 60)
# by eye, to a tenth of a ring: 3.3 + 3.2 exp(-t / 20 min), contact at the edge
EYE_MINUTES = (0, 20, 40, 80)
SEEN = tuple(
    word
    for minute in EYE_MINUTES
    for word in ("--by-eye", f"rings {3.3 + 3.2 * math.exp(-minute / 20):.1f} edge")
)


def fake_reading(power):
    """A reading of power alone, contact at the edge."""
    return Reading(
        589.29,
        Quality(0.8, 0.9, 0.1),
        power_fringes=power,
        power_u95_fringes=0.05,
        sense="edge",
        power_u_parts={"fit": 0.005, "edge": 0.02},
    )


@pytest.fixture
def photos(tmp_path, monkeypatch):
    """Files named by their minute, whose power settles toward -2.2 in 22 minutes."""

    def stand_in(paths, reader):
        stand_in.options = reader.keywords["options"]
        return tuple(
            Refused(f"{path.name}: no fringes")
            if path.stem == "t99"
            else fake_reading(-2.2 - 1.2 * math.exp(-float(path.stem[1:]) / 22))
            for path in paths
        )

    monkeypatch.setattr("fringe.archive.views.settling.read_many", stand_in)
    folder = tmp_path / "photos"
    folder.mkdir()
    for minute in MINUTES:
        path = folder / f"t{minute:02d}.png"
        path.write_bytes(b"a picture")
        os.utime(path, (1.7e9 + 60 * minute,) * 2)
    (folder / "notes.txt").write_text("not a photograph")
    stand_in.folder = folder
    return stand_in


def paths(photos, count=7):
    """The first photographs."""
    return [photos.folder / f"t{minute:02d}.png" for minute in MINUTES[:count]]


def test_a_folder(photos, capsys):
    """A folder's photographs by the files' times: settled, with power, time constant and limit."""
    told = call(capsys, "settle", photos.folder, "--lamp", "sodium", "--tolerance-power", "4")
    assert (told.status, told.err) == (0, "")
    rows = {line[2:21].strip(): line[21:] for line in told.out.splitlines() if line[:2] == "  "}
    assert told.out.startswith("Settled: power −2.20 ± 0.")
    assert rows["photographs"] == "7 over 60 min, by the files' times"
    assert rows["time constant"].startswith("22")
    assert rows["wait"] == "no longer: less than 0.4 fringes are to come"
    assert photos.options.lamp.name == "sodium"


def test_json(photos, capsys):
    """JSON has the end, what is left, how long to wait, and each reading with its minute."""
    words = (
        "settle",
        *paths(photos, 4),
        "--lamp",
        "sodium",
        "--times",
        "0,8,16,25",
        "--tolerance-power",
        "1",
        "--json",
    )
    values = call(capsys, *words).json
    assert values["settled_power_fringes"]["value"] == pytest.approx(-2.2, abs=0.01)
    assert values["time_constant_min"]["value"] == pytest.approx(22, rel=0.02)
    left = 1.2 * math.exp(-25 / 22)
    assert values["remaining_fringes"]["value"] == pytest.approx(-left, rel=0.02)
    assert values["wait_min"] == pytest.approx(22 * math.log(left / 0.1), rel=0.02)
    assert (values["state"], values["action"], values["clock"]) == ("settling", "wait", "given")
    assert [one["minutes"] for one in values["readings"]] == [0, 8, 16, 25]


def test_the_answer_when_it_drifts(photos, capsys):
    """While it drifts the first line says to wait, and for how long.

    Analytic: 22 min times ln(0.385 / 0.2).
    """
    told = call(capsys, "settle", *paths(photos, 4), "--lamp", "sodium", "--tolerance-power", "2")
    assert told.out.startswith("Wait about 14 min: settling toward −2.2")
    assert "until less than 0.2 fringes are to come" in " ".join(told.out.split())


def test_a_surface_on_record(photos, tmp_path, capsys, monkeypatch):
    """Plate, lamp, tolerance and glass are those of the surface's record."""
    monkeypatch.chdir(tmp_path)
    full_surface(tmp_path / "shop", tolerance=Tolerance(2.0, wavelength_nm=546.07))
    values = call(
        capsys,
        "settle",
        photos.folder,
        "--surface",
        "shop/concave 1",
        "--thickness",
        "25mm",
        "--json",
    ).json
    assert values["limit_fringes"] == pytest.approx(0.2 * 546.07 / 589.29)
    assert values["thermal"]["bending_fringes_k"] == pytest.approx(
        3.25e-6 * 150**2 / 200 * 2e6 / 589.29
    )
    assert photos.options.plate_radius_mm == 3048.6
    assert photos.options.work == "concave"


def test_temperature(photos, capsys):
    """With glass and thickness the drift is told in kelvin, beside the glass's own times."""
    told = call(
        capsys,
        "settle",
        photos.folder,
        "--lamp",
        "sodium",
        "--diameter",
        "150mm",
        "--glass",
        "borosilicate",
        "--thickness",
        "25mm",
    )
    assert "1.2 fringes/K, 1.6 min at least, about 2.3 h in air; what is left is 0.06" in told.out


def test_a_picture(photos, tmp_path, capsys):
    """--picture draws it as PNG."""
    told = call(
        capsys, "settle", photos.folder, "--lamp", "sodium", "--picture", tmp_path / "s.png"
    )
    assert told.status == 0
    with Image.open(tmp_path / "s.png") as image:
        assert image.format == "PNG"


def test_refused_photographs_are_left_out(photos, capsys):
    """A photograph that cannot be read is left out and named, while three are left."""
    (photos.folder / "t99.png").write_bytes(b"blank")
    times = "0,8,16,25,35,45,60,99"
    told = call(capsys, "settle", photos.folder, "--lamp", "sodium", "--times", times)
    assert told.status == 0
    assert "! t99.png: no fringes" in told.out
    assert "7 over 60 min" in told.out
    words = (*paths(photos, 2), photos.folder / "t99.png", "--lamp", "sodium", "--times", "0,8,99")
    assert "only 2 of 3 could be read: t99.png: no fringes" in refused(capsys, "settle", *words)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("@", "--times", "0,1"), "2 times for 7 photographs"),
        (("@", "--times", "0,1,2,3,4,5,x"), "not a number"),
        (("@", "--times", "1,1,1,1,1,1,1"), "are too few for a curve"),
        (("@", "--share", "0"), "--share"),
        (("@", "--tolerance-power", "-1"), "greater than zero"),
        (("@", "--glass", "borosilicate"), "needs --thickness"),
        (("@", "--glass", "jelly", "--thickness", "1mm", "--diameter", "9mm"), "no glass named"),
        (("@", "--picture", "s.svg"), "must end in .png"),
        (("one.png",), "1 photographs are too few for a curve"),
        ((), "give three photographs or more, or what was seen with --by-eye"),
        (("@", *SEEN), "photographs and --by-eye at once"),
        (SEEN, "--by-eye has no clock: give --times"),
        ((*SEEN[:4], "--times", "0,9"), "2 readings by eye are too few for a curve"),
        ((*SEEN, "--times", "0,9"), "2 times for 4 readings by eye"),
        ((*SEEN[:-1], "much", "--times", "0,20,40,80"), "cannot read 'much'"),
        ((*SEEN, "--times", "0,20,40,80", "--edge", "9,9,9"), "--edge belongs to a photograph"),
    ],
)
def test_one_line_of_refusal(photos, capsys, words, message):
    """What cannot be gets one clear line."""
    typed = [photos.folder if word == "@" else word for word in words]
    assert message in refused(capsys, "settle", *typed, "--lamp", "sodium")


def test_no_times_no_lamp(photos, capsys):
    """Files of one time, or no lamp, are asked about."""
    for path in paths(photos):
        os.utime(path, (1e9, 1e9))
    assert "give --times" in refused(capsys, "settle", photos.folder, "--lamp", "sodium")
    assert "give the lamp" in refused(
        capsys, "settle", photos.folder, "--times", "0,8,16,25,35,45,60"
    )


def by_eye(capsys, *words):
    """The answer to what was seen by eye at its minutes."""
    return call(capsys, "settle", *SEEN, "--times", "0,20,40,80", "--lamp", "sodium", *words)


def test_readings_by_eye(tmp_path, capsys):
    """Rings by eye lead to their end, 3.3 contact at the edge (analytic), and are drawn."""
    told = by_eye(capsys, "--tolerance-power", "6", "--picture", tmp_path / "s.png")
    assert (told.status, told.err) == (0, "")
    assert "  by eye             4 over 80 min, as given" in told.out
    assert "  last power         −3.4 fringes at 589.2 nm" in told.out
    with Image.open(tmp_path / "s.png") as image:
        assert image.format == "PNG"
    values = by_eye(capsys, "--json").json
    end = values["settled_power_fringes"]
    assert end["value"] == pytest.approx(-3.3, abs=0.15)
    assert end["low"] < -3.3 < end["high"]


def test_json_by_eye(photos, capsys):
    """JSON of readings by eye has the keys of photographs', `by_eye` in place of `photo`.

    Analytic: a quarter of a ring at 95 %, and the eye's angle, 1.97 % of what was seen.
    """
    seen = by_eye(capsys, "--json").json
    shot = call(capsys, "settle", photos.folder, "--lamp", "sodium", "--json").json
    assert list(seen) == list(shot)
    assert seen["clock"] == "given"
    first = seen["readings"][0]
    keys = ["by_eye" if key == "photo" else key for key in shot["readings"][0]]
    assert list(first) == keys
    assert first["by_eye"] == "rings 6.5 edge"
    assert (first["minutes"], first["power_fringes"]) == (0, -6.5)
    expected = math.hypot(0.25 / 1.96, 0.01967 * 6.5)
    assert first["u_fringes"] == pytest.approx(expected, rel=0.002)


def test_readings_too_near_in_time(photos, capsys):
    """Photographs seconds apart are said to be too near each other; no interval is shown."""
    for limit in ((), ("--tolerance-power", "2")):
        told = call(
            capsys, "settle", *paths(photos, 3), "--lamp", "sodium", "--times", "0,0.1,0.2", *limit
        )
        assert told.out.startswith("Wait: where it will end is not in view yet, the readings lie")
        assert "±" not in told.out
        assert "still to come" not in told.out
