"""A check of what changed since the last one; moves that were cut off, and ones that never were."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

import pytest

from calling import call
from fringe.archive.store import ledger
from fringe.archive.store.kept_summaries import FOLDER
from fringe.archive.store.read import session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import change_surface, list_surfaces, load_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer import check
from fringe.archive.transfer.check import check_archive
from fringe.archive.transfer.move import move_surface
from fringe.archive.views import changed_visits
from fringe.archive.views.visit_request import VisitRequest
from fringe.judge.state.visits import Work
from sample_visits import full_surface, hours, plain_visit


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three surfaces, two of them with visits."""
    archive = tmp_path_factory.mktemp("made") / "shop"
    for name, count in (("one", 2), ("two", 1), ("three", 0)):
        surface = full_surface(archive, name)
        for i in range(count):
            log_visit(surface, plain_visit(), now=hours(i))
    return archive


@pytest.fixture
def archive(made, tmp_path, monkeypatch):
    """These in an archive of the test's own, an hour later."""
    later = time.time_ns() + 3_600_000_000_000
    monkeypatch.setattr("fringe.archive.store.index.time.time_ns", lambda: later)
    return Path(shutil.copytree(made, tmp_path / "shop"))


@pytest.fixture
def proven(monkeypatch):
    """Names of the sessions that are proven byte by byte."""
    names = []
    prove = check.prove_in_parts

    def counted(path):
        names.append(path.name[:4])
        return prove(path)

    monkeypatch.setattr(check, "prove_in_parts", counted)
    return names


def surface(archive, name):
    """One of the surfaces."""
    return next(one for one in map(load_surface, list_surfaces(archive)) if one.name == name)


def since(archive):
    """What a check since the last one finds."""
    return check_archive(archive, since_last=True)


def test_what_was_proven_is_trusted(archive, proven):
    """Of files that have not changed since none is read again; without the option all are."""
    first = check_archive(archive)
    assert (first.problems, first.checked, first.trusted, len(proven)) == ((), 6, 0, 3)
    proven.clear()
    again = since(archive)
    assert (again.problems, again.checked, again.trusted, proven) == ((), 6, 6, [])
    assert (check_archive(archive).trusted, len(proven)) == (0, 3)


def test_a_new_visit_alone_is_proven(archive, proven):
    """A surface to which something was added has that proven, and the rest held against it."""
    check_archive(archive)
    log_visit(surface(archive, "one"), plain_visit("more"), now=hours(5))
    change_surface(surface(archive, "two"), note="new")
    proven.clear()
    found = since(archive)
    assert (found.problems, proven) == ((), ["0003"])
    assert found.trusted == found.checked - 1 - 3  # that visit, and the records of both


def damage(path):
    """One byte of a session, with its time of change as before."""
    state = path.stat()
    data = bytearray(path.read_bytes())
    data[300] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


@pytest.mark.parametrize("do", [damage, Path.unlink], ids=["damage", "remove"])
def test_what_changed_is_never_vouched_for(archive, do):
    """A file that was changed or taken away since is found, whatever was proven of it."""
    check_archive(archive)
    path = session_files(surface(archive, "one").folder)[0]
    do(path)
    assert any(str(path) in one for one in since(archive).problems)
    assert any(str(path) in one for one in since(archive).problems)  # nor the next time


def test_a_check_that_was_interrupted_is_gone_on_with(archive, proven):
    """What was proven before a check was stopped is not proven again."""

    def stop(done, total):
        assert total == 3
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_archive(archive, tell=stop)
    before = len(proven)
    found = since(archive)
    assert (found.problems, len(proven)) == ((), 3)
    assert 0 < before < 3


def test_a_full_check_believes_no_proof(archive):
    """A proof that somebody made up is believed by its own check alone; damage to it by none."""
    check_archive(archive)
    path = session_files(surface(archive, "one").folder)[0]
    damage(path)
    since(archive)
    for proof in (archive / FOLDER).glob("*.proved"):
        proof.write_bytes(proof.read_bytes().replace(b'"stamp":""', b'"stamp":"x"'))
    assert any(str(path) in one for one in since(archive).problems)
    assert any(str(path) in one for one in check_archive(archive).problems)


def test_the_command_says_what_it_trusted(archive, capsys):
    """The first line tells how many files were proven before; JSON as `trusted`."""
    call(capsys, "check", archive)
    told = call(capsys, "check", archive, "--since-last")
    assert "6 files checked, 6 of them as proven before, all as written" in told.out
    assert call(capsys, "check", archive, "--since-last", "--json").json["trusted"] == 6


def test_a_visit_that_was_moved_by_half(archive, monkeypatch):
    """A move of a visit that was cut off is named, kept proofs or not, until it is finished."""
    one = surface(archive, "one")
    log_visit(one, Visit(work=Work("#600", 5.0)), now=hours(6))
    request = VisitRequest(move="3", to_surface="two")

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(changed_visits, "strike_visit", killed)
        with pytest.raises(KeyboardInterrupt):
            changed_visits.move_visit(one, "3", request)
    for since_last in (False, True, True):
        (problem,) = check_archive(archive, since_last=since_last).problems
        assert "it was moved from one, where it is still visit 3" in problem
    changed_visits.move_visit(one, "3", request)
    assert since(archive).problems == ()


def test_a_surface_that_left_is_looked_for(archive, tmp_path):
    """A surface that moved is confirmed by the archive that has it now, wherever that lies."""
    move_surface(surface(archive, "two"), tmp_path / "finished")
    assert check_archive(archive).problems == ()
    move_surface(surface(tmp_path / "finished", "two"), tmp_path / "sold")
    assert check_archive(archive).problems == ()
    (tmp_path / "finished").rename(tmp_path / "elsewhere")
    (problem,) = check_archive(archive).problems
    assert "surface 'two' is said to have moved to" in problem
    assert "--moved-to" in problem
    assert check_archive(archive, elsewhere=[tmp_path / "elsewhere"]).problems == ()


@pytest.mark.parametrize("to", ["", "finished"])
def test_a_surface_that_never_moved(archive, tmp_path, to):
    """A surface that was taken away, with a line in the ledger that it moved, is missed."""
    full_surface(tmp_path / "finished", "another")
    gone = surface(archive, "two").folder
    identity = ledger.surface_id(gone)
    where = str(tmp_path / to) if to else ""
    ledger._append(archive, lambda _: [ledger.Line(identity, "two", "", "", "", where)])
    shutil.rmtree(gone)
    (problem,) = check_archive(archive).problems
    assert "surface 'two' is said to have moved" in problem
