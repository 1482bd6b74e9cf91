"""A surface's record: plain, versioned, proven."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from concurrent.futures import ThreadPoolExecutor

import pytest

from fringe.archive.store.surface import (
    Plate,
    Surface,
    add_surface,
    change_surface,
    find_surface,
    list_surfaces,
    load_surface,
    record_versions,
)
from fringe.errors import BadInput
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import START, full_surface, hours


@pytest.fixture
def archive(tmp_path):
    """An archive's folder that is not there yet."""
    return tmp_path / "shop"


def plain(name: str = "concave-1", **fields) -> Surface:
    """A surface with the least that a record needs."""
    return Surface(name, "concave", 3048.0, 150.0, **fields)


def test_record_comes_back(archive):
    """Every field of a record is the same after loading."""
    added = change_surface(full_surface(archive), chamfer_mm=0.5)
    assert load_surface(added.folder) == added
    assert None not in dataclasses.astuple(added)


def test_record_can_be_read_by_a_person(archive):
    """The record is JSON, one key a line, lengths in the unit of their names."""
    added = full_surface(archive, "größer 1")
    text = (added.folder / "surface-0001.json").read_text(encoding="utf-8")
    assert '\n  "name": "größer 1",\n' in text
    assert '\n  "radius_mm": 3048.0,\n' in text
    assert json.loads(text)["plate"] == {"name": "plate 7", "radius_mm": 3048.6, "radius_u_mm": 0.2}
    assert json.loads(text)["created_at"] == START.isoformat()


def test_digest_needs_no_program(archive):
    """A record's digest is that of its text with the digest's own digits zeroed."""
    path = full_surface(archive).folder / "surface-0001.json"
    text = path.read_text(encoding="utf-8")
    digest = json.loads(text)["sha256"]
    assert hashlib.sha256(text.replace(digest, "0" * 64).encode()).hexdigest() == digest


@pytest.mark.parametrize(
    "name",
    [
        "Fläche 3, größer",
        "a/b",
        "..",
        "../../etc",
        ".",
        "x" * 300,
        "con",
        "[red]bold[/red]",
        "kein\u200bRaum",
        '"; drop',
        "鏡 1",
    ],
)
def test_any_name_stays_in_the_archive(archive, name):
    """A surface of any name lies one level below its archive and is found by its true name."""
    added = add_surface(archive, plain(name))
    assert added.folder.resolve().parent == archive.resolve()
    assert load_surface(added.folder).name == name
    assert find_surface(f"{archive}/{name}") == added
    assert find_surface(str(added.folder)) == added
    assert sorted(archive.parent.iterdir()) == [archive]


def test_a_name_that_spells_anothers_folder(archive):
    """A surface named like another one's folder gets a folder of its own, and both are found."""
    first = add_surface(archive, plain("a b"))
    second = add_surface(archive, plain(first.folder.name))
    assert first.folder != second.folder
    assert find_surface(f"{archive}/{first.folder.name}").name == second.name
    assert find_surface(f"{archive}/a b").name == "a b"


def test_names_that_differ_in_case_alone(archive):
    """Two names that a forgiving file system would mix up get folders that it keeps apart."""
    folders = {add_surface(archive, plain(n)).folder.name.casefold() for n in ("m1", "M1")}
    assert len(folders) == 2
    assert find_surface(f"{archive}/M1").name == "M1"


def test_a_name_is_given_once(archive):
    """A second surface of a name is refused in one line, and the first stays as it was."""
    added = full_surface(archive)
    with pytest.raises(BadInput, match="already"):
        add_surface(archive, plain("concave 1"))
    assert load_surface(added.folder) == added
    assert len(list_surfaces(archive)) == 1


def test_a_folders_own_path_needs_no_search(archive, monkeypatch):
    """A surface whose folder lies where its name leads is found without a look at the others."""
    added = add_surface(archive, plain("été"))

    def search(_):
        raise AssertionError("every folder was looked into")

    monkeypatch.setattr("fringe.archive.store.surface.list_surfaces", search)
    assert find_surface(str(added.folder)) == find_surface(f"{archive}/été") == added


def test_folders_that_changed_places(archive):
    """Where two folders bear each other's name, the surface of the true name is meant."""
    first, second = (add_surface(archive, plain(name)).folder for name in ("a", "b"))
    first.rename(archive / "c")
    second.rename(first)
    (archive / "c").rename(second)
    assert [find_surface(f"{archive}/{name}").name for name in ("a", "b")] == ["a", "b"]


def test_a_renamed_folder_is_found(archive):
    """A surface is found by its true name even if its folder was renamed."""
    added = add_surface(archive, plain())
    added.folder.rename(archive / "moved")
    assert find_surface(f"{archive}/concave-1").folder == archive / "moved"


def test_changes_keep_what_was(archive):
    """A change writes a new version; the older one can still be loaded, byte for byte."""
    added = full_surface(archive)
    before = (added.folder / "surface-0001.json").read_bytes()
    changed = change_surface(added, note="repolished", now=hours(3))
    assert (changed.version, changed.note, changed.glass) == (2, "repolished", "borosilicate")
    assert (changed.created_at, changed.changed_at) == (START, hours(3))
    assert load_surface(added.folder) == changed
    assert load_surface(added.folder, 1) == added
    assert (added.folder / "surface-0001.json").read_bytes() == before


def test_changes_at_the_same_time_are_all_kept(archive):
    """Twelve changes of two fields at once make twelve versions, and none undoes another."""
    added = add_surface(archive, plain())

    def change(number: int) -> None:
        field = "note" if number % 2 else "glass"
        change_surface(added, **{field: f"{field} {number}"})

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(change, range(12)))
    assert sorted(record_versions(added.folder)) == list(range(1, 14))
    final = load_surface(added.folder)
    assert final.note.startswith("note ")
    assert final.glass.startswith("glass ")
    assert not [p for p in added.folder.iterdir() if p.name.startswith(".")]


def test_one_of_many_adds(archive):
    """Of eight that add the same name at once one succeeds, and nothing else is left."""
    archive.mkdir()

    def add(number: int) -> bool:
        try:
            add_surface(archive, plain(note=str(number)))
        except BadInput:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(add, range(8))) == 1
    assert sorted(p.name for p in archive.iterdir()) == ["README.txt", "concave-1"]


def test_a_digest_in_the_note(archive):
    """A note that holds a row of zeros does not get in the way of the digest."""
    added = add_surface(archive, plain(note="0" * 64))
    assert load_surface(added.folder).note == "0" * 64


def test_every_flipped_byte_is_noticed(archive, rng):
    """A record with any one byte altered is refused, with its file's name in the line."""
    path = full_surface(archive).folder / "surface-0001.json"
    whole = path.read_bytes()
    for place in range(len(whole)):
        data = bytearray(whole)
        data[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(data)
        with pytest.raises(BadInput, match=re.escape(path.name)):
            load_surface(path.parent)


@pytest.mark.parametrize("length", [0, 1, 200])
def test_a_cut_record_is_refused(archive, length):
    """A record that was cut short is refused."""
    path = full_surface(archive).folder / "surface-0001.json"
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(BadInput, match=path.name):
        load_surface(path.parent)


def rewrite(path, **values) -> None:
    """Write a record anew with other values and a digest that fits, as a forger would."""
    record = json.loads(path.read_text(encoding="utf-8")) | values | {"sha256": "0" * 64}
    text = json.dumps(record)
    digest = hashlib.sha256(text.encode()).hexdigest()
    path.write_text(text.replace("0" * 64, digest), encoding="utf-8")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"schema_version": 2}, "newer"),
        ({"schema": "other"}, "not a surface"),
        ({"radius_mm": "3048"}, "surface-0001"),
        ({"radius_mm": -1.0}, "greater than zero"),
        ({"form": "flat"}, "convex or concave"),
        ({"name": ["a"]}, "must be text"),
        ({"created_at": "yesterday"}, "surface-0001"),
        ({"plate": 3}, "surface-0001"),
    ],
)
def test_a_record_that_makes_no_sense(archive, values, words):
    """A record that was written by another hand is refused with its reason."""
    added = full_surface(archive)
    rewrite(added.folder / "surface-0001.json", **values)
    with pytest.raises(BadInput, match=words):
        load_surface(added.folder)


def test_unknown_keys_are_passed_over(archive):
    """A later version may add keys; this one reads past them."""
    added = full_surface(archive)
    rewrite(added.folder / "surface-0001.json", colour="grey", plate={"name": "p", "maker": "x"})
    assert load_surface(added.folder).plate == Plate("p")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"form": "flat"}, "convex or concave"),
        ({"radius_mm": 0.0}, "radius must be"),
        ({"radius_mm": float("nan")}, "radius must be"),
        ({"diameter_mm": -150.0}, "diameter must be"),
        ({"diameter_mm": 6100.0}, "does not fit"),
        ({"plate": Plate("p", -1.0)}, "plate radius"),
        ({"radius_u_mm": -0.1}, "uncertainty"),
    ],
)
def test_impossible_surfaces(fields, words):
    """A surface that cannot be is refused in one line."""
    with pytest.raises(BadInput, match=words):
        dataclasses.replace(plain(), **fields)


def test_not_found(archive):
    """A surface that is not there is refused; the line names those that are."""
    full_surface(archive)
    with pytest.raises(BadInput, match="concave 1"):
        find_surface(f"{archive}/convex 1")
    with pytest.raises(BadInput, match="ARCHIVE/NAME"):
        find_surface("nowhere")
    with pytest.raises(BadInput, match="no such archive"):
        list_surfaces(archive / "nowhere")


def test_an_archive_that_cannot_be(tmp_path):
    """A file, or a surface's own folder, is no archive."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInput, match="is a file"):
        add_surface(tmp_path / "file", plain())
    added = add_surface(tmp_path / "shop", plain())
    with pytest.raises(BadInput, match="not an archive"):
        add_surface(added.folder, plain("inner"))


def test_plate_radius_defaults_to_nominal():
    """A plate without a certified radius counts with the nominal one."""
    assert plain(plate=Plate("p")).plate_radius_mm == 3048.0
    assert plain(plate=Plate("p", 3050.0)).plate_radius_mm == 3050.0


def test_tolerance_without_limits(archive):
    """A surface may have no tolerance yet; its wavelength and rule are kept."""
    tolerance = Tolerance(wavelength_nm=546.07, rule="simple")
    added = add_surface(archive, plain(tolerance=tolerance))
    assert load_surface(added.folder).tolerance == tolerance
