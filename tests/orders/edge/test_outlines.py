"""Outlines that are sharp all round lead to the edge where rough circles do not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.orders.edge.find import find_edge
from fringe.orders.edge.outlines import outlines
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import random_scene, render

CENTRE, RADIUS, OVAL = (190.0, 205.0), 130.0, 0.9
X, Y = np.meshgrid(np.arange(420) - CENTRE[0], np.arange(380) - CENTRE[1])
FAR = np.hypot(X / RADIUS, Y / (OVAL * RADIUS))


def picture(light: np.ndarray, rng: np.random.Generator) -> Photo:
    """A photograph with a little noise."""
    image = 200 * light + rng.normal(0, 2, X.shape)
    return photo_from_array(image.clip(0, 255).astype(np.uint8), "picture")


@pytest.mark.parametrize("rim", ["step", "line"])
def test_oval_about_broad_fringes(rim: str, rng: np.random.Generator) -> None:
    """An oval of a work under a plate as bright, or on dark ground, and nothing within it."""
    fringes = 0.5 + 0.3 * np.cos(2 * np.pi * (X / 90 + Y / 300))
    ground = 0.1 if rim == "step" else 0.5
    light = np.where(FAR < 1, fringes, ground)
    if rim == "line":
        light = np.where(np.abs(FAR - 1) < 1.5 / RADIUS, 0.15, light)
    first = outlines(picture(light, rng))[0]
    assert math.hypot(first.cx - CENTRE[0], first.cy - CENTRE[1]) < 0.02 * RADIUS
    assert first.a == pytest.approx(RADIUS, rel=0.03)
    assert first.b == pytest.approx(OVAL * RADIUS, rel=0.03)


def test_nothing_sharp(rng: np.random.Generator) -> None:
    """Fringes that fill the frame, and noise, have no outline."""
    for light in (0.5 + 0.4 * np.cos(2 * np.pi * X / 60), 0.5 + 0 * X, rng.random(X.shape)):
        assert outlines(picture(light, rng)) == []


@pytest.mark.parametrize(("family", "number"), [("clean", 0), ("low_power", 5)])
def test_rough_circles_lead_nowhere(family: str, number: int) -> None:
    """Parts of the face within which the fringes go on beyond every rough circle."""
    rng = np.random.default_rng([400000 if number == 0 else 400008, number])
    scene = random_scene(rng, family)
    found = find_edge(photo_from_array(render(scene, rng).image, family)).edge
    assert distance(found, scene.edge) < 0.003


def distance(one: Edge, other: Edge) -> float:
    """Of the centres and sizes together, as a share of the radius."""
    away = math.hypot(one.cx - other.cx, one.cy - other.cy) + abs(one.a - other.a)
    return away / other.a
