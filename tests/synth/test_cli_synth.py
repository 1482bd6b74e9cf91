"""`fringe synth` as a person and a program call it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from fringe.cli import main

SMALL = ("--size", "160x120")


def run(capsys, *words):
    """Run the command line; return exit status, standard output and standard error."""
    with pytest.raises(SystemExit) as stop:
        main(["synth", *map(str, words)])
    out, err = capsys.readouterr()
    return int(stop.value.code or 0), out, err


def test_photograph_and_truth_are_written(tmp_path, capsys):
    """The command writes a photograph of the size asked for and its truth, and says both."""
    path = tmp_path / "a.jpg"
    code, out, err = run(capsys, "--out", path, *SMALL, "--power", 2, "--tilt", 1, "--seed", 3)
    assert (code, err) == (0, "")
    assert f"wrote {path}" in out
    assert "power +2.000 fringes at 589.2 nm: contact at the centre" in out
    assert "seed 3" in out
    with Image.open(path) as picture:
        assert picture.size == (160, 120)
    told = json.loads((tmp_path / "a.json").read_text())
    assert told["power_fringes"] == pytest.approx(2.0, abs=1e-5)


def test_json_is_the_truth_and_nothing_else(tmp_path, capsys):
    """With --json standard output is one object: the truth, and where the photograph is."""
    path = tmp_path / "a.png"
    code, out, _ = run(capsys, "--out", path, *SMALL, "--json", "--seed", 3)
    told = json.loads(out)
    assert code == 0
    assert told.pop("photo") == str(path)
    assert told == json.loads((tmp_path / "a.json").read_text())


def test_seed_repeats_the_picture_and_a_new_one_is_told(tmp_path, capsys):
    """The seed that a run printed gives the same samples again."""
    code, out, _ = run(capsys, "--out", tmp_path / "a.png", "--family", "dirty", *SMALL, "--json")
    assert code == 0
    seed = json.loads(out)["seed"]
    run(capsys, "--out", tmp_path / "b.png", "--family", "dirty", *SMALL, "--seed", seed)
    first, second = (np.asarray(Image.open(tmp_path / name)) for name in ("a.png", "b.png"))
    assert np.array_equal(first, second)


def test_options_reach_the_truth(tmp_path, capsys):
    """Every quantity that is asked for stands in the truth."""
    code, out, _ = run(
        capsys,
        "--out",
        tmp_path / "a.tif",
        *SMALL,
        "--json",
        "--sense",
        "edge",
        "--power",
        -2,
        "--astigmatism",
        0.4,
        "--coma",
        0.3,
        "--spherical",
        0.2,
        "--trefoil",
        0.1,
        "--angle",
        40,
        "--turned-edge",
        0,
        "--lamp",
        "mercury-green",
        "--diameter",
        "100mm",
        "--view-angle",
        10,
        "--camera-distance",
        "400mm",
        "--plate-radius",
        "2m",
        "--bits",
        16,
        "--min-gap",
        "0.2um",
        "--contrast",
        0.5,
        "--uneven",
        2,
        "--dust",
        3,
        "--graticule",
        "--noise",
        0.5,
    )
    told = json.loads(out)
    assert code == 0
    assert told["power_fringes"] == pytest.approx(-2, abs=1e-3)
    assert told["sense"] == "edge"
    assert told["astigmatism_fringes"] == pytest.approx(0.4, abs=1e-3)
    assert told["symmetric_irregularity_fringes"] == pytest.approx(0.2, abs=5e-3)
    assert told["wavelength_nm"] == 546.0735
    assert told["edge"]["b"] / told["edge"]["a"] == pytest.approx(np.cos(np.deg2rad(10)))
    assert told["scene"]["form"]["min_gap_nm"] == pytest.approx(200)
    assert told["scene"]["bench"]["contrast"] == 0.5
    assert told["radius_difference_mm"] is not None


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--power", 3, "--sense", "edge"), "contact"),
        (("--power", 400), "cycles a pixel"),
        (("--power", "inf"), "finite"),
        (("--contrast", 2), "contrast"),
        (("--lamp", "sun"), "no lamp named"),
        (("--size", "big"), "size"),
        (("--edge", "1,2"), "CX,CY,R"),
        (("--family", "nice"), "family"),
        (("--diameter", "100"), "unit"),
        (("--camera-distance", "1m"), "diameter"),
        (("--bits", 16), "8 bits"),
        (("--pressed", 0.1, "--power", -2), "pressed"),
        (("--dust", -1), "dust"),
        (("--frames", 1), "frames"),
        (("--pair", "wink"), "pair"),
        (("--pair", "eye", "--frames", 3), "one of them"),
    ],
)
def test_wrong_values_are_one_line_and_write_nothing(tmp_path, capsys, words, reason):
    """A wrong value ends with status 2, one line that says what is wrong, and no file."""
    size = () if "--size" in words else SMALL
    code, out, err = run(capsys, "--out", tmp_path / "a.jpg", *size, *words, "--json")
    assert code == 2
    assert err.startswith("fringe: ")
    assert err.count("\n") == 1
    assert reason in err
    assert json.loads(out) == {"error": err.removeprefix("fringe: ").rstrip("\n")}
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten_without_force(tmp_path, capsys):
    """An existing photograph stays as it is unless --force is given."""
    path = tmp_path / "a.jpg"
    path.write_bytes(b"mine")
    code, _, err = run(capsys, "--out", path, *SMALL)
    assert code == 2
    assert "--force" in err
    assert path.read_bytes() == b"mine"
    code, _, _ = run(capsys, "--out", path, *SMALL, "--force")
    assert code == 0
    assert path.read_bytes()[:2] == b"\xff\xd8"


def test_bursts_and_pairs_are_written_under_endings(tmp_path, capsys):
    """--frames writes numbered pictures, --pair one before and one after, each with its truth."""
    code, out, _ = run(capsys, "--out", tmp_path / "a.png", *SMALL, "--frames", 3, "--json")
    assert code == 0
    frames = json.loads(out)["frames"]
    assert [frame["photo"] for frame in frames] == [str(tmp_path / f"a-{n}.png") for n in (1, 2, 3)]
    assert [frame["frame"]["number"] for frame in frames] == [0, 1, 2]
    code, out, _ = run(capsys, "--out", tmp_path / "b.png", *SMALL, "--pair", "lamp")
    assert code == 0
    assert out.count("wrote ") == 2
    before, after = (
        json.loads((tmp_path / f"b-{w}.json").read_text()) for w in ("before", "after")
    )
    assert before["wavelength_nm"] == pytest.approx(589.194, abs=1e-3)
    assert abs(after["wavelength_nm"] - before["wavelength_nm"]) > 10  # drawn from several lamps
    names = {path.name for path in tmp_path.iterdir()}
    assert {"a-1.png", "a-3.json", "b-after.png"} <= names
    assert "a.png" not in names


def test_a_burst_overwrites_nothing(tmp_path, capsys):
    """When one name of a series is taken, none of it is written."""
    (tmp_path / "a-2.jpg").write_bytes(b"mine")
    code, _, err = run(capsys, "--out", tmp_path / "a.jpg", *SMALL, "--frames", 3)
    assert code == 2
    assert "a-2.jpg" in err
    assert [path.name for path in tmp_path.iterdir()] == ["a-2.jpg"]
