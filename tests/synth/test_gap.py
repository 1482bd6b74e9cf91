"""The gap of a scene and the truth that is told of it."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from synth.plain import plain_scene

from fringe.errors import BadInput
from fringe.optics.spheres import gap_nm, radius_difference_mm
from fringe.synth import Form, Scene, gap_model, render, scene_gap_fringes
from fringe.synth.gap import pressed_gap
from fringe.synth.truth import truth_of


def truth(scene):
    """The truth of a scene, without rendering it."""
    return truth_of(scene, gap_model(scene))


def disc(rng, count=2000):
    """Random points of the unit disc."""
    rho, turn = np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 2 * np.pi, count)
    return rho * np.cos(turn), rho * np.sin(turn)


def test_truth_gives_back_power_tilt_and_astigmatism(rng):
    """With tilt and Zernike terms beside it, the truth's power and tilt are the inputs."""
    for _ in range(5):
        power, tilt, angle = rng.uniform(-20, 20), rng.uniform(0.1, 5), rng.uniform(-179, 179)
        cosine, sine = rng.normal(0, 0.4, 2)
        zernike = (((2, 2), cosine), ((2, -2), sine), ((3, 1), 0.3), ((3, -3), 0.2), ((4, 0), 0.4))
        form = Form(power=power, tilt=tilt, tilt_angle_deg=angle, zernike=zernike)
        told = truth(plain_scene(form=form))
        assert told["power_fringes"] == pytest.approx(power, abs=1e-5)
        assert told["tilt_fringes"] == pytest.approx(tilt, abs=1e-5)
        assert told["tilt_angle_deg"] == pytest.approx(angle, abs=1e-3)
        assert told["astigmatism_fringes"] == pytest.approx(2 * math.hypot(cosine, sine), abs=1e-5)
        assert told["symmetric_irregularity_fringes"] == pytest.approx(0.6, rel=3e-3)
        assert told["sense"] == ("centre" if power > 0 else "edge")


def test_irregularity_of_pure_terms_is_their_peak_to_valley():
    """B of astigmatism A is 2 A, of spherical 1.5 A; rms A / sqrt(6), A / sqrt(5) (analytic)."""
    for term, swing, root in (((2, 2), 2.0, 6), ((4, 0), 1.5, 5), ((3, 1), 2.0, 8)):
        told = truth(plain_scene(form=Form(power=3.0, zernike=((term, 0.4),))))
        assert told["irregularity_fringes"] == pytest.approx(0.4 * swing, rel=3e-3)
        assert told["rms_irregularity_fringes"] == pytest.approx(0.4 / math.sqrt(root), rel=1e-3)


def test_gap_is_never_below_its_least_and_touches_it(rng):
    """Whatever the form, the smallest gap over the aperture is the one asked for."""
    for _ in range(8):
        form = Form(
            power=rng.uniform(-10, 10),
            tilt=rng.uniform(0, 6),
            tilt_angle_deg=rng.uniform(0, 360),
            zernike=(((2, 2), rng.normal()), ((3, 3), rng.normal())),
            turned_edge=rng.uniform(-1, 1),
            min_gap_nm=rng.uniform(0, 500),
        )
        gap = gap_model(plain_scene(form=form))
        rho, turn = np.meshgrid(np.linspace(0, 1, 301), np.linspace(0, 2 * np.pi, 601))
        heights = gap.nm(rho * np.cos(turn), rho * np.sin(turn))
        assert heights.min() >= form.min_gap_nm - 1e-9
        assert heights.min() == pytest.approx(form.min_gap_nm, abs=0.2)


def test_sign_of_power_says_where_the_contact_is():
    """Positive power touches at the centre, negative at the edge, where the gap is least."""
    for power, at_centre in ((5.0, 0.0), (-5.0, 5.0)):
        scene = plain_scene(form=Form(power=power, min_gap_nm=0.0))
        centre, rim = scene_gap_fringes(scene, [0.0, 1.0], [0.0, 0.0])
        assert centre == pytest.approx(at_centre, abs=1e-9)
        assert rim == pytest.approx(5.0 - at_centre, abs=1e-9)


@pytest.mark.parametrize("power", [7.0, -7.0])
def test_steep_spheres_have_their_exact_gap(power):
    """With a plate radius the gap is the exact one between two spheres, not rho^2 (analytic)."""
    radius, diameter = 60.0, 104.0  # r / R = 0.87
    scene = plain_scene(
        diameter_mm=diameter, plate_radius_mm=radius, form=Form(power=power, min_gap_nm=0.0)
    )
    wavelength = scene.lamp.wavelength_nm
    difference = radius_difference_mm(power, radius, diameter, wavelength)
    rho = np.linspace(0, 1, 50)
    contact = "centre" if power > 0 else "edge"
    exact = gap_nm(radius, difference, rho * diameter / 2, contact, diameter / 2) / wavelength * 2
    ours = scene_gap_fringes(scene, rho, 0 * rho)
    assert ours == pytest.approx(exact, abs=2e-3)
    assert np.abs(ours - (power * rho**2 - min(power, 0))).max() > 0.5
    told = truth(scene)
    assert told["power_fringes"] == pytest.approx(power, abs=1e-5)
    assert told["radius_difference_mm"] == pytest.approx(difference, rel=1e-4)


def test_pixels_and_disc_agree_on_the_path_difference(rng):
    """The fast path over a grid of pixels equals the gap model at each pixel."""
    variants = (
        {},
        {"view_angle_deg": 20.0, "view_direction_deg": 33.0},
        {"view_angle_deg": 15.0, "diameter_mm": 100.0, "camera_distance_mm": 400.0},
        {"diameter_mm": 100.0, "plate_radius_mm": 80.0},
    )
    for changes in variants:
        form = Form(
            power=8.0,
            tilt=2.0,
            tilt_angle_deg=50.0,
            min_gap_nm=100.0,
            zernike=(((2, -2), 0.4), ((6, 2), 0.3)),
        )
        scene = plain_scene(form=form, **changes)
        gap = gap_model(scene)
        x, y = np.sort(rng.uniform(100, 300, 40)), np.sort(rng.uniform(100, 300, 30))
        expected = gap.opd_nm(*scene.edge.unit(*np.meshgrid(x, y)))
        assert gap.grid_opd_nm(x, y) == pytest.approx(expected, abs=1e-6)


def test_turned_edge_stays_in_its_zone_and_enters_the_truth():
    """A turned edge changes the gap only in its zone, and power and C by least squares."""
    form = Form(power=4.0, turned_edge=1.0, turned_edge_width=0.2, min_gap_nm=0.0)
    scene = plain_scene(form=form)
    inner, middle, rim = scene_gap_fringes(scene, [0.79, 0.9, 1.0], [0.0, 0.0, 0.0])
    assert inner == pytest.approx(4 * 0.79**2)
    assert middle == pytest.approx(4 * 0.9**2 + 0.25)
    assert rim == pytest.approx(5.0)
    told = truth(scene)
    assert 4.1 < told["power_fringes"] < 4.9
    assert told["symmetric_irregularity_fringes"] == pytest.approx(
        told["irregularity_fringes"], rel=1e-6
    )
    # least squares over the disc: power = 12 <(rho^2 - 1/2) gap>, by fine quadrature
    q = (np.arange(200_000) + 0.5) / 200_000
    gap = 4 * q + np.clip((np.sqrt(q) - 0.8) / 0.2, 0, None) ** 2
    assert told["power_fringes"] == pytest.approx(12 * np.mean((q - 0.5) * gap), abs=1e-4)


def test_pressed_contact_is_flat_and_far_rings_are_shifted():
    """A pressed disc has no gap, and far out r^2 grows by one step a ring from 2 a^2 (analytic)."""
    assert pressed_gap(np.linspace(0, 0.1, 9), 0.1) == pytest.approx(0.0)
    s = np.array([30.0, 60.0])
    assert pressed_gap(s, 1.0) == pytest.approx(s**2 - 2, rel=2e-4)
    scene = plain_scene(form=Form(power=20.0, pressed_radius=0.2, min_gap_nm=0.0))
    assert scene_gap_fringes(scene, [0.0, 0.15], [0.1, 0.1]) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("power", "gap_nm_", "rings"), [(5.2, 0.0, 5), (-5.2, 0.0, 5), (0.4, 0.0, 0), (4.9, 100.0, 5)]
)
def test_rings_are_whole_dark_rings_from_centre_to_rim(power, gap_nm_, rings):
    """The count of dark rings is that of whole fringes between centre and rim, centre apart."""
    assert truth(plain_scene(form=Form(power=power, min_gap_nm=gap_nm_)))["rings"] == rings


def test_no_rings_are_told_when_no_fringe_closes():
    """Straight fringes have no centre in view, so the count does not apply."""
    assert truth(plain_scene(form=Form(power=0.3, tilt=8.0)))["rings"] is None


def test_ring_step_and_effective_radius_follow_from_power():
    """r^2 grows by a^2 / |N| px^2 a ring and R = r^2 / (N lambda) (analytic)."""
    told = truth(plain_scene(diameter_mm=60.0, form=Form(power=-8.0)))
    assert told["ring_step_px2"] == pytest.approx(180.0**2 / 8, rel=1e-5)
    wavelength_mm = told["wavelength_nm"] * 1e-6
    assert told["effective_radius_mm"] == pytest.approx(30**2 / 8 / wavelength_mm, rel=1e-5)


def test_truth_is_plain_json_and_names_every_input(rng):
    """The truth survives JSON unchanged and holds all inputs of the scene."""
    told = render(plain_scene(width=64, height=64, radius_px=25.0)).truth
    assert json.loads(json.dumps(told, allow_nan=False))["scene"]["form"]["power"] == 6.0
    assert set(told["scene"]) == set(Scene.__dataclass_fields__)
    assert told["scene"]["lamp"]["lines"][0]["wavelength_nm"] == 546.0735


@pytest.mark.parametrize(
    "make",
    [
        lambda: Form(power=math.nan),
        lambda: Form(power=-3.0, pressed_radius=0.1),
        lambda: Form(zernike=(((2, 1), 0.3),)),
        lambda: plain_scene(camera_distance_mm=300.0),
        lambda: plain_scene(diameter_mm=100.0, plate_radius_mm=40.0),
        lambda: plain_scene(view_angle_deg=80.0),
        lambda: Scene(width=30_000, height=30_000),
        lambda: replace(plain_scene().bench, background="pink"),
        lambda: replace(plain_scene().camera, bits=12),
    ],
)
def test_impossible_scenes_are_refused(make):
    """A scene that cannot be drawn is refused when it is made, in one line."""
    with pytest.raises(BadInput) as caught:
        make()
    assert "\n" not in str(caught.value)


def test_rings_are_counted_to_the_frame_when_the_edge_lies_outside():
    """With the rim out of view, rings are counted to the frame's far corner (analytic)."""
    scene = plain_scene(radius_px=400.0, form=Form(power=20.0, min_gap_nm=0.0))
    corner2 = (200**2 + 200**2) / 400**2
    told = truth(scene)
    assert told["edge_in_view"] is False
    assert told["rings"] == math.floor(20 * corner2 - 1e-6)


def test_ring_step_round_a_pressed_disc_comes_to_that_of_the_sphere():
    """The step of rings round a small pressed disc is near a^2 / N; the intercept is not zero."""
    scene = plain_scene(
        width=901,
        height=901,
        radius_px=420.0,
        form=Form(power=40.0, pressed_radius=0.1, min_gap_nm=0.0),
    )
    assert truth(scene)["ring_step_px2"] == pytest.approx(420**2 / 40, rel=0.02)


def test_no_power_has_no_sense():
    """A gap without power tells no sense and has no radius, whatever the rounding leaves."""
    told = truth(plain_scene(diameter_mm=50.0, form=Form(power=0.0, tilt=3.0)))
    assert told["sense"] == "unknown"
    assert told["effective_radius_mm"] is None
    assert told["ring_step_px2"] is None
