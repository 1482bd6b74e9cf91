"""Records of instruments: written whole, read back, mended by hand, refused where wrong."""

from __future__ import annotations

import shutil
import tomllib

import pytest

from fringe.archive.instruments import (
    FIELDS,
    add_instrument,
    find_lamp,
    instrument_record,
    lamp_from_record,
    list_instruments,
    load_instrument,
    spherometer_from_record,
)
from fringe.archive.store.ledger import read_ledger
from fringe.archive.store.surface import Plate, Surface, add_surface, list_surfaces
from fringe.archive.transfer.check import check_archive
from fringe.archive.views.reading_options import stated_options
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions

PLATE = {
    "form": "concave",
    "radius_mm": 3048.0,
    "u_radius_mm": 0.3,
    "how_known": "bench, 2026",
    "diameter_mm": 160.0,
    "thickness_mm": 25.4,
    "glass": "borosilicate",
    "back": "flat",
    "u_form_nm": 15.0,
    "sphericity": 'grating lines straight, "no hook" at the rim',
    "note": "Ø 160, kept at 20 °C",
}
BALLS = {
    "foot_circle_mm": 140.0,
    "ball_diameter_mm": 6.35,
    "u_size_mm": 0.02,
    "u_ball_diameter_mm": 0.001,
    "u_reading_um": 0.5,
}
CAMERA = {"distance_mm": 900.0, "u_distance_mm": 5.0, "scale_px_per_mm": 12.0}
LAMP = {
    "lines": [
        {"wavelength_nm": 546.07, "weight": 1.0, "fwhm_nm": 10.0},
        {"wavelength_nm": 577.0, "weight": 0.2},
    ],
    "u_wavelength_nm": 0.5,
    "source": "label of the filter",
}
ALL = {"plate": PLATE, "spherometer": BALLS, "camera": CAMERA, "lamp": LAMP}


@pytest.mark.parametrize("kind", ALL)
@pytest.mark.parametrize("name", ["seven", "plate 7", "Glas № 7/α", "../../escape", "con"])
def test_written_and_read_back(kind, name, tmp_path):
    """Whatever it is called, a record comes back as it was, from inside the archive."""
    made = add_instrument(tmp_path, kind, name, ALL[kind])
    assert made.path.is_relative_to(tmp_path / "instruments" / kind)
    assert ".." not in made.path.parts
    assert load_instrument(tmp_path, kind, name).values == ALL[kind]
    assert instrument_record(tmp_path, kind, name) == {
        "kind": kind,
        "name": name,
        "added": made.added,
        **ALL[kind],
    }


def test_plain_to_read(tmp_path):
    """A record is TOML that needs no fringe to be read."""
    made = add_instrument(tmp_path, "plate", "plate 7", PLATE)
    text = made.path.read_text("utf-8")
    assert "radius_mm = 3048.0\n" in text
    assert tomllib.loads(text)["sphericity"] == PLATE["sphericity"]


def test_nothing_is_left_over(tmp_path):
    """Writing leaves the record and its line on the ledger alone; there is no surface more."""
    add_instrument(tmp_path, "plate", "a", PLATE)
    add_instrument(tmp_path, "plate", "a", PLATE | {"radius_mm": 3047.0}, replace=True)
    files = sorted(path.name for path in tmp_path.rglob("*") if path.is_file())
    assert files == ["a.toml", "ledger.jsonl"]
    assert [line.file for line in read_ledger(tmp_path).lines] == ["plate/a.toml"] * 2
    assert list_surfaces(tmp_path) == []


def test_instruments_that_were_taken_away_are_named(tmp_path):
    """Without its folder of instruments an archive is still checked, and lacks each record."""
    path = add_instrument(tmp_path, "plate", "a", PLATE).path
    shutil.rmtree(tmp_path / "instruments")
    assert check_archive(tmp_path).problems == (
        f"{path}: this instruments' record is missing; it is in the ledger",
    )


@pytest.mark.parametrize("back", ["flat", "concentric", None])
def test_the_plates_back_reaches_the_reading(tmp_path, back):
    """A reading of a surface knows its plate's back where the plate's record says it."""
    values = {key: value for key, value in PLATE.items() if key != "back"}
    add_instrument(tmp_path, "plate", "P", values | ({"back": back} if back else {}))
    plate = Plate("P", 3048.0)
    work = add_surface(tmp_path, Surface("a", "convex", 3048.0, 150.0, plate=plate, lamp="sodium"))
    assert stated_options(work, StatedOptions()).plate_back == (back or "")


def test_a_back_of_another_shape_is_refused(tmp_path):
    """A back is flat or concentric, and the line says so."""
    with pytest.raises(BadInput, match="back must be flat or concentric"):
        add_instrument(tmp_path, "plate", "P", PLATE | {"back": "round"})


def test_replacing_needs_the_word(tmp_path):
    """A record is not written over unless it is asked for; a copy that was taken stays."""
    add_instrument(tmp_path, "plate", "a", PLATE)
    kept = instrument_record(tmp_path, "plate", "a")
    with pytest.raises(BadInput, match="--replace"):
        add_instrument(tmp_path, "plate", "a", PLATE | {"radius_mm": 3047.0})
    assert instrument_record(tmp_path, "plate", "a") == kept
    add_instrument(tmp_path, "plate", "a", PLATE | {"radius_mm": 3047.0}, replace=True)
    assert load_instrument(tmp_path, "plate", "a").values["radius_mm"] == 3047.0
    assert kept["radius_mm"] == 3048.0


def test_failed_writing_leaves_the_old_record(tmp_path, monkeypatch):
    """If the disk fails while a record is replaced, the old one stays whole."""
    add_instrument(tmp_path, "plate", "a", PLATE)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fringe.files.os.fsync", full)
    with pytest.raises(BadInput, match="disk is full"):
        add_instrument(tmp_path, "plate", "a", PLATE | {"radius_mm": 3000.0}, replace=True)
    monkeypatch.undo()
    assert load_instrument(tmp_path, "plate", "a").values == PLATE
    assert [path.name for path in (tmp_path / "instruments/plate").iterdir()] == ["a.toml"]


def test_listed_by_kind_and_name(tmp_path):
    """All records are listed by kind and name; one kind alone on request."""
    for kind, values in ALL.items():
        for name in ("b", "a"):
            add_instrument(tmp_path, kind, name, values)
    names = [(one.kind, one.name) for one in list_instruments(tmp_path)]
    assert names == [(kind, name) for kind in ALL for name in ("a", "b")]
    assert [one.name for one in list_instruments(tmp_path, "lamp")] == ["a", "b"]


def test_spherometer_of_a_record():
    """Diameters and their uncertainties become radii; the gauge's u becomes millimetres."""
    one = spherometer_from_record(BALLS)
    assert (one.kind, one.convex_contact_mm, one.ball_radius_mm) == ("balls", 70.0, 3.175)
    assert (one.u_contact_mm, one.u_ball_mm, one.u_reading_mm) == (0.01, 0.0005, 0.0005)
    plain = spherometer_from_record({"ring_inner_mm": 70.0, "ring_outer_mm": 72.0})
    assert (plain.contact_mm("convex"), plain.contact_mm("concave")) == (35.0, 36.0)
    assert (plain.u_contact_mm, plain.u_reading_mm) == (None, None)
    assert spherometer_from_record({"legs_mm": [30.0, 40.0, 50.0]}).convex_contact_mm == 25.0


def test_lamp_of_a_record(tmp_path):
    """A lamp on record is found before one of the table, and has its lines."""
    add_instrument(tmp_path, "lamp", "sodium", LAMP)
    own = find_lamp("sodium", tmp_path)
    assert own == lamp_from_record(LAMP | {"name": "sodium"})
    assert own.wavelength_nm == pytest.approx((546.07 + 0.2 * 577.0) / 1.2)
    assert find_lamp("sodium").wavelength_nm == pytest.approx(589.19, abs=0.2)
    assert find_lamp("hene", tmp_path).wavelength_nm == pytest.approx(632.816, abs=1e-3)


@pytest.mark.parametrize(
    ("kind", "values", "message"),
    [
        ("plate", {"radius_mm": 100.0}, "needs form"),
        ("plate", {"form": "concave"}, "needs radius_mm"),
        ("plate", PLATE | {"form": "flat"}, "convex or concave"),
        ("plate", PLATE | {"radius_mm": -1.0}, "greater than zero"),
        ("plate", PLATE | {"u_radius_mm": -0.1}, "zero or more"),
        ("plate", PLATE | {"radius_mm": "long"}, "must be a number"),
        ("plate", PLATE | {"radius_mm": True}, "must be a number"),
        ("plate", PLATE | {"colour": "green"}, "no 'colour'"),
        ("plate", PLATE | {"glass": ""}, "must be text"),
        ("spherometer", {"ball_diameter_mm": 6.0}, "one of ring_inner_mm"),
        ("spherometer", BALLS | {"legs_mm": [50.0]}, "one of ring_inner_mm"),
        ("spherometer", {"ring_inner_mm": 50.0, "ball_diameter_mm": 6.0}, "no ball feet"),
        ("spherometer", {"legs_mm": [50.0, 50.0]}, "one or three"),
        ("camera", {"note": "new"}, "distance or its scale"),
        ("lamp", {"source": "x"}, "needs lines"),
        ("lamp", {"source": "x", "lines": []}, "at least one line"),
        ("lamp", {"source": "x", "lines": [{"wavelength_nm": 5.0, "weight": 1.0}]}, "200 and 2500"),
        ("lamp", {"source": "x", "lines": [{"wavelength_nm": 500.0}]}, "as numbers"),
        ("lamp", {"source": "x", "lines": [{"nm": 500.0}]}, "nothing else"),
        ("telescope", {}, "no instrument of kind"),
    ],
)
def test_nonsense(kind, values, message, tmp_path):
    """A field that is missing, unknown or makes no sense is named, and nothing is written."""
    with pytest.raises(BadInput, match=message) as caught:
        add_instrument(tmp_path, kind, "x", values)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("radius_mm = = 3", "damaged"),
        ("radius_mm = 3.0", "not a record of a plate"),
        ('kind = "plate"\nname = "a"\nform = "concave"\nradius_mm = "3m"', "must be a number"),
        ("\xff\xfe", "damaged"),
    ],
)
def test_records_spoilt_by_hand(text, message, tmp_path):
    """A record that somebody spoilt is named with its file and what is wrong."""
    add_instrument(tmp_path, "plate", "a", PLATE)
    path = tmp_path / "instruments/plate/a.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(BadInput, match=message) as caught:
        load_instrument(tmp_path, "plate", "a")
    assert "a.toml" in str(caught.value)


def test_missing(tmp_path):
    """A name that is not there is answered with those that are; so is no archive at all."""
    add_instrument(tmp_path, "plate", "a", PLATE)
    with pytest.raises(BadInput, match="there are a"):
        load_instrument(tmp_path, "plate", "b")
    with pytest.raises(BadInput, match="none yet"):
        load_instrument(tmp_path, "camera", "b")
    with pytest.raises(BadInput, match="no such archive"):
        list_instruments(tmp_path / "gone")
    with pytest.raises(BadInput, match="instrument name"):
        load_instrument(tmp_path, "plate", "  ")


def test_every_field_says_what_it_is():
    """Each field of each kind has its type and a line of text."""
    for fields in FIELDS.values():
        for sort, text in fields.values():
            assert sort in {"back", "date", "form", "length", "lengths", "lines", "text", "u"}
            assert len(text) > 5
