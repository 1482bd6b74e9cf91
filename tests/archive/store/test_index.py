"""The index: quick, forgettable, and never at odds with the files without a word."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from fringe.archive.store import index
from fringe.archive.store.index import FOLDER, Entry, entry_of, indexed_visits, list_archive
from fringe.archive.store.kept_summaries import SCHEMA_VERSION
from fringe.archive.store.order import list_sessions
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import change_surface, load_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.parallel import WorkerKilled
from sample_visits import full_surface, full_visit, hours, plain_visit, power_reading

# An hour after all files were written: nothing is too fresh to be relied on.
HOUR_NS = 3_600_000_000_000


def listed(archive):
    """The list as an hour later; how many surfaces were read for it."""
    found = list_archive(archive, now_ns=time.time_ns() + HOUR_NS)
    return found.entries, found.read


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three surfaces: one with a correction among its visits, one with a reading, one without."""
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    shop = tmp_path_factory.mktemp("made") / "shop"
    first, second = (full_surface(shop, name) for name in ("a 1", "b 2"))
    full_surface(shop, "c 3")
    log_visit(first, full_visit(rng), now=hours(0))
    log_visit(first, Visit(work=Work("#600", 20.0)), now=hours(1))
    corrected = dataclasses.replace(plain_visit("better"), replaces="1")
    log_visit(first, corrected, now=hours(2))
    reading = power_reading(float(rng.normal(3, 1)), float(rng.uniform(0.1, 0.2)))
    log_visit(second, Visit(readings=(reading,)), now=hours(3))
    return shop


@pytest.fixture
def archive(made, tmp_path):
    """The three surfaces in an archive of the test's own."""
    return Path(shutil.copytree(made, tmp_path / "shop"))


def truth(archive):
    """What the files say, without any index."""
    return tuple(entry_of(record.parent) for record in sorted(archive.glob("*/surface-0001.json")))


def test_what_the_list_says(archive):
    """Surfaces with their records, visits that count, the last of them and the work before it."""
    entries, read = listed(archive)
    assert read == 3
    assert [e.surface.name for e in entries] == ["a 1", "b 2", "c 3"]
    assert [(len(e.visits), e.sessions) for e in entries] == [(2, 3), (1, 1), (0, 0)]
    assert [e.visits[-1].when for e in entries[:2]] == [hours(1), hours(3)]
    assert [e.visits[-1].work.stage for e in entries[:2]] == ["#600", None]
    assert all(e.surface == load_surface(e.folder) for e in entries)


def bytes_of(archive):
    """All files of the index."""
    return {path.name: path.read_bytes() for path in (archive / FOLDER).iterdir()}


def test_nothing_is_read_twice(archive, monkeypatch):
    """Once the index is made, a list opens no record and no session, and says the same."""
    first, _ = listed(archive)
    before = bytes_of(archive)

    def opened(*_):
        raise AssertionError("a surface's file was opened")

    monkeypatch.setattr("fringe.archive.store.index.entry_of", opened)
    again, read = listed(archive)
    assert (again, read) == (first, 0)
    assert all(e.surface.folder == e.folder for e in again)
    assert indexed_visits(first[0].folder) == first[0].visits
    assert bytes_of(archive) == before


@pytest.mark.parametrize("killed", [False, True])
def test_many_files_on_all_cores(archive, monkeypatch, killed):
    """Read on several cores the list is the same, and kept; a core that dies loses nothing."""

    def run(function, parts):
        found = [function(part) for part in parts[:2]]
        if killed:
            raise WorkerKilled("killed")
        return found + [function(part) for part in parts[2:]]

    monkeypatch.setattr(index, "_MANY_FILES", 3)
    monkeypatch.setattr(index, "_AT_ONCE", 1)
    monkeypatch.setattr(index, "run_many", run)
    assert listed(archive) == (truth(archive), 3)
    assert len(bytes_of(archive)) == 3
    assert listed(archive) == (truth(archive), 0)


def test_the_index_may_go(archive):
    """Without its index the list is the same, and the index is made anew."""
    first, _ = listed(archive)
    shutil.rmtree(archive / FOLDER)
    again, read = listed(archive)
    assert (again, read) == (first, 3)
    assert len(bytes_of(archive)) == 3
    assert first == truth(archive)


def test_visits_of_a_surface(archive):
    """The visits from the index are those that the files give, to the last digit."""
    listed(archive)
    for folder in (entry.folder for entry in truth(archive)):
        assert indexed_visits(folder) == tuple(one.record for one in list_sessions(folder))
    with pytest.raises(BadInput, match="not a surface"):
        indexed_visits(archive)


def log(archive):
    log_visit(load_surface(next(archive.glob("b-2*"))), plain_visit("more"), now=hours(5))


def change(archive):
    change_surface(load_surface(next(archive.glob("b-2*"))), note="new")


def remove(archive):
    next(archive.glob("b-2*/0001*")).unlink()


def damage(archive):
    path = next(archive.glob("b-2*/0001*"))
    path.write_bytes(path.read_bytes()[:700])


def damage_in_place(archive):
    """One byte of a record, with size and time of change as before."""
    path = next(archive.glob("b-2*/surface-0001.json"))
    state = path.stat()
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    with path.open("r+b") as file:
        file.write(data)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def swap(archive):
    """Another surface's session of the same name, as after a mistake in copying."""
    path, other = next(archive.glob("b-2*/0001*")), next(archive.glob("a-1*/0002*"))
    shutil.copy2(other, path)


def leave_over(archive):
    (next(archive.glob("b-2*")) / ".0009.partial").write_bytes(b"")


def rename(archive):
    next(archive.glob("b-2*")).rename(archive / "b-moved")


def delete(archive):
    shutil.rmtree(next(archive.glob("b-2*")))


CHANGES = [log, change, remove, damage, damage_in_place, swap, leave_over, rename, delete]


@pytest.mark.parametrize("do", CHANGES, ids=lambda do: do.__name__)
def test_changes_are_seen(archive, do):
    """Whatever happens to a surface's files, the next list says what they say now."""
    listed(archive)
    do(archive)
    after, read = listed(archive)
    assert after == truth(archive)
    assert read == (0 if do is delete else 1)
    # and what is gone leaves nothing in the index
    assert sorted(bytes_of(archive)) == sorted(f"{e.folder.name}.json" for e in after)


def test_what_is_too_fresh_is_read_again(archive):
    """A surface that changed moments ago is not relied on: its clock may not have ticked."""
    newest = max(p.stat().st_ctime_ns for p in archive.rglob("*"))
    for now_ns in (newest + 1_000_000, newest + 1_000_000, newest - HOUR_NS):
        assert list_archive(archive, now_ns=now_ns).read == 3
        assert not (archive / FOLDER).exists()


def test_any_damage_to_the_index_is_noticed(archive, rng):
    """An entry with any one byte altered is not relied on, and the list is right."""
    first, _ = listed(archive)
    before = bytes_of(archive)
    path = archive / FOLDER / f"{first[0].folder.name}.json"
    whole = path.read_bytes()
    for place in {0, 20, len(whole) - 2, *rng.integers(0, len(whole), 60).tolist()}:
        data = bytearray(whole)
        data[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(data)
        assert listed(archive) == (first, 1), place
        assert bytes_of(archive) == before


@pytest.mark.parametrize("content", [b"", b"{}", b"[]", b"null", b"\xff\xfe", b"[" * 100_000])
def test_what_is_no_index(archive, content):
    """Anything else in the place of the index does no harm."""
    for entry in listed(archive)[0]:
        (archive / FOLDER / f"{entry.folder.name}.json").write_bytes(content)
    assert listed(archive) == (truth(archive), 3)


@pytest.mark.parametrize("in_the_way", ["file", "folders"])
def test_an_index_that_cannot_be_written(archive, in_the_way):
    """Where the index cannot be written the list is right all the same, each time anew."""
    if in_the_way == "file":
        (archive / FOLDER).write_bytes(b"")
    else:
        for entry in truth(archive):
            (archive / FOLDER / f"{entry.folder.name}.json").mkdir(parents=True)
    assert listed(archive) == (truth(archive), 3)
    assert listed(archive) == (truth(archive), 3)
    assert not list((archive / FOLDER).glob(".*"))


def forge(archive, **values):
    """Change an entry of the index, and its digest with it."""
    path = next((archive / FOLDER).glob("b-2*"))
    start, data = index._start(), path.read_bytes()
    rest = json.dumps(
        {
            key: value
            for key, value in json.loads(data).items()
            if key in ("stamp", "record", "visits", "sessions", "problems", "photographs")
        }
        | values
    )
    rest = f'",{rest[1:]}'.encode()
    path.write_bytes(start + hashlib.sha256(rest).hexdigest().encode() + rest)


@pytest.mark.parametrize(
    "values",
    [
        {"visits": "many"},
        {"visits": [{}]},
        {"visits": [{"session_id": "x", "when": "now"}]},
        {"record": {}},
        {"record": 3},
        {"record": {"name": "b 2"}},
        {"problems": 3},
        {"sessions": "few"},
        {"stamp": 3},
    ],
)
def test_entries_that_make_no_sense(archive, values):
    """An entry of the index that describes nothing is worked out from the files."""
    listed(archive)
    forge(archive, **values)
    assert listed(archive) == (truth(archive), 1)


def test_check_names_an_index_that_lies(archive):
    """An index that fits the files' times but not what they say is named by the check."""
    listed(archive)
    found = check_archive(archive)
    assert (found.problems, found.unknown, found.leftovers) == ((), (), ())
    forge(archive, sessions=7)
    (problem,) = check_archive(archive).problems
    assert problem.startswith(f"{archive / FOLDER}{os.sep}b-2")
    assert "remove it" in problem


def test_problems_name_their_files_wherever_the_archive_lies(archive, tmp_path, monkeypatch):
    """A problem is told with the path by which the archive was called, stored or not."""
    damage(archive)
    for _ in range(2):
        (problem,) = [p for e in listed(archive)[0] for p in e.problems]
        assert problem.startswith(f"{archive}{os.sep}b-2")
    assert not [data for data in bytes_of(archive).values() if str(tmp_path).encode() in data]
    monkeypatch.chdir(tmp_path)
    (problem,) = [p for e in listed(Path("shop"))[0] for p in e.problems]
    assert problem.startswith("shop/b-2")


def test_the_index_is_json(archive):
    """An entry is JSON, with a digest of all that follows it."""
    listed(archive)
    for data in bytes_of(archive).values():
        values = json.loads(data)
        assert (values["schema"], values["schema_version"]) == ("fringe index", SCHEMA_VERSION)
        rest = data.partition(values["sha256"].encode())[2]
        assert hashlib.sha256(rest).hexdigest() == values["sha256"]


def test_no_archive(tmp_path):
    """A folder that is not there is refused in one line."""
    with pytest.raises(BadInput, match="no such archive"):
        list_archive(tmp_path / "nowhere")


def test_an_entry_without_a_record(archive):
    """A surface whose record is damaged is listed with the reason; its sessions still count."""
    damage_in_place(archive)
    entry = next(e for e in listed(archive)[0] if e.surface is None)
    visits = tuple(one.record for one in list_sessions(entry.folder))
    assert entry == Entry(entry.folder, None, visits, 1, entry.problems)
    assert len(entry.problems) == 1
