"""Tampering with an archive: each way is noticed by the check, or by the digest that was kept."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import shutil

import h5py
import numpy as np
import pytest
from forging import rewritten

from calling import call
from fringe.archive.instruments import add_instrument
from fringe.archive.store.ledger import LEDGER, add_all_files, read_ledger
from fringe.archive.store.read import session_files
from fringe.archive.store.surface import add_surface, change_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.archive.transfer.move import move_surface
from fringe.archive.transfer.proof import prove_archive
from sample_visits import full_surface, full_visit, hours, plain_visit


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An archive of two surfaces with visits, and the record of a plate; and its digest.

    The check has nothing to say about it. Making it anew for each test would take long.
    """
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    archive = tmp_path_factory.mktemp("made") / "shop"
    full = full_visit(rng)
    full = dataclasses.replace(full, readings=full.readings[:1], spherometers=())
    for name in ("one", "two"):
        made = full_surface(archive, name)
        for i in range(4):
            visit = full if (name, i) == ("one", 1) else plain_visit(str(i))
            log_visit(made, visit, now=hours(i))
    add_instrument(archive, "plate", "P", {"form": "convex", "radius_mm": 100.0})
    proof = prove_archive(archive)
    assert proof.findings.problems == ()
    return archive, proof.digest


@pytest.fixture
def archive(made, tmp_path):
    """An archive of the test's own."""
    return shutil.copytree(made[0], tmp_path / "shop")


def text(value):
    return np.array(value.encode(), h5py.string_dtype("utf-8", len(value.encode())))


def sessions(archive, name="one"):
    return session_files(archive / name)


def delete_the_last(archive):
    sessions(archive)[-1].unlink()


def delete_all_visits(archive):
    for path in sessions(archive):
        path.unlink()


def delete_a_surface(archive):
    shutil.rmtree(archive / "two")


def double_a_surface(archive):
    shutil.copytree(archive / "one", archive / "one-again")


def edit_power(archive):
    def change(file):
        file["power_fringes"][0] = 0.01

    rewritten(sessions(archive)[1], change)


def edit_the_last_remark(archive):
    rewritten(sessions(archive)[-1], lambda file: file.attrs.create("remarks", text("fine")))


def replace_a_photograph(archive):
    def change(file):
        group = file["photograph_1"]
        data = np.frombuffer(group["data"][:].tobytes()[::-1], "u1")
        group["data"][:] = data
        group.attrs.create("sha256", text(hashlib.sha256(data.tobytes()).hexdigest()))

    rewritten(sessions(archive)[1], change)


def backdate(archive):
    def change(file):
        for name in ("when", "logged_at"):
            file.attrs.create(name, text("2020-01-01T09:00:00+00:00"))

    rewritten(sessions(archive)[-1], change)


def backdate_the_visit_alone(archive):
    def change(file):
        file.attrs.create("when", text("2020-01-01T09:00:00+00:00"))

    rewritten(sessions(archive)[-1], change)


def reorder(archive):
    rewritten(sessions(archive)[-1], lambda file: file.attrs.create("sequence", np.int64(-5)))


def delete_a_middle_one_and_mend(archive):
    first, middle, after, _ = sessions(archive)
    middle.unlink()

    def change(file):
        file.attrs.create("previous_session", text(first.stem))
        file.attrs.create("visit", np.int64(2))
        del file.attrs["seen_sessions"]

    rewritten(after, change)


def edit_the_tolerance(archive):
    path = archive / "one" / "surface-0001.json"
    record = path.read_text()
    record = record.replace('"power_fringes": 2.0', '"power_fringes": 9.0')
    digest = json.loads(record)["sha256"]
    blank = record.replace(digest, "0" * 64)
    path.write_text(record.replace(digest, hashlib.sha256(blank.encode()).hexdigest()))


def edit_the_plate(archive):
    path = archive / "instruments" / "plate" / "P.toml"
    path.write_text(path.read_text().replace("100.0", "101.0"))


WAYS = [
    delete_the_last,
    delete_all_visits,
    delete_a_surface,
    double_a_surface,
    edit_power,
    edit_the_last_remark,
    replace_a_photograph,
    backdate,
    backdate_the_visit_alone,
    reorder,
    delete_a_middle_one_and_mend,
    edit_the_tolerance,
    edit_the_plate,
]


@pytest.mark.parametrize("way", WAYS)
def test_each_way_is_noticed(archive, way):
    """Whatever was done to the files, the check names it; before, it had nothing to say."""
    way(archive)
    assert check_archive(archive).problems


@pytest.mark.parametrize("way", WAYS)
def test_a_rewritten_ledger_does_not_help(archive, made, way):
    """With the ledger made anew to fit, the digest that was kept is no longer contained."""
    digest = made[1]
    way(archive)
    (archive / LEDGER).unlink()
    prove_archive(archive)
    (problem, *_) = reversed(prove_archive(archive, digest).findings.problems)
    assert f"the history that {digest} stands for is not contained" in problem


@pytest.mark.parametrize("number", range(4))
def test_no_visit_can_be_taken_out_alone(archive, number):
    """Of many visits, any one that is deleted is missed, by the ledger and mostly by others."""
    sessions(archive)[number].unlink()
    problems = check_archive(archive).problems
    assert any("is in the ledger" in line for line in problems)
    if number < 3:
        assert any("it was there when" in line for line in problems)


def test_what_goes_on_keeps_the_history(archive, tmp_path):
    """Visits, records, instruments and moves add to a history; the digest of before is in it."""
    kept = prove_archive(archive).digest
    assert prove_archive(archive).digest == kept
    one = full_surface(archive, "three")
    log_visit(change_surface(one, note="x"), plain_visit(), now=hours(1))
    add_instrument(archive, "plate", "Q", {"form": "convex", "radius_mm": 100.0})
    move_surface(one, tmp_path / "other")
    found = prove_archive(archive, kept)
    assert (found.findings.problems, found.left) == ((), ("three",))
    assert found.digest != kept
    other = prove_archive(tmp_path / "other")
    assert other.findings.problems == ()
    assert len(read_ledger(tmp_path / "other").lines) == 3


def test_an_archive_without_a_ledger_gets_one(archive):
    """An archive of an earlier version is sound; its next visit or check starts the ledger."""
    (archive / LEDGER).unlink()
    assert check_archive(archive).problems == ()
    first = prove_archive(archive)
    assert first.findings.problems == ()
    assert len({line.chain for line in read_ledger(archive).lines}) == 11
    assert prove_archive(archive, first.digest).sound


def test_a_writer_killed_before_the_ledger(archive, monkeypatch):
    """A session that the ledger lacks is added by the next writer; nothing is wrong meanwhile."""
    monkeypatch.setattr("fringe.archive.store.write.add_surface_files", lambda _: None)
    surface = add_surface(archive, full_surface(archive.parent / "x", "three"))
    log_visit(surface, plain_visit(), now=hours(5))
    monkeypatch.undo()
    assert check_archive(archive).problems == ()
    log_visit(surface, plain_visit(), now=hours(6))
    assert check_archive(archive).problems == ()
    assert sum(line.name == "three" for line in read_ledger(archive).lines) == 3


def test_a_line_that_was_cut_off(archive):
    """A ledger that ends in half a line counts without it, and goes on after it."""
    path = archive / LEDGER
    path.write_bytes(path.read_bytes()[:-20])
    assert check_archive(archive).problems == ()
    assert prove_archive(archive).sound
    assert read_ledger(archive).problems == ()
    assert path.read_bytes().endswith(b"}\n")


def test_an_edited_ledger(archive):
    """A line that was changed is named by its number, and nothing is built on it."""
    path = archive / LEDGER
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join([*lines[:3], lines[4], lines[3], *lines[5:]]))
    assert any("line 4 does not follow" in line for line in check_archive(archive).problems)


@pytest.mark.parametrize("end", ["\x0b", "\u2028"])
def test_lines_end_with_line_feeds_alone(archive, end):
    """Another separator is no end of a line, be it in a name or where a line feed was."""
    add_surface(archive, dataclasses.replace(full_surface(archive, "four"), name="fi\u2028ve"))
    add_all_files(archive)
    assert read_ledger(archive).problems == ()
    path = archive / LEDGER
    path.write_bytes(path.read_bytes().replace(b"}\n", b"}" + end.encode(), 1))
    assert len(read_ledger(archive).problems) == 1


def test_the_command(archive, monkeypatch, capsys):
    """The digest is printed and in the JSON; --expect of another one is exit 1."""
    monkeypatch.chdir(archive.parent)
    digest = call(capsys, "check", "shop", "--json").json["digest"]
    answer = call(capsys, "check", "shop", "--expect", digest)
    assert (answer.status, digest in answer.out) == (0, True)
    answer = call(capsys, "check", "shop", "--expect", "0" * 64)
    assert (answer.status, "is not contained" in answer.out) == (1, True)
