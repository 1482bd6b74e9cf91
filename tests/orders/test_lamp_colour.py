"""The lamp that was named against the colour of the fringes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.optics.lamps import lamp
from fringe.orders.lamp_colour import fringe_colour, lamp_warnings
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import Form, Lighting, Scene, random_scene, render


def picture(name: str, rng: np.random.Generator, ambient: float = 0.1) -> tuple[Photo, Scene]:
    """A contact of some lamp under some room light."""
    scene = Scene(
        360,
        360,
        form=Form(power=4.0, tilt=1.0),
        lamp=lamp(name),
        bench=Lighting(ambient=ambient),
        seed=int(rng.integers(2**31)),
    )
    return photo_from_array(render(scene, rng).image, name), scene


@pytest.mark.parametrize(
    ("true", "named", "line"),
    [
        (
            "sodium",
            "mercury-green",
            "the fringes look orange, and mercury-green (546.1 nm) is green: is the lamp right?",
        ),
        (
            "mercury-green",
            "sodium",
            "the fringes look green, and sodium (589.2 nm) is orange: is the lamp right?",
        ),
        (
            "hene",
            "mercury-green",
            "the fringes look red, and mercury-green (546.1 nm) is green: is the lamp right?",
        ),
    ],
)
def test_a_lamp_of_another_colour_is_asked_about(
    true: str, named: str, line: str, rng: np.random.Generator
) -> None:
    """Fringes of one colour under a lamp of another: one line, and nothing under its own lamp."""
    photo, scene = picture(true, rng, ambient=rng.uniform(0.0, 0.5))
    assert lamp_warnings(photo, lamp(named), scene.edge) == [line]
    assert lamp_warnings(photo, lamp(true), scene.edge) == []
    reading = read(photo, ReadOptions(lamp(named), edge=scene.edge))
    assert line in reading.quality.warnings


def test_no_lamp_of_a_random_scene_is_asked_about(rng: np.random.Generator) -> None:
    """Lamps of all kinds under balances of all kinds, named as they are."""
    for family in ("clean", "dirty", "led"):
        for _ in range(4):
            scene = random_scene(rng, family, (360, 360))
            balance = (rng.uniform(0.8, 2.4), 1.0, rng.uniform(1.2, 3.0))
            scene = replace(scene, camera=replace(scene.camera, white_balance=balance))
            photo = photo_from_array(render(scene, rng).image)
            assert lamp_warnings(photo, scene.lamp, scene.edge) == []


def test_grey_pictures_and_grey_balance_ask_nothing(rng: np.random.Generator) -> None:
    """Without colour in the file, or with colours balanced to white, no lamp is doubted."""
    photo, scene = picture("sodium", rng)
    grey = photo_from_array(np.asarray(photo.light * 255, np.uint8), "grey")
    assert fringe_colour(grey, scene.edge) is None
    assert lamp_warnings(grey, lamp("mercury-green"), scene.edge) == []
    white = photo_from_array(np.repeat((photo.light * 255)[..., None], 3, axis=2).astype(np.uint8))
    assert lamp_warnings(white, lamp("mercury-green"), scene.edge) == []
