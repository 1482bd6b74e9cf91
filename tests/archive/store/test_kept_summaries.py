"""Summaries that the index keeps: each file is opened once, and never believed once it changed."""

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

from fringe.archive.store import kept_summaries
from fringe.archive.store.kept_summaries import SCHEMA_VERSION, summaries_place, to_json
from fringe.archive.store.order import survey
from fringe.archive.store.read import read_summary, session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import load_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.judge.state.visits import Work
from sample_visits import full_surface, full_visit, hours, plain_visit


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A surface with every kind of visit: with all fields, worked, corrected and struck out."""
    surface = full_surface(tmp_path_factory.mktemp("made") / "shop")
    log_visit(surface, full_visit(np.random.default_rng(1)), now=hours(0))
    log_visit(surface, Visit(work=Work(parts=(("work", 20.0), ("tool", 9.0)))), now=hours(1))
    log_visit(surface, dataclasses.replace(plain_visit("better"), replaces="1"), now=hours(2))
    struck = dataclasses.replace(plain_visit("another piece"), replaces="2", struck=True)
    log_visit(surface, struck, now=hours(3))
    return surface.folder


@pytest.fixture
def folder(made, tmp_path, monkeypatch):
    """The surface in an archive of the test's own, as if it had many sessions, an hour later."""
    monkeypatch.setattr(kept_summaries, "MANY", 2)
    later = time.time_ns() + 3_600_000_000_000
    monkeypatch.setattr("fringe.archive.store.kept_summaries.time.time_ns", lambda: later)
    return Path(shutil.copytree(made.parent, tmp_path / "shop")) / made.name


@pytest.fixture
def opened(monkeypatch):
    """Names of the session files that are opened."""
    names = []

    def read(path):
        names.append(path.name)
        return read_summary(path)

    monkeypatch.setattr(kept_summaries, "read_summary", read)
    return names


def test_each_file_is_opened_once(folder, opened):
    """Summaries from the index are those of the files, and only a new file is opened."""
    first = survey(folder)
    assert len(opened) == 4
    assert survey(folder) == first == survey(folder, anew=True)
    opened.clear()
    log_visit(load_surface(folder), plain_visit("more"), now=hours(5))
    opened.clear()
    assert len(survey(folder).visits) == 3
    assert opened == [session_files(folder)[-1].name]


def damage(folder):
    """One byte, with size and time of change as before."""
    path = session_files(folder)[1]
    state = path.stat()
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def swap(folder):
    """Another session in the place of one."""
    one, other = session_files(folder)[:2]
    shutil.copy2(one, other)


def remove(folder):
    session_files(folder)[1].unlink()


def spoil(folder):
    """The index itself."""
    place = summaries_place(folder)
    data = bytearray(place.read_bytes())
    data[len(data) // 2] ^= 1
    place.write_bytes(data)


def upgrade(folder):
    """An index of another version."""
    place = summaries_place(folder)
    place.write_bytes(place.read_bytes().replace(b'"schema_version":', b'"schema_version":1'))


@pytest.mark.parametrize("do", [damage, swap, remove, spoil, upgrade], ids=lambda do: do.__name__)
def test_what_changed_is_not_believed(folder, do):
    """Whatever happens to files or index, the survey says what the files say."""
    survey(folder)
    do(folder)
    assert survey(folder) == survey(folder, anew=True)


def test_check_believes_no_index(folder):
    """An index that fits its digest, but not what the files say, is named."""
    survey(folder)
    place = summaries_place(folder)
    assert check_archive(folder.parent).problems == ()
    rest = place.read_bytes().partition(b"\n")[2].replace(b'"by":null', b'"by":"me"')
    place.write_bytes(kept_summaries._first(hashlib.sha256(rest).hexdigest()) + b"\n" + rest)
    (problem,) = check_archive(folder.parent).problems
    assert problem.startswith(str(place))


def test_few_sessions_leave_no_file(folder, monkeypatch):
    """A surface with few sessions is read without it."""
    monkeypatch.setattr(kept_summaries, "MANY", 5)
    survey(folder)
    assert not summaries_place(folder).exists()


def rounded(value):
    """Numbers to six digits, which every machine agrees on."""
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, dict):
        return {key: rounded(one) for key, one in value.items()}
    return [rounded(one) for one in value] if isinstance(value, list | tuple) else value


def test_the_version_is_raised_with_the_content(made):
    """What is read of a session gives these digests under this version of the index.

    Where this fails because another thing is taken from a session than before, raise
    `SCHEMA_VERSION`, so that no index of before is believed, and write the new digest here.
    """
    named = {"session_id", "replaces", "previous_session", "seen"}  # differ from run to run
    values = [
        {key: rounded(one) for key, one in to_json(read_summary(path)).items() if key not in named}
        for path in session_files(made)
    ]
    digest = hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()[:16]
    assert (SCHEMA_VERSION, digest) == (5, "bd2cc93b717c963e")
