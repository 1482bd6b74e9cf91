"""A surface's sessions for a report: each opened once, and whole where it is shown."""

from __future__ import annotations

import dataclasses
from collections import Counter

import pytest

from fringe.archive.store import hdf5
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.store.session import Photograph, Visit
from fringe.archive.store.write import log_visit
from fringe.archive.views.proof import prove
from fringe.archive.views.surface_state import surface_state
from sample_visits import full_surface, hours, power_reading


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


@pytest.fixture
def opened(monkeypatch):
    """How often each file was opened as HDF5."""
    count = Counter()
    real = hdf5.opened
    monkeypatch.setattr(hdf5, "opened", lambda path: count.update([path]) or real(path))
    return count


def photographed(power, **fields):
    """A visit with one photograph of this power."""
    one = dataclasses.replace(power_reading(power, 0.1), photographs=(1,), gap=None)
    data = f"{power}".encode()
    return Visit(readings=(one,), photographs=(Photograph(f"{power}.jpg", data),), **fields)


def read(session):
    return bool(session.visit.readings)


def test_each_file_is_opened_once(surface, opened):
    """Summary, order, proof and state of four sessions, one of them corrected: one opening each."""
    for i in range(3):
        log_visit(surface, photographed(3.0 - i), now=hours(i))
    log_visit(surface, photographed(1.5, replaces="2"), now=hours(4))
    log_visit(surface, Visit(remarks="looked at it"), now=hours(5))
    opened.clear()
    proof = prove(surface, read)
    state = proof.state()
    assert set(opened.values()) == {1}
    assert len(opened) == 5
    assert len(proof.sessions) == len(proof.digests) == len(state.rows) == 4
    assert state.to_json() == surface_state(surface).to_json()
    assert proof.subject.visit.photographs[0].data == b"1.0"
    assert proof.last.visit.remarks == "looked at it"
    assert all(not one.visit.photographs for one in proof.opened.values())


def test_the_last_visit_is_that_of_its_time(surface, opened):
    """A visit that was logged late, of an earlier time, is not the last one."""
    log_visit(surface, photographed(2.0), now=hours(3))
    log_visit(surface, photographed(4.0, when=hours(1)), now=hours(5))
    opened.clear()
    proof = prove(surface, read)
    assert proof.subject.visit.photographs[0].data == b"2.0"
    assert max(opened.values()) == 1


def test_a_correction_that_undoes_the_last_reading(surface):
    """Where the last reading was corrected away, the one before is shown, with its photograph."""
    for i in range(2):
        log_visit(surface, photographed(3.0 - i), now=hours(i))
    log_visit(surface, Visit(remarks="it was another piece", replaces="2"), now=hours(4))
    proof = prove(surface, read)
    assert proof.subject.visit.photographs[0].data == b"3.0"
    assert proof.last.visit.remarks == "it was another piece"


def test_what_is_damaged_is_named_and_left_out(surface):
    """A session of which a byte was altered is named once, and counts for nothing."""
    for i in range(3):
        log_visit(surface, photographed(3.0 - i), now=hours(i))
    place = survey(surface.folder).sessions[1].place
    data = bytearray(place.read_bytes())
    data[len(data) // 2] ^= 1
    place.write_bytes(bytes(data))
    proof = prove(surface, read)
    (line,) = proof.problems
    assert str(place) in line
    assert (place in proof.damaged, place in proof.opened) == (True, False)
    assert [one.place for one in proof.sessions] == [
        one.place for one in survey(surface.folder).sessions if one.place != place
    ]
    assert open_session(proof.sessions[0].place).content_sha256 in proof.digests.values()
