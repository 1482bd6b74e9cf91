"""From photographs to what a visit logs."""

from __future__ import annotations

import dataclasses
import hashlib
import os
import re

import numpy as np
import pytest

from fringe.archive.store.order import list_sessions
from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.archive.views.asked import Asked
from fringe.archive.views.changed_visits import log_or_change
from fringe.archive.views.photographs import read_photographs, take_over
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput, Refused
from fringe.judge.state.visits import Work
from fringe.optics.lamps import lamp
from fringe.orders.gap_map import gap_map
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.reading import FormFit, Quality, Reading
from sample_visits import full_surface, full_visit, power_reading

SODIUM = ReadOptions(lamp("sodium"), diameter_mm=150.0)


@pytest.fixture
def photos(tmp_path, rng):
    """Three files, of which the last is a copy of the first."""
    paths = [tmp_path / name for name in ("a.jpg", "b.PNG", "again.jpg")]
    paths[0].write_bytes(rng.bytes(1000))
    paths[1].write_bytes(rng.bytes(2000))
    paths[2].write_bytes(paths[0].read_bytes())
    return paths


def reader(photographs, options):
    """Read power from the size of the file, and refuse PNG."""
    (one,) = photographs
    if one.file_name.endswith(".PNG"):
        raise Refused(f"{one.file_name}: no fringes to be seen")
    return power_reading(len(one.data) / 1000).reading


def test_each_photograph_once(photos):
    """A photograph that is given twice is read and kept once, with its bytes and name."""
    readings, kept = read_photographs([photos[0], photos[2]], SODIUM, reader=reader)
    assert [logged.reading.power_fringes for logged in readings] == [1.0]
    assert [(p.file_name, p.data, p.media_type) for p in kept] == [
        ("a.jpg", photos[0].read_bytes(), "image/jpeg")
    ]
    assert readings[0].photographs == (1,)
    assert readings[0].lamp == SODIUM.lamp


def test_one_refusal_stops_all(photos):
    """Without being told to keep it, a photograph that cannot be read stops the visit."""
    with pytest.raises(Refused, match="no fringes"):
        read_photographs(photos, SODIUM, reader=reader)


def test_refused_photographs_are_kept_on_demand(photos):
    """Kept on demand: the refused one carries its reason, the others their readings."""
    readings, kept = read_photographs(photos[::-1], SODIUM, keep_refused=True, reader=reader)
    assert [(p.file_name, p.refusal) for p in kept] == [
        ("again.jpg", None),
        ("b.PNG", "b.PNG: no fringes to be seen"),
    ]
    assert [one.photographs for one in readings] == [(1,)]
    assert kept[1].media_type == "image/png"


@pytest.mark.parametrize(
    ("start", "kind"),
    [
        (b"\xff\xd8\xff\xe0", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"II*\0", "image/tiff"),
        (b"MM\0*", "image/tiff"),
        (b"???", "image/png"),
    ],
)
def test_the_kind_of_a_photograph_is_that_of_its_bytes(tmp_path, start, kind):
    """A photograph's media type follows its bytes; its name counts where they say nothing."""
    path = tmp_path / "named.png"
    path.write_bytes(start + bytes(100))
    _, (kept,) = read_photographs([path], SODIUM, reader=lambda *_: power_reading(1.0).reading)
    assert kept.media_type == kind


def test_a_pipe_is_no_photograph(tmp_path):
    """A pipe, which never ends, is refused at once."""
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(BadInput, match=r"pipe\.jpg"):
        read_photographs([tmp_path / "pipe.jpg"], SODIUM, reader=reader)


def test_a_file_that_changes(photos):
    """The bytes that are kept are those that were read, whatever happens to the file then."""
    before = photos[0].read_bytes()

    def changing(photographs, options):
        photos[0].write_bytes(b"another picture")
        return power_reading(len(photographs[0].data) / 1000).reading

    (logged,), (kept,) = read_photographs(photos[:1], SODIUM, reader=changing)
    assert (logged.reading.power_fringes, kept.data) == (1.0, before)


def test_a_logged_photograph_is_opened_and_digested_once(photos, monkeypatch):
    """Each file is read once from the disk, and its bytes are digested once as a photograph."""
    digested = []
    sha256 = hashlib.sha256
    monkeypatch.setattr(hashlib, "sha256", lambda data: digested.append(data) or sha256(data))
    opened = []
    monkeypatch.setattr(
        "fringe.archive.views.photographs.read_bytes",
        lambda path: opened.append(path) or path.read_bytes(),
    )
    readings, kept = read_photographs(
        photos[:1], SODIUM, reader=lambda p, o: power_reading(float(len(p[0].sha256))).reading
    )
    assert [readings[0].reading.power_fringes, len(kept[0].sha256)] == [64.0, 64]
    assert opened == photos[:1]
    assert digested == [photos[0].read_bytes()]


@pytest.mark.parametrize("refuses", [False, True])
def test_the_question_and_the_reading_share_a_photograph(photos, tmp_path, monkeypatch, refuses):
    """What is asked of a photograph costs no second look at the file and no second digest."""

    def read(photographs, options):
        if refuses:
            raise Refused("no fringes to be seen")
        return power_reading(float(len(photographs[0].sha256))).reading

    surface = full_surface(tmp_path / "shop")
    data = photos[0].read_bytes()
    digested, opened = [], []
    sha256 = hashlib.sha256
    monkeypatch.setattr(
        hashlib, "sha256", lambda *one: digested.append(one == (data,)) or sha256(*one)
    )
    monkeypatch.setattr(
        "fringe.archive.views.photographs.read_bytes",
        lambda path: opened.append(path) or path.read_bytes(),
    )
    monkeypatch.setattr("fringe.archive.views.photographs.read_kept", read)
    request = VisitRequest(keep_refused=True)
    done = log_or_change(surface, photos[:1], request, StatedOptions())
    assert [one.refusal is not None for one in done.visit.photographs] == [refuses]
    assert (opened, sum(digested)) == (photos[:1], 1)
    with pytest.raises(Asked, match=r"a\.jpg: this photograph is in visit 1 of"):
        log_or_change(surface, photos[:1], request, StatedOptions())


def test_files_that_are_not_there(tmp_path):
    """A missing photograph and a folder are refused by name, before anything is read."""
    for path in (tmp_path / "gone.jpg", tmp_path):
        with pytest.raises(BadInput, match=re.escape(str(path))):
            read_photographs([path], SODIUM, reader=reader)


def reading_of(terms, values):
    """A reading with the given form."""
    n = len(terms)
    form = FormFit(tuple(terms), np.array(values, float), np.diag(np.full(n, 1e-4)))
    return Reading(600.0, Quality(0.5, 0.9, 0.1), form=form)


def test_gap_map_of_a_sphere():
    """Analytic: two fringes of power at 600 nm are a gap of 600 nm at the rim, 0 at the centre."""
    gap = gap_map(reading_of([(0, 0), (2, 0)], [7.0, 1.0]), 150.0, side=301)
    assert gap.unit == "mm"
    assert (gap.x[0], gap.x[-1], gap.y[0]) == (-75.0, 75.0, -75.0)
    middle = gap.gap_nm[150]
    assert middle[150] == 0.0
    np.testing.assert_allclose(middle, 600.0 * (gap.x / 75.0) ** 2, atol=1e-3)
    assert np.isnan(gap.gap_nm[0, 0])
    assert np.nanmin(gap.gap_nm) == 0.0
    inside = np.isfinite(gap.gap_nm).mean()
    assert inside == pytest.approx(np.pi / 4, abs=0.01)


def test_gap_map_keeps_the_photographs_directions():
    """Analytic: a tilt along +x rises to the right; one along +y rises downwards, as rows do."""
    right = gap_map(reading_of([(1, 1)], [1.0]), None, side=51).gap_nm
    down = gap_map(reading_of([(1, -1)], [1.0]), None, side=51).gap_nm
    assert right[25, 0] == 0.0
    assert right[25, -1] == pytest.approx(600.0)
    assert down[0, 25] == 0.0
    assert down[-1, 25] == pytest.approx(600.0)


def test_gap_map_without_lengths():
    """Without a diameter, places are in semi-diameters; without a form there is no map."""
    gap = gap_map(reading_of([(2, 0)], [1.0]), None, side=5)
    assert (gap.unit, gap.x.tolist()) == ("1", [-1.0, -0.5, 0.0, 0.5, 1.0])
    with pytest.raises(BadInput, match="no form"):
        gap_map(Reading(600.0, Quality(0.5, 0.9, 0.1)), None)


def test_a_correction_is_completed(rng):
    """What a correction does not say is taken over; what it says stands, empty text included."""
    old = full_visit(rng)
    new = take_over(Visit(remarks="", work=Work(minutes=5.0)), old)
    assert (new.remarks, new.by) == ("", old.by)
    assert new.work == dataclasses.replace(old.work, minutes=5.0)
    assert new.readings is old.readings
    assert new.photographs is old.photographs
    assert new.when is None


def test_new_readings_replace_all_old_ones(rng):
    """Readings and photographs are taken over together or not at all."""
    one = power_reading(1.0)
    new = take_over(Visit(readings=(one,)), full_visit(rng))
    assert (new.readings, new.photographs) == ((one,), ())


def test_visits_for_judging(tmp_path):
    """What judging gets of a session is what was logged."""
    surface = full_surface(tmp_path / "shop")
    work = Work("#400", 30.0, "work")
    log_visit(surface, Visit(work=work, readings=(power_reading(-3.0, 0.2, "edge"),)))
    (record,) = list_sessions(surface.folder)
    assert record.work == work
    (measured,) = record.measured
    assert (measured.power_fringes, measured.sense) == (-3.0, "edge")
    assert measured.power_u_fringes == pytest.approx(0.2 / 1.959964, rel=1e-5)
