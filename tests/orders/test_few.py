"""Contacts that show less than one fringe, fields without an edge, and strips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.few import shows_no_fringe
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import Camera, Form, Lighting, Scene, random_scene, render

SODIUM = lamp("sodium")


def contact(rng: np.random.Generator, power: float, tilt: float) -> tuple[Photo, Scene]:
    """A clean contact of 260 pixels."""
    form = Form(power=power, tilt=tilt, tilt_angle_deg=rng.uniform(0, 360))
    scene = Scene(260, 260, form=form, seed=int(rng.integers(2**31)))
    return photo_from_array(render(scene, rng).image, "matched.jpg"), scene


def test_a_matched_contact_is_told_as_such(rng: np.random.Generator) -> None:
    """Power 0.15 and tilt 0.2, under half a fringe in all: it says what to do for a reading.

    About one in twenty is read instead; then it is warned of, and its interval holds the truth.
    Two of four would be so by bad luck in one run of seventy.
    """
    told = []
    for sign, given in ((1, True), (-1, False), (1, False), (-1, False)):
        photo, scene = contact(rng, 0.15 * sign, 0.2)
        try:
            reading = read(photo, ReadOptions(SODIUM, edge=scene.edge if given else "auto"))
        except Refused as refusal:
            told.append(str(refusal))
            continue
        assert reading.quality.warnings
        error = abs(reading.power_fringes or 0.0) - abs(scene.form.power)
        assert abs(error) <= (reading.power_u95_fringes or 0.0)
    assert len(told) >= 3
    advice = "matched.jpg: less than one fringe shows: lean the work"
    assert [one for one in told if not one.startswith(advice)] == []


@pytest.mark.parametrize("family", ["clean", "dirty", "led", "low_power", "high_power"])
def test_works_that_show_fringes_are_not_taken_for_matched(
    family: str, rng: np.random.Generator
) -> None:
    """Two fringes or a hundred, dirty or faint with distance: none looks like less than one."""
    for _ in range(2):
        scene = random_scene(rng, family, (320, 320))
        form = replace(scene.form, tilt=max(scene.form.tilt, 1.0))
        scene = replace(scene, form=form)
        assert not shows_no_fringe(photo_from_array(render(scene, rng).image), scene.edge)


@pytest.mark.parametrize("noise", [0.0, 1.0, 6.0])
@pytest.mark.parametrize("slope", [0.0, 0.2])
def test_even_light_is_no_matched_contact(
    noise: float, slope: float, rng: np.random.Generator
) -> None:
    """Light that is even but for noise shows no contact; light that rises over the face may."""
    side = 240
    light = 120 * (1 + slope * np.linspace(-1, 1, side)) + rng.normal(0, noise, (side, side))
    photo = photo_from_array(light.round().astype(np.uint8), "even.png")
    edge = Edge(119.5, 119.5, 100, 100)
    assert shows_no_fringe(photo, edge) == (slope > 0)
    if slope and noise == 1:
        with pytest.raises(Refused, match=r"^even\.png: no fringe, or less than one, shows: lean"):
            read(photo, ReadOptions(SODIUM, edge=edge))


def test_a_field_of_rings_without_an_edge_says_how_it_is_read(rng: np.random.Generator) -> None:
    """Rings that fill the frame, no edge in view: the refusal names `--edge none`."""
    scene = Scene(
        420,
        360,
        radius_px=400.0,
        form=Form(power=24.0, tilt=1.0),
        bench=Lighting(unevenness=1.2),
        camera=Camera(noise=0.5),
        seed=int(rng.integers(2**31)),
    )
    photo = photo_from_array(render(scene, rng).image, "field.jpg")
    with pytest.raises(Refused, match=r"^field\.jpg: rings without an edge were found: read with"):
        read(photo, ReadOptions(SODIUM))
    assert read(photo, ReadOptions(SODIUM, edge="none")).ring_fit is not None


@pytest.mark.parametrize("shape", [(60, 30_000), (30_000, 60), (40, 3000)])
def test_a_strip_is_refused_in_a_line(shape: tuple[int, int], rng: np.random.Generator) -> None:
    """A picture far longer than wide holds no work: refused at once, with its size."""
    photo = photo_from_array(rng.integers(0, 255, shape, dtype=np.uint8), "strip.png")
    with pytest.raises(Refused, match=r"^strip\.png: \d+ x \d+ pixels are a strip"):
        read(photo, ReadOptions(SODIUM))
