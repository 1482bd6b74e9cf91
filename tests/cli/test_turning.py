"""`fringe turning`: the work's form and the plate's, from photographs with the work turned."""

from __future__ import annotations

import cmath
import math
import shutil

import pytest

from calling import call
from fringe.archive.plate_maps import read_map

EDGE = ("--edge", "149.5,149.5,126")  # of photographs of 300 pixels


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """A work with 0.4 fringes of astigmatism on a perfect plate, at 0 and at 90 degrees."""
    from fringe.cli import main

    folder = tmp_path_factory.mktemp("turning")
    for angle in (0, 90):
        with pytest.raises(SystemExit) as stopped:
            main(
                f"synth --out {folder}/t{angle}.png --power 6 --tilt 1 --astigmatism 0.4 "
                f"--angle {angle} --size 300 --seed {angle + 1}".split()
            )
        assert not stopped.value.code
    return [folder / "t0.png", folder / "t90.png"]


def test_the_work_is_told_from_the_plate(photos, capsys):
    """Astigmatism that turns with the work is the work's; the plate is left without any."""
    words = ("turning", *photos, "--turned", "0deg", "--turned", "90°", "--lamp", "sodium", *EDGE)
    values = call(capsys, *words, "--sense", "centre", "--json").json
    work, plate = values["work"], values["plate"]
    assert abs(work["astigmatism_fringes"] - 0.4) <= work["astigmatism_u95_fringes"] < 0.1
    assert plate["astigmatism_fringes"] <= plate["astigmatism_u95_fringes"] < 0.1
    assert values["undetermined_frequencies"] == [4, 8]
    assert values["agrees"] is True
    text = call(capsys, *words, "--sense", "centre").out
    assert "2 positions of the work, at 589.2 nm" in text
    assert "waves of 4, 8 a turn stay undetermined" in text


def test_the_plate_may_be_turned(photos, capsys):
    """Where the plate was turned, astigmatism that turned with it is the plate's."""
    words = ("turning", *photos, "--lamp", "sodium", "--sense", "centre", *EDGE)
    assert "say by how much the work was turned" in call(capsys, *words).err
    values = call(capsys, *words, "--plate-turned", "0", "--plate-turned", "90", "--json").json
    work, plate = values["work"], values["plate"]
    assert abs(plate["astigmatism_fringes"] - 0.4) <= plate["astigmatism_u95_fringes"] < 0.1
    assert work["astigmatism_fringes"] <= work["astigmatism_u95_fringes"] < 0.1
    assert [one["plate_turned_deg"] for one in values["photographs"]] == [0, 90]
    assert [one["turned_deg"] for one in values["photographs"]] == [0, 0]


def test_an_angle_a_photograph(photos, capsys):
    """Without one angle a photograph nothing is read; the line says how to write them."""
    told = call(capsys, "turning", *photos, "--turned", "0deg", "--lamp", "sodium")
    assert (told.status, told.out) == (2, "")
    assert "--turned: 1 angles for 2 photographs; give one each" in told.err
    assert told.err.count("\n") == 1


PLATE, WORK = 0.3, 0.4  # astigmatism of the plate along 0 degrees, of the work along 20 [fringe]


@pytest.fixture(scope="module")
def on_a_bent_plate(tmp_path_factory):
    """A bent work on a bent plate at 0 and 90 degrees, and a round work on that plate."""
    from fringe.cli import main

    folder = tmp_path_factory.mktemp("bent")
    for name, work, angle in (("t0", WORK, 20), ("t90", WORK, 110), ("later", 0.0, 0)):
        # astigmatism along an angle adds up as a vector of twice that angle
        both = PLATE + work * cmath.exp(2j * math.radians(angle))
        direction = math.degrees(cmath.phase(both)) / 2
        with pytest.raises(SystemExit) as stopped:
            main(
                f"synth --out {folder}/{name}.png --power 6 --tilt 1 --astigmatism {abs(both)} "
                f"--angle {direction} --size 300 --seed {angle + 5} --diameter 100mm".split()
            )
        assert not stopped.value.code
    return folder


def test_a_plate_is_kept_and_taken_out(on_a_bent_plate, tmp_path, capsys):
    """A plate's map is kept with its record, told of, and taken out where the plate is marked.

    Astigmatism of the plate, 0.3 fringes, is what a round work shows on it until it is taken out
    (analytic); a second map leaves the first as it is.
    """
    folder, archive = on_a_bent_plate, tmp_path / "shop"
    call(capsys, "instrument", "add", "plate", archive, "no 7", "--form", "concave",
         "--radius", "1m")  # fmt: skip
    call(capsys, "surface", "add", archive, "convex", "--form", "convex", "--radius", "1m",
         "--diameter", "100mm", "--plate", "no 7", "--lamp", "sodium")  # fmt: skip
    words = ("turning", folder / "t0.png", folder / "t90.png", "--turned", "0", "--turned", "90",
             "--surface", f"{archive}/convex", "--sense", "centre", "--keep",
             f"{archive}/no 7", "--picture", tmp_path / "maps.png", *EDGE)  # fmt: skip
    first = call(capsys, *words, "--json").json
    assert (
        abs(first["plate"]["astigmatism_fringes"] - PLATE)
        <= (first["plate"]["astigmatism_u95_fringes"])
    )
    assert (tmp_path / "maps.png").read_bytes().startswith(b"\x89PNG")
    before = read_map(tmp_path / first["kept"])
    assert f"kept in {archive}" in call(capsys, *words).out
    assert read_map(tmp_path / first["kept"]) == before
    shown = call(capsys, "instrument", "show", archive, "plate", "no 7")
    assert "map of its form" in shown.out
    assert shown.out.count("0002.toml") == 1
    assert call(capsys, "check", archive, "--json").json["problems"] == []

    later = ("log", f"{archive}/convex", folder / "later.png", "--sense", "centre", *EDGE)
    assert call(capsys, *later).status == 0
    # the same photograph once more, to compare: that is asked about
    assert call(capsys, *later, "--plate-turned", "0deg", "--yes").status == 0
    marked, plain = (astigmatism(archive / "convex", visit) for visit in (2, 1))
    assert abs(plain[0] - PLATE) <= plain[1]
    assert "its form was not taken out" in plain[2]
    assert marked[0] <= marked[1] < 0.1
    assert "no 7: its form was taken out, by its map of" in marked[2]
    results = call(capsys, "budget", archive / "convex", "--json").json["results"]
    form = next(one for one in results if one["name"] == "irregularity")
    (of_map,) = (one for one in form["rows"] if one["input"] == "plate map")
    assert 0.05 < of_map["share"] < 1
    again = call(capsys, "reread", f"{archive}/convex", "--json").json
    assert (again["changes"], again["left_out"]) == ([], [])


def astigmatism(folder, visit):
    """Astigmatism of a visit's reading, its 95 % half-width, and its remarks."""
    from fringe.archive.store.read import open_session

    one = open_session(sorted(folder.glob("0*.h5"))[visit - 1]).visit.readings[0].reading
    return one.astigmatism_fringes, one.astigmatism_u95_fringes, " ".join(one.quality.warnings)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--keep", "{archive}/no 8"), "no plate named 'no 8'"),
        (("--keep", "{archive}/no 7"), "--keep: give the diameter"),
    ],
)
def test_nothing_is_kept_without_plate_or_diameter(more, message, photos, tmp_path, capsys):
    """A plate without a record, or a map without a diameter, is one line before any reading."""
    call(capsys, "instrument", "add", "plate", tmp_path, "no 7", "--form", "concave",
         "--radius", "1m")  # fmt: skip
    words = [word.format(archive=tmp_path) for word in more]
    told = call(capsys, "turning", *photos, "--turned", "0", "--turned", "90", "--lamp",
                "sodium", *words)  # fmt: skip
    assert (told.status, told.out) == (2, "")
    assert message in told.err
    assert told.err.count("\n") == 1
    assert not (tmp_path / "instruments" / "plate" / "no 7-maps").exists()


def test_a_damaged_map_is_found(on_a_bent_plate, tmp_path, capsys):
    """`fringe check` names a map that was changed, and a plate without a map cannot be turned."""
    call(capsys, "instrument", "add", "plate", tmp_path, "no 7", "--form", "concave",
         "--radius", "1m")  # fmt: skip
    call(capsys, "surface", "add", tmp_path, "convex", "--form", "convex", "--radius", "1m",
         "--diameter", "100mm", "--plate", "no 7", "--lamp", "sodium")  # fmt: skip
    shutil.copy(on_a_bent_plate / "later.png", tmp_path / "later.png")
    told = call(capsys, "log", f"{tmp_path}/convex", tmp_path / "later.png", "--plate-turned", "0")
    assert told.status == 2
    assert "--plate-turned: no 7 has no map in this archive" in told.err
    (record,) = (tmp_path / "instruments" / "plate").glob("*.toml")
    damaged = record.with_name(f"{record.stem}-maps") / "0001.toml"
    damaged.parent.mkdir()
    damaged.write_text('plate = "no 7"\n')
    problems = call(capsys, "check", tmp_path, "--json").json["problems"]
    assert problems == [f"{damaged}: a plate's map has no when"]
