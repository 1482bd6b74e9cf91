"""A surface taken out and brought back: whole, or not at all."""

from __future__ import annotations

import dataclasses
import json
import os
import re
import resource
import shutil
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.session import Photograph, Visit
from fringe.archive.store.surface import add_surface, change_surface, load_surface, record_versions
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.archive.transfer.export import export_surface
from fringe.archive.transfer.imports import import_surface
from fringe.errors import BadInput
from sample_visits import full_surface, full_visit, hours, plain_visit, power_reading


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An archive with a surface of two records and three sessions, one correcting another.

    Making it anew for each test would take long.
    """
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    folder = tmp_path_factory.mktemp("made")
    one = full_surface(folder / "shop")
    visit = full_visit(rng)
    light = dataclasses.replace(visit, readings=visit.readings[:1], spherometers=())
    log_visit(one, light, now=hours(0))
    log_visit(one, plain_visit(), now=hours(1))
    log_visit(one, Visit(readings=(power_reading(2.0),), replaces="2"), now=hours(2))
    change_surface(one, note="repolished", now=hours(3))
    small = full_surface(folder / "small")
    log_visit(small, full_visit(rng), now=hours(0))
    export_surface(small, folder / "small.nc")
    export_surface(small, folder / "small-folder")
    return folder


@pytest.fixture
def surface(made, tmp_path):
    """The surface in an archive of the test's own."""
    shutil.copytree(made / "shop", tmp_path / "shop")
    return load_surface(next((tmp_path / "shop").glob("concave*")))


@pytest.fixture
def remarks(tmp_path):
    """A surface of the same history that holds remarks alone, which is quick to take along."""
    one = full_surface(tmp_path / "shop")
    log_visit(one, plain_visit("first"), now=hours(0))
    log_visit(one, plain_visit("second"), now=hours(1))
    log_visit(one, dataclasses.replace(plain_visit("corrected"), replaces="2"), now=hours(2))
    return change_surface(one, note="repolished", now=hours(3))


LOSSLESS = ["out.nc", "out"]


def contents(folder):
    """Sessions of a folder by the digest of what they say."""
    return {path.stem: open_session(path).content_sha256 for path in session_files(folder)}


def records(folder):
    return {number: path.read_bytes() for number, path in record_versions(folder).items()}


@pytest.mark.parametrize("name", [*LOSSLESS, "out.H5"])
def test_there_and_back(surface, tmp_path, name):
    """Out and in again, every session says the same by its digest; records are the same bytes."""
    done = export_surface(surface, tmp_path / name)
    assert (done.sessions, done.photographs, done.problems) == (3, 2, ())
    back = import_surface(tmp_path / name, tmp_path / "other")
    assert (back.new, back.added, back.present, back.problems) == (True, 3, 0, ())
    assert back.surface == surface
    assert contents(back.surface.folder) == contents(surface.folder)
    assert records(back.surface.folder) == records(surface.folder)
    theirs, ours = (list_sessions(one.folder) for one in (back.surface, surface))
    assert [dataclasses.replace(s, place=None) for s in theirs] == [
        dataclasses.replace(s, place=None) for s in ours
    ]
    found = check_archive(tmp_path / "other")
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())
    assert {p.name for p in tmp_path.iterdir()} == {"shop", "other", name}


def test_a_full_session_there_and_back(made, tmp_path):
    """A session that holds two of everything says the same after out and in, by its digest."""
    back = import_surface(made / "small.nc", tmp_path / "other").surface
    assert contents(back.folder) == contents(next((made / "small").glob("concave*")))


@pytest.mark.parametrize("name", LOSSLESS)
def test_twice_is_once(remarks, tmp_path, name):
    """A second import adds nothing; after more visits it adds those alone, byte for byte."""
    export_surface(remarks, tmp_path / name)
    import_surface(tmp_path / name, tmp_path / "other")
    back = import_surface(tmp_path / name, tmp_path / "other")
    assert (back.new, back.added, back.present) == (False, 0, 3)
    before = {p: p.read_bytes() for p in back.surface.folder.iterdir()}
    log_visit(remarks, plain_visit(), now=hours(4))
    change_surface(remarks, glass="crown", now=hours(5))
    export_surface(remarks, tmp_path / f"more-{name}")
    back = import_surface(tmp_path / f"more-{name}", tmp_path / "other")
    assert (back.new, back.added, back.present) == (False, 1, 3)
    assert contents(back.surface.folder) == contents(remarks.folder)
    assert records(back.surface.folder) == records(remarks.folder)
    assert {p: p.read_bytes() for p in before} == before


def test_a_folder_brings_back_the_same_bytes(surface, tmp_path):
    """From a folder, and from a surface's own folder, the files themselves come back."""
    export_surface(surface, tmp_path / "out")
    for source, archive in ((tmp_path / "out", "a"), (surface.folder, "b")):
        back = import_surface(source, tmp_path / archive).surface.folder
        ours = {p.name: p.read_bytes() for p in surface.folder.iterdir()}
        assert {p.name: p.read_bytes() for p in back.iterdir()} == ours


def test_what_is_in_the_folder(surface, tmp_path):
    """Beside each photograph, byte for byte, lies what was read of it; a table has all visits."""
    out = export_surface(surface, tmp_path / "out").path
    assert {p.name for p in out.iterdir()} == {"README.txt", "visits.csv", "photographs", "record"}
    sessions = [open_session(path) for path in session_files(surface.folder)]
    for session in sessions:
        for number, photograph in enumerate(session.visit.photographs, 1):
            start = f"{session.summary.sequence:04d}_{number}_"
            (path,) = [p for p in (out / "photographs").glob(f"{start}*") if p.suffix != ".json"]
            assert path.read_bytes() == photograph.data
            values = json.loads((path.parent / f"{path.name}.json").read_text(encoding="utf-8"))
            assert (values["file_name"], values["sha256"]) == (
                photograph.file_name,
                photograph.sha256,
            )
            assert values["refusal"] == photograph.refusal
            readings = [r for r in session.visit.readings if number in r.photographs]
            assert [r["power_fringes"] for r in values["readings"]] == [
                r.reading.power_fringes for r in readings
            ]
    assert len((out / "visits.csv").read_text(encoding="utf-8").splitlines()) > 4


@pytest.mark.parametrize(
    "name",
    ["../../up.jpg", "/etc/passwd", "x" * 300, "...", "a\nb\t.png", 'Größe*?<>|":.tif', "con", ""],
)
def test_photographs_of_any_name_stay_in_the_folder(surface, tmp_path, name):
    """Whatever a photograph was called, its copy lies in the folder of photographs."""
    photograph = dataclasses.replace(Photograph("x", b"bytes"), file_name=name)
    log_visit(surface, Visit(photographs=(photograph,)), now=hours(4))
    out = export_surface(surface, tmp_path / "out").path
    (path,) = [p for p in (out / "photographs").glob("0004_1_*") if p.suffix != ".json"]
    assert path.read_bytes() == b"bytes"
    assert re.fullmatch(r"[A-Za-z0-9_.-]+", path.name)
    assert {p.name for p in tmp_path.iterdir()} == {"shop", "out"}


def test_one_file_opens_without_us(surface, tmp_path):
    """xarray finds the table of all readings and each session's own groups; h5py the record."""
    path = export_surface(surface, tmp_path / "out.nc").path
    sessions = [open_session(p) for p in session_files(surface.folder)]
    powers = [r.reading.power_fringes for s in sessions for r in s.visit.readings]
    with xarray.open_dataset(path, group="readings") as table:
        assert table["power_fringes"].values.tolist() == powers
        assert table["sequence"].values.tolist() == [1, 3]
        first = np.datetime64(sessions[0].summary.when.replace(tzinfo=None))
        assert table["time"].values[0] == first
    with xarray.open_datatree(path, engine="h5netcdf") as tree:
        gap = tree[f"session_{sessions[0].summary.session_id}/reading_1/gap_nm"]
        np.testing.assert_array_equal(gap.values, sessions[0].visit.readings[0].gap.gap_nm)
        assert gap.coords["x"].attrs["units"] == "mm"
    with h5py.File(path) as file:
        text = file.attrs["record_0002"].decode()
    assert text.encode() == (surface.folder / "surface-0002.json").read_bytes()


def test_a_surface_without_visits(tmp_path):
    """A surface that has a record alone goes out and comes back."""
    made = full_surface(tmp_path / "shop")
    for name in LOSSLESS:
        export_surface(made, tmp_path / name)
        archive = tmp_path / f"of-{name}"
        assert import_surface(tmp_path / name, archive).surface == made


def test_damaged_sessions_are_left_out_by_name(surface, tmp_path):
    """An export holds what is whole and names the rest; what it lacks is told on the way in."""
    path = session_files(surface.folder)[0]
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    done = export_surface(surface, tmp_path / "out.nc")
    assert done.sessions == 2
    assert path.name in done.problems[0]
    back = import_surface(tmp_path / "out.nc", tmp_path / "other")
    assert back.added == 2
    assert any(path.stem in line and "missing" in line for line in back.problems)
    # the damaged one is not replaced by a whole one until somebody takes it away
    path.write_bytes(bytes(data))
    whole = import_surface(tmp_path / "out.nc", tmp_path / "third").surface
    assert len(session_files(whole.folder)) == 2


def test_a_damaged_session_comes_back_from_an_export(remarks, tmp_path):
    """With the damaged file out of the way, an import brings the session back as it was."""
    export_surface(remarks, tmp_path / "out.nc")
    true = contents(remarks.folder)
    path = session_files(remarks.folder)[1]
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(BadInput, match=rf"{path.name}: is damaged; remove it, then import"):
        import_surface(tmp_path / "out.nc", tmp_path / "shop")
    path.unlink()
    back = import_surface(tmp_path / "out.nc", tmp_path / "shop")
    assert (back.added, back.present) == (1, 2)
    assert contents(remarks.folder) == true


@pytest.mark.parametrize("name", ["out.nc", "out", "out.csv"])
def test_nothing_is_written_over(remarks, tmp_path, name):
    """A file or folder that is there is not touched."""
    export_surface(remarks, tmp_path / name)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BadInput, match="is there already"):
        export_surface(remarks, tmp_path / name)
    with pytest.raises(BadInput, match="there is no folder"):
        export_surface(remarks, tmp_path / "nowhere" / name)
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("name", ["out.nc", "out", "out.csv"])
def test_a_full_disk_leaves_nothing(surface, tmp_path, name):
    """An export that does not fit is refused in one line and leaves no part of it."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (500, before[1]))
    try:
        with pytest.raises(BadInput, match="cannot") as caught:
            export_surface(surface, tmp_path / name)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "\n" not in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["shop"]


def test_an_export_too_large_for_memory(surface, tmp_path, monkeypatch):
    """A large export is written by another process, with the same content; a full disk ends it."""
    monkeypatch.setattr("fringe.archive.transfer.export._MAX_MEMORY", 1000)
    export_surface(surface, tmp_path / "out.nc")
    back = import_surface(tmp_path / "out.nc", tmp_path / "other").surface
    assert contents(back.folder) == contents(surface.folder)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, before[1]))
    try:
        with pytest.raises(BadInput, match="cannot") as caught:
            export_surface(surface, tmp_path / "more.nc")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "\n" not in str(caught.value)
    assert {p.name for p in tmp_path.iterdir()} == {"shop", "other", "out.nc"}


@pytest.mark.parametrize("name", LOSSLESS)
def test_an_import_that_does_not_fit_leaves_nothing(surface, tmp_path, name):
    """An import that the disk has no room for is refused in one line, and nothing is kept."""
    export_surface(surface, tmp_path / name)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (500, before[1]))
    try:
        with pytest.raises(BadInput, match="cannot write") as caught:
            import_surface(tmp_path / name, tmp_path / "other")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "\n" not in str(caught.value)
    assert {p.name for p in tmp_path.iterdir()} == {"shop", name}


def test_another_surface_of_the_name(remarks, tmp_path):
    """A surface of the same name that is another one is not mixed with it."""
    export_surface(remarks, tmp_path / "out.nc")
    other = full_surface(tmp_path / "other", remarks.name)
    change_surface(other, note="x", now=hours(9))
    before = {p: p.read_bytes() for p in other.folder.iterdir()}
    with pytest.raises(BadInput, match="another surface"):
        import_surface(tmp_path / "out.nc", tmp_path / "other")
    assert {p: p.read_bytes() for p in other.folder.iterdir()} == before
    assert sorted(p.name for p in (tmp_path / "other").iterdir()) == [
        "README.txt",
        other.folder.name,
    ]


def test_histories_that_parted(remarks, tmp_path):
    """Two copies that went on apart from each other under one number are not mixed."""
    export_surface(remarks, tmp_path / "out.nc")
    other = import_surface(tmp_path / "out.nc", tmp_path / "other").surface
    log_visit(remarks, plain_visit("here"), now=hours(5))
    log_visit(other, plain_visit("there"), now=hours(6))
    export_surface(remarks, tmp_path / "later.nc")
    before = {p: p.read_bytes() for p in other.folder.iterdir()}
    with pytest.raises(BadInput, match="under one number; import into another archive"):
        import_surface(tmp_path / "later.nc", tmp_path / "other")
    assert {p: p.read_bytes() for p in other.folder.iterdir()} == before


def alter(path, change):
    """Change an export through HDF5."""
    with h5py.File(path, "r+") as file:
        change(file)


def session_of(file):
    return next(name for name in file if name.startswith("session_"))


def rename_up(file):
    file.move(session_of(file), "session_..%2f..%2fup")


def rename_other(file):
    name = session_of(file)
    file.move(name, f"{name[:-6]}aaaaaa")


HOSTILE = {
    "schema": (lambda f: f.attrs.__setitem__("schema", "other"), "not a surface that was exported"),
    "newer": (lambda f: f.attrs.__setitem__("schema_version", 2), "newer fringe"),
    "no records": (lambda f: [f.attrs.__delitem__(n) for n in list(f.attrs) if "record" in n],
                   "no surface's record"),
    "record": (lambda f: f.attrs.__setitem__("record_0001", b'{"schema": "fringe surface"}'),
               "surface-0001.json"),
    "value": (lambda f: f[session_of(f)]["power_fringes"].__setitem__(0, 9.0), "digest"),
    "photograph": (lambda f: f[session_of(f)]["photograph_1/data"].__setitem__(0, 1), "digest"),
    "attribute": (lambda f: f[session_of(f)].attrs.__setitem__("by", "nobody"), "digest"),
    "digest": (lambda f: f[session_of(f)].attrs.__delitem__("content_sha256"), "digest"),
    "name": (rename_up, "not the name of a session"),
    "other name": (rename_other, "named otherwise"),
    "external": (lambda f: f.__setitem__("session_0009_20260314T093000Z_aaaaaa",
                                         h5py.ExternalLink("/etc/passwd", "/")), "is a link"),
    "external inside": (lambda f: f[session_of(f)].__setitem__(
        "more", h5py.ExternalLink("/etc/passwd", "/")), "is a link"),
    "soft": (lambda f: f[session_of(f)].__setitem__("more", h5py.SoftLink("/")), "is a link"),
    "loop": (lambda f: f[session_of(f)].__setitem__("more", f["/"]), "more than any session"),
    "objects": (lambda f: f[session_of(f)].create_dataset("more", data=["a", "b"]),
                "not a variable of numbers"),
    "references": (lambda f: f[session_of(f)].create_dataset("more", (2,), h5py.ref_dtype),
                   "not a variable of numbers"),
    "huge": (lambda f: f[session_of(f)].create_dataset("more", (1 << 40,), "f8", chunks=(1 << 20,)),
             "larger than any"),
    "outside": (lambda f: f[session_of(f)].create_dataset(
        "more", (2,), "f8", external=[("/etc/hostname", 0, 16)]), "another file"),
    "type": (lambda f: f[session_of(f)].__setitem__("more", np.dtype("f8")), "neither group nor"),
}  # fmt: skip


@pytest.mark.parametrize("what", HOSTILE)
def test_hostile_exports(made, tmp_path, what):
    """An export that another hand changed is refused in one line that names it; nothing is kept."""
    change, words = HOSTILE[what]
    path = shutil.copy(made / "small.nc", tmp_path / "out.nc")
    alter(path, change)
    with pytest.raises(BadInput, match=words) as caught:
        import_surface(Path(path), tmp_path / "other")
    assert "out.nc" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert {p.name for p in tmp_path.iterdir()} == {"out.nc"}


@pytest.mark.parametrize("data", [b"", b"\x89HDF\r\n\x1a\n", b"hello" * 99, bytes(5000)])
def test_files_that_are_no_export(tmp_path, data):
    """Anything else is refused in one line that names it."""
    path = tmp_path / "out.nc"
    path.write_bytes(data)
    with pytest.raises(BadInput, match=r"out\.nc") as caught:
        import_surface(path, tmp_path / "other")
    assert "\n" not in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["out.nc"]


def test_places_that_are_no_export(tmp_path):
    """Nothing, an empty folder, and a table are refused; each says why."""
    (tmp_path / "empty").mkdir()
    for name, words in (("gone", "no such"), ("empty", "no surface's record"), ("a.csv", "table")):
        with pytest.raises(BadInput, match=words):
            import_surface(tmp_path / name, tmp_path / "other")
    assert [p.name for p in tmp_path.iterdir()] == ["empty"]


@pytest.mark.parametrize("spoil", ["session", "record", "link", "pipe", "stranger"])
def test_hostile_folders(made, tmp_path, spoil, rng):
    """A folder with a file that is not whole, not one, or another surface's is refused by name."""
    out = shutil.copytree(made / "small-folder", tmp_path / "out") / "record"
    session = sorted(out.glob("*.h5"))[0]
    if spoil == "session":
        data = bytearray(session.read_bytes())
        data[int(rng.integers(len(data)))] ^= 1
        session.write_bytes(data)
    elif spoil == "record":
        (out / "surface-0001.json").write_text("{}")
    elif spoil == "link":
        (out / "surface-0003.json").symlink_to("/etc/passwd")
    elif spoil == "pipe":
        os.mkfifo(out / "surface-0003.json")
    else:
        stranger = log_visit(full_surface(tmp_path / "shop", "b"), plain_visit(), now=hours(9))
        shutil.copy(stranger, out)
    with pytest.raises(BadInput, match=r"record|0001_|surface-000") as caught:
        import_surface(tmp_path / "out", tmp_path / "other")
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "other").exists()


def test_importing_while_others_write(remarks, tmp_path):
    """A number that another program is writing just now is left alone, and the line says so."""
    export_surface(remarks, tmp_path / "out.nc")
    path = session_files(remarks.folder)[-1]
    path.unlink()
    (remarks.folder / ".0003.partial").write_bytes(b"")
    with pytest.raises(BadInput, match=r"\.0003\.partial: this number is being written"):
        import_surface(tmp_path / "out.nc", tmp_path / "shop")
    (remarks.folder / ".0003.partial").unlink()
    assert import_surface(tmp_path / "out.nc", tmp_path / "shop").added == 1


def test_an_imported_surface_goes_on(remarks, tmp_path):
    """After an import the next visit gets the next number, and the chain is whole."""
    export_surface(remarks, tmp_path / "out.nc")
    back = import_surface(tmp_path / "out.nc", tmp_path / "other").surface
    path = log_visit(back, plain_visit(), now=hours(8))
    assert path.name.startswith("0004_")
    assert check_archive(tmp_path / "other").problems == ()


def test_names_with_letters(tmp_path):
    """A surface of any name goes out under any name and comes back as itself."""
    made = add_surface(
        tmp_path / "shop", dataclasses.replace(full_surface(tmp_path / "x"), name="été ß/..")
    )
    for name in ("plan n° 3.nc", "plan n° 3"):
        export_surface(made, tmp_path / name)
        archive = tmp_path / f"of {name}"
        assert load_surface(import_surface(tmp_path / name, archive).surface.folder) == made
