"""Rim, camera and reproducibility of rendered pictures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from synth.plain import BENCH, CAMERA, plain_scene

from fringe.synth import Dirt, Form, ideal_light, render
from fringe.synth.backdrop import illumination
from fringe.synth.camera import BLOCK, Sensor, demosaic, linear_to_srgb
from fringe.synth.scene import Camera

GLOW = replace(BENCH, contrast=0.0)  # a work of even brightness, 1, on black


@pytest.mark.parametrize("angle", [0.0, 18.0])
@pytest.mark.parametrize("blur", [0.0, 1.2])
def test_the_rim_stands_where_it_should_to_a_fraction_of_a_pixel(angle, blur, rng):
    """Area and centroid of the work's light are those of the ellipse (analytic)."""
    cx, cy = 200 + rng.uniform(-3, 3, 2)
    scene = plain_scene(
        bench=GLOW,
        centre_px=(cx, cy),
        radius_px=float(rng.uniform(120, 150)),
        view_angle_deg=angle,
        view_direction_deg=float(rng.uniform(0, 180)),
        camera=replace(CAMERA, blur_px=blur),
        form=Form(power=0.0),
    )
    light = ideal_light(scene).astype(float)
    area = light.sum()
    edge = scene.edge
    # 0.01 px of radius is 2 pi a 0.01 of area
    assert area == pytest.approx(math.pi * edge.a * edge.b, abs=2 * math.pi * edge.a * 0.01)
    x, y = np.meshgrid(np.arange(401), np.arange(401))
    assert (light * x).sum() / area == pytest.approx(cx, abs=0.01)
    assert (light * y).sum() / area == pytest.approx(cy, abs=0.01)
    spread = (light * (x - cx) ** 2).sum() / area + (light * (y - cy) ** 2).sum() / area
    expected = (edge.a**2 + edge.b**2) / 4
    assert spread == pytest.approx(expected, rel=3e-4 + 4 * blur**2 / edge.a**2)


def test_fringes_reach_the_same_rim_as_the_light():
    """Bright fringes at the rim end where the work ends, not a pixel before or beyond it."""
    wavelength = plain_scene().lamp.wavelength_nm
    scene = plain_scene(form=Form(power=0.0, min_gap_nm=wavelength / 4))
    light = ideal_light(scene).astype(float)
    area = math.pi * 180.0**2
    assert light.sum() / light[200, 200] == pytest.approx(area, abs=2 * math.pi * 180 * 0.02)


def test_uneven_light_has_the_ratio_asked_for(rng):
    """Brightest over darkest light on the work is the unevenness."""
    for wanted in (1.0, 2.0, 5.0):
        bench = replace(GLOW, unevenness=wanted)
        scene = plain_scene(bench=bench, form=Form(power=0.0), seed=int(rng.integers(1000)))
        light = illumination(scene).rows(0, 401)
        u, v = scene.edge.unit(*np.meshgrid(np.arange(401), np.arange(401)))
        on_work = u**2 + v**2 <= 1
        assert light[on_work].max() / light[on_work].min() == pytest.approx(wanted, rel=0.01)
        assert 0.998 <= light[on_work].max() <= 1.001
        inside = u**2 + v**2 < 0.97
        np.testing.assert_allclose(ideal_light(scene)[inside], light[inside], rtol=1e-5)


def test_the_same_seed_gives_the_same_bytes_and_another_does_not():
    """Scene and generator fix every sample; the noise seed changes the noise alone."""
    scene = plain_scene(
        camera=Camera(), dirt=Dirt(dust=9, hairs=1, fingers=1, clips=1, glare=1, scratches=2)
    )
    first, again, other = render(scene, 5), render(scene, 5), render(scene, 6)
    assert first.image.tobytes() == again.image.tobytes()
    assert first.image.tobytes() != other.image.tobytes()
    difference = first.image.astype(int) - other.image.astype(int)
    assert np.abs(difference).mean() < 6
    assert first.truth["power_fringes"] == other.truth["power_fringes"]


def test_bands_do_not_show(monkeypatch):
    """The picture does not depend on how many rows are worked on at a time."""
    import fringe.synth.rendering as module

    scene = plain_scene(camera=Camera(blur_px=1.0, sharpen=0.5), dirt=Dirt(dust=20, hairs=2))
    whole = render(scene, 1).image
    monkeypatch.setattr(module, "_BAND_SAMPLES", 1)
    banded = render(scene, 1).image
    assert scene.height > 3 * BLOCK
    assert np.abs(whole.astype(int) - banded.astype(int)).max() <= 1


def test_noise_is_that_of_photons_and_of_reading(rng):
    """Variance of raw samples is light / full well + (read noise / full well)^2 (analytic)."""
    camera = Camera(colour="mono", exposure=1.0, full_well=2000.0, read_noise=20.0)
    for level in (0.05, 0.3, 0.7):
        light = np.full((512, 512), level, np.float32)
        raw = Sensor(camera, int(rng.integers(1 << 30))).raw_rows(light, 0)
        expected = level / 2000 + 0.01**2
        assert raw.mean() == pytest.approx(level, abs=5 * math.sqrt(expected) / 512)
        assert raw.var() == pytest.approx(expected, rel=0.02)


def test_over_exposure_clips():
    """Light above full scale is cut to the highest number."""
    scene = plain_scene(camera=replace(CAMERA, exposure=1.5, bits=8))
    image = render(scene).image
    assert image.max() == 255
    assert (image == 255).mean() > 0.1


def test_demosaic_keeps_even_and_sloping_colours(rng):
    """Bilinear colours are exact on a plane of light, at either row parity."""
    y, x = np.mgrid[0:12, 0:14].astype(np.float32)
    colour = np.stack([0.2 + 0.01 * x, 0.3 + 0.02 * y, 0.5 - 0.01 * x - 0.01 * y], axis=-1)
    for first in (0, 1):
        red = ((y + first) % 2 == 0) & (x % 2 == 0)
        blue = ((y + first) % 2 == 1) & (x % 2 == 1)
        raw = np.where(red, colour[..., 0], np.where(blue, colour[..., 2], colour[..., 1]))
        found = demosaic(raw.astype(np.float32), first)
        assert found[2:-2, 2:-2] == pytest.approx(colour[2:-2, 2:-2], abs=1e-6)


def test_transfer_function_is_that_of_srgb():
    """sRGB of linear 0, 0.0031308, 0.214041, 1 is 0, 0.04045, 0.5, 1 (IEC 61966-2-1)."""
    light = np.array([0.0, 0.0031308, 0.2140411, 1.0], np.float32)
    assert linear_to_srgb(light) == pytest.approx([0.0, 0.04045, 0.5, 1.0], abs=2e-5)


def test_dirt_covers_and_leaves_the_rest_alone():
    """Dust, hairs, fingers and clips change some of the picture and leave most as it was."""
    clean = ideal_light(plain_scene())
    for dirt in (
        Dirt(dust=30),
        Dirt(hairs=3),
        Dirt(scratches=5),
        Dirt(glare=1),
        Dirt(fingers=1),
        Dirt(clips=2),
        Dirt(graticule=True),
        Dirt(crosshair=True),
    ):
        change = np.abs(ideal_light(plain_scene(dirt=dirt)) - clean) > 0.02
        assert 1e-4 < change.mean() < 0.3, dirt
