"""The rendered light is that of the closed forms of interference."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from synth.plain import BENCH, CAMERA, plain_scene

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.synth import Form, gap_model, ideal_light, render
from fringe.synth.light import lamp_colour
from fringe.synth.request import Request, request_scene


def pixel_disc(scene):
    """Disc coordinates of all pixels of a scene."""
    return scene.edge.unit(*np.meshgrid(np.arange(scene.width), np.arange(scene.height)))


def random_form(rng, **changes):
    """A gap with every low term in it."""
    zernike = tuple(
        (term, rng.normal(0, 0.3)) for term in ((2, 2), (2, -2), (3, 1), (3, -3), (4, 0), (5, 1))
    )
    form = Form(
        power=rng.uniform(-9, 9),
        tilt=rng.uniform(0, 3),
        tilt_angle_deg=rng.uniform(0, 360),
        zernike=zernike,
        min_gap_nm=0.0,
    )
    return replace(form, **changes)


def test_two_beams_of_one_line_match_the_closed_form(rng):
    """Noise-free light is (1 - V cos(4 pi h / lambda)) / 2, averaged over each pixel (analytic)."""
    scene = plain_scene(form=random_form(rng))
    u, v = pixel_disc(scene)
    inside = u**2 + v**2 < 0.97
    orders = 2 * gap_model(scene).nm(u, v) / scene.lamp.wavelength_nm
    along_y, along_x = np.gradient(orders)
    box = np.sinc(along_x) * np.sinc(along_y)
    r1, r2 = 0.04, 0.04 * 0.96**2
    contrast = 2 * math.sqrt(r1 * r2) / (r1 + r2)
    expected = 0.5 * (1 - contrast * box * np.cos(2 * np.pi * orders))
    assert np.abs(ideal_light(scene) - expected)[inside].max() < 2e-3
    assert np.abs(ideal_light(scene) - expected)[inside].mean() < 2e-4


def test_more_samples_a_pixel_change_nothing(rng):
    """Two and six samples a pixel give the same light, fringes near the pixel limit included."""
    scene = plain_scene(form=random_form(rng, power=27.0))
    light = {
        fine: ideal_light(replace(scene, camera=replace(CAMERA, supersample=fine)))
        for fine in (2, 6)
    }
    u, v = pixel_disc(scene)
    inside = u**2 + v**2 < 0.97
    assert np.abs(light[2] - light[6])[inside].max() < 6e-3


def test_contact_is_dark_and_a_quarter_wave_is_bright():
    """Light is least at contact and greatest at a gap of a quarter wave (phase change of pi)."""
    for gap_share, level in ((0.0, 0.0), (0.25, 1.0), (0.5, 0.0)):
        wavelength = lamp("mercury-green").wavelength_nm
        scene = plain_scene(form=Form(power=0.0, min_gap_nm=gap_share * wavelength))
        light = ideal_light(scene)[200, 200]
        assert light == pytest.approx(level, abs=1.5e-3)


@pytest.mark.parametrize("reflectance", [0.04, 0.3, 0.6])
def test_all_beams_match_airy(reflectance, rng):
    """With multiple beams the light follows F sin^2 / (1 + F sin^2), F = 4R/(1-R)^2 (analytic)."""
    bench = replace(BENCH, multiple_beams=True, reflectance=reflectance)
    scene = plain_scene(bench=bench, form=random_form(rng, power=4.0))
    u, v = pixel_disc(scene)
    inside = u**2 + v**2 < 0.9
    orders = 2 * gap_model(scene).nm(u, v) / scene.lamp.wavelength_nm
    coefficient = 4 * reflectance / (1 - reflectance) ** 2
    sine = coefficient * np.sin(np.pi * orders) ** 2
    # rendered light is relative to twice the mean, 2 R / (1 + R)
    expected = sine / (1 + sine) * (1 + reflectance) / (4 * reflectance)
    assert np.abs(ideal_light(scene) - expected)[inside].mean() < 5e-3 / (1 - reflectance)
    middle = np.abs(orders - np.rint(orders)) > 0.25
    assert np.abs(ideal_light(scene) - expected)[inside & middle].max() < 0.02


def test_a_reflectance_that_is_asked_for_sums_all_beams():
    """`fringe synth --reflectance 0.6` draws coated faces."""
    bench = request_scene(Request(seed=1, reflectance=0.6)).bench
    assert (bench.reflectance, bench.multiple_beams) == (0.6, True)
    with pytest.raises(BadInput, match="reflectance"):
        request_scene(Request(seed=1, reflectance=1.2))


def test_sodium_contrast_is_one_third_at_the_beat_minimum():
    """At half the beat of the D lines, 0.2905 mm of path, contrast is 1/3 for 2:1 (analytic)."""
    d2, d1 = (line.wavelength_nm for line in lamp("sodium").lines)
    half_beat_nm = d1 * d2 / (d1 - d2) / 2
    form = Form(power=0.0, tilt=4.0, min_gap_nm=half_beat_nm / 2)
    light = ideal_light(plain_scene(lamp=lamp("sodium"), form=form))[200, 60:340]
    measured = (light.max() - light.min()) / (light.max() + light.min())
    width = math.pi * 0.005 / 589.2**2 * half_beat_nm
    expected = math.exp(-(width**2) / (4 * math.log(2))) / 3
    assert measured == pytest.approx(expected, abs=0.004)
    assert measured == pytest.approx(1 / 3, abs=0.005)


def test_led_contrast_falls_as_a_gaussian_of_the_path(rng):
    """Fringe amplitude under an LED follows exp(-(pi OPD w / l^2)^2 / 4 ln 2) (analytic)."""
    peak, width = 560.0, float(rng.uniform(15, 30))
    scene = plain_scene(
        lamp=lamp(f"led:{peak}:{width}"), form=Form(power=0.0, tilt=11.0, min_gap_nm=0.0)
    )
    light = ideal_light(scene)[200]
    x = np.arange(scene.width)
    opd = gap_model(scene).opd_nm(*scene.edge.unit(x, np.full(x.size, 200.0)))
    swing = (0.5 - light) / np.cos(2 * np.pi * opd / peak)
    clear = (np.abs(np.cos(2 * np.pi * opd / peak)) > 0.9) & (np.abs(x - 200) < 170)
    expected = 0.5 * np.exp(-((np.pi * opd * width / peak**2) ** 2) / (4 * np.log(2)))
    assert np.abs(swing - expected)[clear].max() < 4e-3


def test_blur_takes_contrast_by_the_gaussian_transfer(rng):
    """Lens and pixel leave exp(-2 (pi s f)^2) sinc(f) of a fringe's amplitude (analytic)."""
    blur, tilt = float(rng.uniform(0.5, 1.8)), float(rng.uniform(12, 40))
    scene = plain_scene(
        form=Form(power=0.0, tilt=tilt, min_gap_nm=0.0), camera=replace(CAMERA, blur_px=blur)
    )
    frequency = tilt / scene.edge.a
    x = np.arange(100, 301)
    light = ideal_light(scene)[200, 100:301]

    def wave(x, level, cosine, sine):
        turn = 2 * np.pi * frequency * (x - 200)
        return level + cosine * np.cos(turn) + sine * np.sin(turn)

    (level, cosine, sine), _ = curve_fit(wave, x, light)
    expected = math.exp(-2 * (math.pi * blur * frequency) ** 2) * np.sinc(frequency)
    assert math.hypot(cosine, sine) / level == pytest.approx(expected * 0.9992, rel=0.01)


def test_dark_rings_grow_as_r2_equals_m_lambda_r():
    """Radii of dark rings in the picture obey r^2 = m lambda R, R from power (analytic)."""
    scene = plain_scene(diameter_mm=50.0, form=Form(power=12.0, min_gap_nm=0.0))
    profile = ideal_light(scene)[200]
    mm_per_px = 25.0 / scene.edge.a
    radii = []
    for i in range(205, 380):
        low, mid, high = profile[i - 1 : i + 2]
        if mid < low and mid <= high and mid < 0.2:
            radii.append((i - 200 + 0.5 * (low - high) / (low - 2 * mid + high)) * mm_per_px)
    wavelength_mm = scene.lamp.wavelength_nm * 1e-6
    radius_mm = 25.0**2 / (12.0 * wavelength_mm)
    order = np.arange(1, len(radii) + 1)
    assert len(radii) == 11  # the twelfth lies on the rim
    assert np.array(radii) ** 2 / (wavelength_mm * radius_mm) == pytest.approx(order, abs=0.02)


@pytest.mark.parametrize("angle", [0.0, 12.0, 25.0])
def test_an_oblique_view_shows_fewer_fringes_by_the_cosine(angle):
    """Along the long axis the order at rho is power * cos(view) * rho^2 (2 h cos = m lambda)."""
    scene = plain_scene(view_angle_deg=angle, form=Form(power=10.0, min_gap_nm=0.0))
    edge = scene.edge
    assert edge.b / edge.a == pytest.approx(math.cos(math.radians(angle)))
    profile = ideal_light(scene)[200, 200 : 200 + 178]
    r2 = (np.arange(178) / edge.a) ** 2
    orders = 10.0 * math.cos(math.radians(angle)) * r2
    # away from the contrast lost in each pixel, the profile is the cosine of that order
    assert np.abs(profile - 0.5 * (1 - np.cos(2 * np.pi * orders)))[:120].max() < 6e-3


def test_a_near_camera_sees_fewer_fringes_at_the_rim():
    """At distance L the rim's order is power * L / sqrt(L^2 + r^2) (analytic)."""
    scene = plain_scene(
        diameter_mm=100.0, camera_distance_mm=300.0, form=Form(power=10.0, min_gap_nm=0.0)
    )
    rim = gap_model(scene).opd_nm(1.0, 0.0) / scene.lamp.wavelength_nm
    assert rim == pytest.approx(10.0 * 300 / math.hypot(300, 50))


def test_perspective_keeps_the_rim_and_moves_the_middle():
    """A tilted near disc images as a pinhole does: same rim ellipse, centre off its middle."""
    scene = plain_scene(
        diameter_mm=100.0,
        camera_distance_mm=250.0,
        view_angle_deg=20.0,
        view_direction_deg=0.0,
        perspective=True,
    )
    lean = math.radians(20.0)
    rng = np.random.default_rng(1)
    turn, rho = rng.uniform(0, 2 * np.pi, 50), np.sqrt(rng.uniform(0, 1, 50))
    rho[:20] = 1.0
    px, py = 50 * rho * np.cos(turn), 50 * rho * np.sin(turn)
    depth = 250.0 - px * math.sin(lean)
    x, y = px * math.cos(lean) / depth, py / depth
    rim = np.linspace(0, 2 * np.pi, 721)
    rim_depth = 250.0 - 50 * np.cos(rim) * math.sin(lean)
    rim_x, rim_y = 50 * np.cos(rim) * math.cos(lean) / rim_depth, 50 * np.sin(rim) / rim_depth
    scale = scene.edge.a / np.abs(rim_y).max()
    x_px = scene.edge.cx + scale * (x - (rim_x.max() + rim_x.min()) / 2)
    y_px = scene.edge.cy + scale * y
    u, v = render(replace(scene, width=64, height=64, radius_px=20.0)).disc(
        (x_px - scene.edge.cx) * 20 / 180 + 31.5, (y_px - scene.edge.cy) * 20 / 180 + 31.5
    )
    assert u == pytest.approx(px / 50, abs=2e-5)
    assert v == pytest.approx(py / 50, abs=2e-5)


def test_sodium_light_is_orange_and_leaves_blue_empty():
    """Sodium light falls on red and green and hardly on blue; green lamps on green."""
    red, green, blue = lamp_colour(lamp("sodium"), (1.9, 1.0, 1.7))
    assert red == 1.0
    assert 0.15 < green < 0.6
    assert blue < 0.05
    assert lamp_colour(lamp("mercury-green"), (1.9, 1.0, 1.7)).argmax() == 1


def test_two_lines_of_two_colours_fringe_apart_in_their_channels():
    """Under two colours each channel shows the fringes of the line that its filter passes."""
    from fringe.optics.lamps import Lamp, Line

    two = Lamp("two", (Line(460.0, 1.0), Line(600.0, 1.0)), 0.0, "made up")
    scene = plain_scene(
        lamp=two,
        camera=replace(CAMERA, colour="rgb"),
        form=Form(power=0.0, tilt=3.0, min_gap_nm=0.0),
    )
    light = ideal_light(scene)
    x = np.arange(40, 361)
    opd = gap_model(scene).opd_nm(*scene.edge.unit(x, np.full(x.size, 200.0)))
    for channel, wavelength in ((0, 600.0), (2, 460.0)):
        row = light[200, 40:361, channel]
        match = np.corrcoef(row, -np.cos(2 * np.pi * opd / wavelength))[0, 1]
        other = np.corrcoef(row, -np.cos(2 * np.pi * opd / (1060 - wavelength)))[0, 1]
        assert match > 0.99
        assert other < 0.7
