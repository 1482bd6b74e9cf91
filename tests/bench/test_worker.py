"""The reader in a process of its own."""

from __future__ import annotations

import io
import os
import threading

import numpy as np
import pytest
from PIL import Image

from fringe.bench.worker import Job, ProcessReader, read_job
from fringe.errors import BadInput, FringeError, Refused
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.photo.ellipse import Edge
from fringe.synth import Form, Scene, render

OPTIONS = ReadOptions(lamp("sodium"), edge=Edge(100.0, 100.0, 85.0, 85.0), sense="centre")


@pytest.fixture(scope="module")
def rings():
    """A rendered photograph of 200 pixels with a power of three fringes."""
    scene = Scene(200, 200, (100.0, 100.0), 85.0, form=Form(power=3.0), seed=4)
    buffer = io.BytesIO()
    Image.fromarray(render(scene).image).save(buffer, "PNG")
    return buffer.getvalue()


@pytest.fixture
def reader():
    reader = ProcessReader()
    yield reader
    reader.close()


def result_of(reader, job):
    """Submit a job and wait for its result; say whether it began before."""
    began, ended, results = threading.Event(), threading.Event(), []
    reader.submit(job, began.set, lambda result: (results.append(result), ended.set()))
    assert ended.wait(600)
    assert began.is_set()
    return results[0]


def test_it_reads(reader, rings):
    """Another process reads a photograph as this one does, and goes on after bad ones."""
    assert isinstance(result_of(reader, Job(b"text", "a.png", OPTIONS)), BadInput)
    found = result_of(reader, Job(rings, "rings.png", OPTIONS))
    here = read_job(Job(rings, "rings.png", OPTIONS))
    assert not isinstance(found, FringeError)
    assert found.to_json() == here.to_json()
    assert found.power_fringes == pytest.approx(3.0, abs=0.1)
    np.testing.assert_array_equal(found.form.values, here.form.values)


def test_a_reader_that_dies_is_started_again(reader, rings):
    """A process that is killed brings nothing down: the next photograph is read by a new one."""
    result_of(reader, Job(b"text", "a.png", OPTIONS))  # now it is surely there
    first = reader._process.pid
    results, ended = [], threading.Event()
    reader.submit(
        Job(rings, "rings.png", OPTIONS),
        lambda: os.kill(first, 9),
        lambda result: (results.append(result), ended.set()),
    )
    assert ended.wait(600)
    assert not isinstance(result_of(reader, Job(rings, "rings.png", OPTIONS)), FringeError)
    assert reader._process.pid != first


def test_what_is_given_up_is_not_told(reader, rings):
    """A reading that is given up says nothing more; the one after it does."""
    told, ways_out, known = [], [], threading.Event()

    def begun():
        known.wait()
        ways_out[0]()

    ways_out.append(
        reader.submit(Job(rings, "one.png", OPTIONS), begun, lambda result: told.append("one"))
    )
    known.set()
    assert not isinstance(result_of(reader, Job(rings, "two.png", OPTIONS)), FringeError)
    assert told == []


def test_what_takes_too_long_is_refused(rings):
    """A reading that is not done in time is refused with what to do."""
    reader = ProcessReader(longest_s=0.0)
    try:
        result = result_of(reader, Job(rings, "rings.png", OPTIONS))
    finally:
        reader.close()
    assert isinstance(result, Refused)
    assert "give the edge" in str(result)


def test_a_reader_that_cannot_be_started_says_so(rings, monkeypatch):
    """Where no process can be had, each photograph is told why, and none waits for good."""

    def no_room(self):
        raise RuntimeError("no room")

    monkeypatch.setattr(ProcessReader, "_start", no_room)
    reader = ProcessReader()
    try:
        for _ in range(2):
            result = result_of(reader, Job(rings, "rings.png", OPTIONS))
            assert isinstance(result, BadInput)
            assert "rings.png: the reader cannot be started: no room" in str(result)
    finally:
        reader.close()
