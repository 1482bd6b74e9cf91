"""How sharp a picture is, from the steps of light across the work's edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from fringe.orders.edge.sharpness import edge_softness
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import random_scene, render

EDGE = Edge(160, 155, 120, 110, 30)


def disc(blur_px: float, rng: np.random.Generator, noise: float = 0.01) -> Photo:
    """A bright disc on dark ground, blurred."""
    x, y = np.meshgrid(np.arange(320.0), np.arange(310.0))
    u, v = EDGE.unit(x, y)
    light = ndimage.gaussian_filter(0.2 + 0.5 * (u * u + v * v < 1), blur_px)
    light += rng.normal(0, noise, light.shape)
    return Photo(light.astype(np.float32), np.zeros(light.shape, bool), "grey", "disc")


@pytest.mark.parametrize("blur_px", [1.0, 2.0, 4.0])
def test_a_blurred_step(blur_px: float, rng: np.random.Generator) -> None:
    """(analytic) The width of a step is that of the blur, and of the pixels beside it."""
    found = edge_softness(disc(blur_px, rng), EDGE)
    assert found is not None
    assert 0.97 * blur_px < found < np.hypot(blur_px, 0.9)


def test_an_edge_that_lies_off_only_looks_softer(rng: np.random.Generator) -> None:
    """Taken two pixels off, a sharp edge does not look sharper, nor much softer."""
    found = edge_softness(disc(1.0, rng), replace(EDGE, a=122, cx=161))
    assert found is not None
    assert 0.97 < found < 1.6


def test_no_step(rng: np.random.Generator) -> None:
    """Noise alone is no step, nor is an edge outside the frame."""
    flat = np.clip(rng.normal(100, 5, (310, 320)), 0, 255).astype(np.uint8)
    assert edge_softness(photo_from_array(flat, "flat"), EDGE) is None
    assert edge_softness(disc(1.0, rng), Edge(160, 155, 400, 400)) is None


def test_rendered_pictures_are_hardly_softer_than_they_look(rng: np.random.Generator) -> None:
    """What the picture's edge allows is the camera's blur or more, or not much less."""
    shares = []
    for _ in range(12):
        scene = random_scene(rng, "led", (420, 420))
        scene = replace(scene, camera=replace(scene.camera, blur_px=rng.uniform(0.5, 4.0)))
        found = edge_softness(photo_from_array(render(scene, rng).image), scene.edge)
        if found is not None:
            shares.append(scene.camera.blur_px / found)
    assert len(shares) >= 9
    # one in some three hundred looks much too sharp: a blur of three pixels or more
    assert sorted(shares)[-2] < 1.6
    assert np.median(shares) > 0.5
