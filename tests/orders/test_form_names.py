"""Photographs of zones, turned edges and holes, drawn by plain formulas, are read and named."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from formed import centre, saddle, turned, zone

from fringe.optics.lamps import lamp
from fringe.orders import read_pair
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.read import read
from fringe.orders.reading import Reading
from fringe.orders.sense.two_photographs import PairSense
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array

EDGE = Edge(160.0, 150.0, 130.0, 130.0)
Y, X = np.mgrid[:300, :320].astype(float)
RHO = np.hypot(X - EDGE.cx, Y - EDGE.cy) / EDGE.a
THETA = np.arctan2(Y - EDGE.cy, X - EDGE.cx)


def read_work(
    work: np.ndarray,
    rng: np.random.Generator,
    sense: str = "centre",
    lean: tuple[float, float] | None = None,
) -> Reading:
    """Photograph a work on its plate with five fringes of power and a lean, and read it."""
    size, angle = lean or (rng.uniform(0.3, 2), rng.uniform(0, 6))
    gap = 5 * RHO**2 + size * RHO * np.cos(THETA - angle) - work
    if sense == "edge":
        gap = -5 * RHO**2 - work
    fringes = 0.5 - 0.4 * np.cos(2 * np.pi * (gap - gap[RHO < 1].min()))
    light = np.where(RHO < 1, fringes, 0.08) + rng.normal(0, 0.01, RHO.shape)
    photo = photo_from_array(np.clip(light, 0, 1).astype(np.float32), "drawn")
    return read(photo, ReadOptions(lamp("mercury-green"), edge=EDGE, sense=sense))


@pytest.mark.parametrize(
    ("work", "name", "height", "place"),
    [
        (zone(RHO, 0.25, 0.6, 0.12), "raised zone", 0.25, 0.6),
        (turned(RHO, -0.3, 0.75, 2.0), "edge turned down", -0.3, 0.75),
        (centre(RHO, -0.25, 0.25), "hole in the centre", -0.25, 0.25),
        (saddle(RHO, THETA, 0.4, 60.0), "astigmatism", 0.4, None),
    ],
)
def test_a_photograph_is_named(work, name, height, place, rng) -> None:
    """Broad and mild forms are read, named, placed to 0.05 of the radius, their height held."""
    (one,) = read_work(work, rng).features
    assert one.name == name
    assert one.height_fringes == pytest.approx(height, abs=1.5 * one.height_u95_fringes)
    if place is not None:
        assert one.place == pytest.approx(place, abs=0.05)
    else:
        assert one.axis_deg == pytest.approx(60.0, abs=4)


def test_the_sense_decides_the_side(rng) -> None:
    """With the contact at the edge a hollow zone is hollow; without a sense no side is told."""
    hollow = zone(RHO, -0.25, 0.6, 0.12)
    assert [one.name for one in read_work(hollow, rng, "edge").features] == ["hollow zone"]
    unknown = read_work(hollow, rng, "unknown")
    (one,) = unknown.features
    assert one.name == "raised or hollow zone"
    values = unknown.to_json()["form"]
    assert values[0]["signed"] is False
    assert values[0]["height_fringes"] > 0


@pytest.mark.parametrize("lean", [(0.93, 0.68), (0.53, 2.70)])
def test_no_order_is_lost_beside_a_zone(lean, rng) -> None:
    """A start that passes the zone's surroundings for dirt is not taken for its small residual.

    The power is that of the sphere that fits the drawn gap best (analytic).
    """
    hollow = zone(RHO, -0.25, 0.6, 0.12)
    inside, squares = RHO < 1, RHO[RHO < 1] ** 2
    power = np.polyfit(squares, 5 * squares - hollow[inside], 1)[0]
    read = read_work(hollow, rng, "unknown", lean)
    assert read.power_fringes == pytest.approx(power, abs=0.03)
    assert read.quality.warnings == ()


def test_what_tells_the_sense_later_turns_the_form_over(rng, monkeypatch) -> None:
    """A pair that proves contact at the edge makes of the unknown side a hollow zone."""
    hollow = zone(RHO, -0.25, 0.6, 0.12)
    first = read_work(hollow, rng, "edge")
    assert first.form is not None
    turned_over = dataclasses.replace(first.form, values=-first.form.values)
    unknown = dataclasses.replace(
        first, sense="unknown", form=turned_over, power_fringes=abs(first.power_fringes or 0.0)
    )
    monkeypatch.setattr(read_pair, "load_photo", lambda path: path)
    monkeypatch.setattr(read_pair, "read", lambda photo, options: unknown)
    told = PairSense("edge", 0.2, 20.0, "the orders moved inward")
    monkeypatch.setattr(read_pair, "sense_of_pair", lambda first, second, done: told)
    stated = StatedOptions(lamp="mercury-green")
    pair = read_pair.read_pair(Path("a"), Path("b"), "pressed-centre", stated)
    assert [one.name for one in pair.reading.features] == ["hollow zone"]


def test_a_perfect_photograph_has_no_name(rng) -> None:
    """Nothing is named of a sphere on its plate."""
    reading = read_work(0 * RHO, rng)
    assert reading.features == ()
    assert reading.to_json()["form"] == []
