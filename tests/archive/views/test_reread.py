"""Sessions computed again: what changed is listed, and nothing is rewritten."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from fringe.archive.store.session import LoggedReading, Photograph, Visit
from fringe.archive.store.write import log_visit
from fringe.archive.views.photographs import read_kept
from fringe.archive.views.reading_options import kept_options
from fringe.archive.views.reread import reread_surface
from fringe.archive.views.sagittas import sagitta_readings
from fringe.errors import BadInput, Refused
from fringe.optics.lamps import lamp
from fringe.orders.reading import Quality, Reading
from fringe.photo.ellipse import Edge
from fringe.synth import Form, Scene, render, save
from sample_visits import full_surface, hours, plain_visit, power_reading

OPTIONS = {
    "edge": "100,90.5,80",
    "sense": "centre",
    "diameter_mm": 150.0,
    "work": "concave",
    "plate_radius_mm": 3048.6,
    "camera_distance_mm": 900.0,
    "scale_px_per_mm": 5.0,
}


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


def photographed(*powers, options=OPTIONS, **fields):
    """A visit of photographs, each with a reading whose power the photograph's bytes say."""
    photographs = tuple(Photograph(f"{p}.jpg", str(p).encode(), "image/jpeg") for p in powers)
    readings = tuple(
        dataclasses.replace(power_reading(p, 0.1), photographs=(i,), options=options, **fields)
        for i, p in enumerate(powers, 1)
    )
    return Visit(readings=readings, photographs=photographs)


def by_bytes(photographs, options):
    """Read power from the photograph's bytes; a burst's is that of its first frame."""
    return power_reading(float(photographs[0].data), 0.1).reading


def files_of(surface):
    return {path: path.read_bytes() for path in surface.folder.iterdir()}


def test_the_same_code_changes_nothing(surface):
    """Computed again by the code that logged them, sessions say the same; no file changes."""
    log_visit(surface, photographed(1.0, 2.0), now=hours(0))
    log_visit(surface, photographed(-3.0), now=hours(1))
    log_visit(surface, plain_visit(), now=hours(2))
    before = files_of(surface)
    found = reread_surface(surface, reader=by_bytes)
    assert (found.sessions, found.computed) == (3, 3)
    assert (found.changes, found.left_out, found.problems) == ((), (), ())
    assert files_of(surface) == before


def shifted(step, **fields):
    """A reader whose power has moved, and whatever else is given."""

    def read(photographs, options):
        reading = by_bytes(photographs, options)
        power = reading.power_fringes + step
        return dataclasses.replace(reading, power_fringes=power, **fields)

    return read


@pytest.mark.parametrize(("step", "listed"), [(0.09, False), (-0.09, False), (0.11, True)])
def test_what_moved_by_more_than_its_uncertainty_is_listed(surface, step, listed):
    """A power within its logged interval of ± 0.1 is no change; one beyond it is."""
    path = log_visit(surface, photographed(2.0), now=hours(0))
    found = reread_surface(surface, reader=shifted(step))
    assert bool(found.changes) == listed
    for change in found.changes:
        assert (change.session_id, change.source) == (path.stem, "2.0.jpg")
        assert (change.quantity, change.before) == ("power_fringes", 2.0)
        assert change.now == pytest.approx(2.0 + step)
        assert (change.u95_before, change.u95_now) == (0.1, 0.1)


def test_changes_stand_in_the_order_of_logging(surface):
    """Changes of several sessions, corrected ones among them, stand as they were logged."""
    first = log_visit(surface, photographed(1.0, 2.0), now=hours(0))
    second = log_visit(surface, photographed(3.0), now=hours(1))
    third = log_visit(
        surface, dataclasses.replace(photographed(4.0), replaces=first.stem), now=hours(2)
    )
    found = reread_surface(surface, reader=shifted(1.0))
    assert [c.session_id for c in found.changes] == [first.stem] * 2 + [second.stem, third.stem]
    assert [c.before for c in found.changes] == [1.0, 2.0, 3.0, 4.0]


def test_a_sense_that_changed(surface):
    """A sense that is found otherwise is listed; signs are compared only where both know them."""
    log_visit(surface, photographed(2.0), now=hours(0))
    (unknown,) = reread_surface(surface, reader=shifted(0.0, sense="unknown")).changes
    assert (unknown.quantity, unknown.before, unknown.now) == ("sense", "centre", "unknown")

    def turned(photographs, options):
        return power_reading(-2.0, 0.1, "edge").reading

    found = reread_surface(surface, reader=turned).changes
    assert [c.quantity for c in found] == ["sense", "power_fringes"]


@pytest.mark.parametrize(
    "fields",
    [
        {"radius_difference_mm": 1.0, "radius_difference_u95_mm": 0.1},
        {"ring_step_px2": 900.0, "ring_step_u95_px2": 2.0},
        {"irregularity_fringes": 0.9},
    ],
    ids=lambda fields: next(iter(fields)),
)
def test_each_quantity_is_watched(surface, fields):
    """A quantity that appears, or moves beyond its interval, is listed by its name."""
    log_visit(surface, photographed(2.0), now=hours(0))
    (change,) = reread_surface(surface, reader=shifted(0.0, **fields)).changes
    assert change.quantity == next(iter(fields))
    assert change.now == next(iter(fields.values()))


def test_refusals_come_and_go(surface):
    """A reading that is refused today is listed, and a refused photograph that reads now."""

    def only_odd(photographs, options):
        reading = by_bytes(photographs, options)
        if reading.power_fringes % 2 == 0:
            raise Refused("no fringes to be seen")
        return reading

    refused = (
        Photograph("3.jpg", b"3", refusal="too dark"),
        Photograph("4.jpg", b"4", refusal="too dark"),
    )
    log_visit(surface, photographed(1.0, 2.0), now=hours(0))
    log_visit(surface, Visit(photographs=refused), now=hours(1))
    found = reread_surface(surface, reader=only_odd)
    assert found.computed == 4
    assert [(c.source, c.quantity, c.before, c.now) for c in found.changes] == [
        ("2.0.jpg", "reading", "+2.00 fringes", "no fringes to be seen"),
        ("3.jpg", "reading", "too dark", "+3.00 fringes"),
    ]


def test_a_photograph_is_read_with_what_it_was_read_with(surface):
    """The reader gets the photograph's own bytes, the lamp's lines, and every option as logged."""
    log_visit(surface, photographed(2.0), now=hours(0))
    seen = []

    def watching(photographs, options):
        seen.append((photographs, options))
        return by_bytes(photographs, options)

    reread_surface(surface, reader=watching)
    (((photograph,), options),) = seen
    assert (photograph.file_name, photograph.data) == ("2.0.jpg", b"2.0")
    assert options.lamp == lamp("sodium")
    edge = options.edge
    assert isinstance(edge, Edge)
    assert (edge.cx, edge.cy, edge.a, edge.b) == (100.0, 90.5, 80.0, 80.0)
    assert (options.diameter_mm, options.plate_radius_mm) == (150.0, 3048.6)
    assert (options.work, options.sense) == ("concave", "centre")
    assert (options.camera_distance_mm, options.scale_px_per_mm) == (900.0, 5.0)


def test_a_refused_photograph_is_read_with_what_it_was_given(surface):
    """A photograph without a reading is read with the visit's inputs and the record of then."""
    visit = Visit(
        photographs=(Photograph("a.jpg", b"1", refusal="too dark"),),
        inputs={"lamp": "hene", "edge": "none", "sense": "edge", "camera_distance": 800.0},
    )
    log_visit(surface, visit, now=hours(0))
    seen = []

    def watching(photographs, options):
        seen.append(options)
        raise Refused("still too dark")

    assert reread_surface(surface, reader=watching).changes == ()
    (options,) = seen
    assert (options.lamp.name, options.edge, options.sense) == ("hene", "none", "edge")
    assert (options.camera_distance_mm, options.diameter_mm) == (800.0, 150.0)
    assert (options.plate_radius_mm, options.work) == (3048.6, "concave")


def test_what_cannot_be_computed_again_says_why(surface):
    """Readings by eye, from several photographs, or without options are named."""
    eye = LoggedReading(Reading(589.0, Quality(math.nan, math.nan, math.nan)), method="eye")
    several = dataclasses.replace(power_reading(1.0), photographs=(1, 2))
    spoilt = dataclasses.replace(power_reading(1.0), photographs=(1,), options={"edge": "round"})
    bare = dataclasses.replace(power_reading(1.0), photographs=(1,), lamp=None)
    sound = dataclasses.replace(power_reading(1.0), photographs=(1,), options=OPTIONS)
    photographs = (Photograph("1.jpg", b"1"), Photograph("2.jpg", b"2"))
    log_visit(surface, Visit(readings=(eye, several, spoilt, bare, sound), photographs=photographs))

    def no_picture(photographs, options):
        raise BadInput("1.jpg: is not a picture")

    found = reread_surface(surface, reader=by_bytes)
    assert found.computed == 1
    assert [line.partition(": ")[2] for line in found.left_out] == [
        "a reading was made by eye",
        "a reading was made from 2 photographs",
        "1.jpg: edge: 'round' is not an edge; write auto, none, CX,CY,R or CX,CY,A,B,ANGLE",
        "1.jpg: the session does not keep its lamp",
    ]
    assert "is not a picture" in reread_surface(surface, reader=no_picture).left_out[-1]


def test_a_damaged_session_does_not_hide_the_others(surface):
    """A session that cannot be opened is named as a problem; the others are computed."""
    path = log_visit(surface, photographed(1.0), now=hours(0))
    log_visit(surface, photographed(2.0), now=hours(1))
    data = bytearray(path.read_bytes())
    data[-200] ^= 1
    path.write_bytes(data)
    found = reread_surface(surface, reader=by_bytes)
    assert found.computed == 1
    assert path.name in found.problems[0]


def test_the_spherometer_is_computed_again(surface, monkeypatch):
    """A spherometer's comparison is made anew from its readings; a change of it is listed."""
    readings, _ = sagitta_readings(surface, [0.808, 0.8082], [0.793, 0.7931], [0.0])
    path = log_visit(surface, Visit(spherometers=readings), now=hours(0))
    found = reread_surface(surface)
    assert (found.computed, found.changes) == (1, ())

    from fringe.archive.views import reread

    def moved(of, found):
        _, result = sagitta_readings(of, [0.808, 0.8082], [0.893, 0.8931], [0.0])
        return result

    monkeypatch.setattr(reread, "compared", moved)
    changes = reread_surface(surface).changes
    assert {c.quantity for c in changes} == {"power_fringes", "radius_difference_mm"}
    assert {c.source for c in changes} == {"spherometer"}
    assert {c.session_id for c in changes} == {path.stem}


def test_a_real_reading_comes_out_the_same(tmp_path, surface):
    """A rendered photograph, read and logged, gives the same reading from its stored bytes."""
    picture = tmp_path / "rings.jpg"
    save(render(Scene(360, 360, form=Form(power=4.0), lamp=lamp("sodium")), 3), picture)
    photograph = Photograph(picture.name, picture.read_bytes(), "image/jpeg")
    options = {"edge": "179.5,179.5,151", "sense": "centre"}
    bare = dataclasses.replace(power_reading(0.0), options=options)
    reading = read_kept((photograph,), kept_options(bare))
    logged = dataclasses.replace(bare, reading=reading, photographs=(1,), gap=None)
    log_visit(surface, Visit(readings=(logged,), photographs=(photograph,)))
    found = reread_surface(surface)
    assert (found.computed, found.changes, found.left_out) == (1, (), ())
    assert np.isfinite(reading.power_fringes)


def test_the_frames_of_a_burst_are_read_together(surface):
    """All frames of a burst go to the reader at once, and a change is named by the first."""
    visit = photographed(1.0, 2.0, 3.0)
    (one, *_), options = visit.readings, {**OPTIONS, "burst": True}
    burst = dataclasses.replace(one, photographs=(1, 2, 3), options=options)
    log_visit(surface, dataclasses.replace(visit, readings=(burst,)), now=hours(0))
    found = reread_surface(surface, reader=shifted(1.0))
    assert (found.computed, found.left_out) == (1, ())
    (change,) = found.changes
    assert (change.source, change.before, change.now) == ("1.0.jpg and 2 more", 1.0, 2.0)


def test_the_frames_of_a_refused_burst_are_read_together(surface):
    """Frames that were kept of a burst that was refused are one reading, if there is one today."""
    kept = tuple(
        dataclasses.replace(one, refusal="too alike") for one in photographed(1.0, 2.0).photographs
    )
    inputs = {"lamp": "hene", "burst": True}
    log_visit(surface, Visit(photographs=kept, inputs=inputs), now=hours(0))
    found = reread_surface(surface, reader=by_bytes)
    assert [(c.source, c.before, c.now) for c in found.changes] == [
        ("1.0.jpg and 1 more", "too alike", "+1.00 fringes")
    ]
