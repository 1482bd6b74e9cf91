"""Random scenes, sequences and pictures to refuse."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from synth.plain import plain_scene

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.synth import (
    DISTRACTORS,
    FAMILIES,
    Form,
    distractor,
    gap_model,
    random_scene,
    render,
    render_sequence,
    sense_pair,
    settle_steps,
    shift_steps,
)
from fringe.synth.sequences import with_step
from fringe.synth.truth import edge_in_view, max_frequency, truth_of


@pytest.mark.parametrize("family", FAMILIES)
def test_families_draw_resolved_scenes_of_either_sign(family, rng):
    """Every family draws scenes whose fringes the pixels resolve, seeded, of both senses."""
    scenes = [random_scene(np.random.default_rng([3, i]), family) for i in range(16)]
    again = [random_scene(np.random.default_rng([3, i]), family) for i in range(16)]
    assert scenes == again
    assert all(max_frequency(scene, gap_model(scene)) <= 0.451 for scene in scenes)
    assert {np.sign(scene.form.power) for scene in scenes} == {-1.0, 1.0}
    assert len({scene.seed for scene in scenes}) == 16
    assert all(edge_in_view(scene) == (family != "field") for scene in scenes)


def test_families_differ_as_documented(rng):
    """Low power is under one fringe, high power reaches far, ovals are oval, LEDs are wide."""

    def draw(family):
        return [random_scene(rng, family) for _ in range(30)]

    assert all(abs(scene.form.power) <= 1 for scene in draw("low_power"))
    assert max(abs(scene.form.power) for scene in draw("high_power")) > 50
    assert all(scene.edge.b < scene.edge.a for scene in draw("oval"))
    assert all(scene.lamp.lines[0].fwhm_nm >= 12 for scene in draw("led"))
    assert all(scene.dirt.dust >= 15 for scene in draw("dirty"))


def test_size_can_be_given(rng):
    """A given size is kept, and the work stays where it was in the frame."""
    scene = random_scene(rng, "clean", (640, 480))
    image = render(scene).image
    assert image.shape == (480, 640, 3)
    assert edge_in_view(scene)


def test_unknown_names_are_refused(rng):
    """Names of families, pairs and kinds that are not there are refused."""
    with pytest.raises(BadInput, match="family"):
        random_scene(rng, "nice")
    with pytest.raises(BadInput, match="kind"):
        distractor("nice", rng)
    with pytest.raises(BadInput, match="pair"):
        sense_pair(plain_scene(), "nice", rng)


def test_steps_of_a_burst_move_piston_and_tilt_as_told(rng):
    """Each frame's gap differs from the first by its piston and tilt alone."""
    base = plain_scene(form=Form(power=4.0, tilt=1.0, tilt_angle_deg=30.0))
    steps = shift_steps(5, rng)
    rho, turn = np.sqrt(rng.uniform(0, 1, 500)), rng.uniform(0, 2 * np.pi, 500)
    u, v = rho * np.cos(turn), rho * np.sin(turn)
    start = gap_model(base).fringes(u, v)
    design = np.stack([np.ones_like(u), u, v], axis=1)
    for step in steps:
        moved = gap_model(with_step(base, step)).fringes(u, v) - start
        fit, *_ = np.linalg.lstsq(design, moved, rcond=None)
        assert fit[1:] == pytest.approx([step.tilt_u, step.tilt_v], abs=1e-9)
        assert np.abs(moved - design @ fit).max() < 1e-9
    assert steps[0].piston == 0
    assert steps[-1].piston == pytest.approx(1.0, abs=0.3)


def test_settling_follows_the_exponential(rng):
    """The truth's power of each frame is the settled one plus drift exp(-t / tau) (analytic)."""
    scene = plain_scene(width=64, height=64, radius_px=28.0, form=Form(power=3.0))
    times = [0.0, 60.0, 300.0, 3000.0]
    frames = render_sequence(scene, rng, settle_steps(times, 1.5, 200.0))
    powers = [frame.truth["power_fringes"] for frame in frames]
    assert powers == pytest.approx([3 + 1.5 * math.exp(-t / 200) for t in times], abs=1e-5)
    assert [frame.truth["frame"]["time_s"] for frame in frames] == times


@pytest.mark.parametrize("power", [5.0, -5.0])
def test_pressing_closes_the_gap(power, rng):
    """A press closes the gap by under half a fringe, and in the middle no less than at the rim.

    The mean of two opposite rims is taken, in which a tilt cancels.
    """
    before, after = sense_pair(plain_scene(form=Form(power=power)), "press", rng)
    rho = np.linspace(-1, 1, 51)
    closed = before.gap.nm(rho, 0 * rho) - after.gap.nm(rho, 0 * rho)
    rim, half_wave = (closed[0] + closed[-1]) / 2, before.truth["wavelength_nm"] / 2
    assert 0 < rim < half_wave / 2
    assert closed[25] > rim - 1
    assert [shot.truth["pair"]["when"] for shot in (before, after)] == ["before", "after"]


@pytest.mark.parametrize("power", [5.0, -5.0])
def test_a_lowered_eye_moves_rings_to_wider_gaps(power, rng):
    """Lowering the eye lowers every order, so a ring of one order goes where the gap is wider."""
    before, after = sense_pair(plain_scene(form=Form(power=power)), "eye", rng)
    rho = np.linspace(0, 1, 20)
    assert (after.gap.opd_nm(rho, 0 * rho) < before.gap.opd_nm(rho, 0 * rho)).all()
    assert after.scene.edge.b < before.scene.edge.b


def test_a_second_lamp_sees_the_same_gap(rng):
    """Two lamps see one gap in nanometres, so the powers go as the inverse wavelengths."""
    before, after = sense_pair(plain_scene(lamp=lamp("sodium")), "lamp", rng)
    assert after.truth["power_fringes"] / before.truth["power_fringes"] == pytest.approx(
        before.truth["wavelength_nm"] / after.truth["wavelength_nm"]
    )
    assert after.gap.nm(0.6, 0.3) == pytest.approx(float(before.gap.nm(0.6, 0.3)), abs=1e-3)


@pytest.mark.parametrize("kind", DISTRACTORS)
def test_pictures_to_refuse_are_pictures(kind):
    """Each kind draws a colour picture of the size asked for, the same for the same seed."""
    first = distractor(kind, np.random.default_rng(4), (200, 160))
    again = distractor(kind, np.random.default_rng(4), (200, 160))
    assert first.shape == (160, 200, 3)
    assert first.dtype == np.uint8
    assert np.array_equal(first, again)
    assert 2 < first.std() < 120


def test_field_scenes_show_rings_without_an_edge(rng):
    """A microscope's field tells that no edge is in view, and the step of its rings."""
    scene = random_scene(rng, "field")
    told = truth_of(scene, gap_model(scene))
    assert told["edge_in_view"] is False
    assert told["ring_step_px2"] == pytest.approx(scene.edge.a**2 / abs(scene.form.power), rel=0.1)


def test_steps_keep_the_scene_valid():
    """A burst never needs a gap below zero, whatever the start."""
    scene = plain_scene(form=Form(power=2.0, min_gap_nm=0.0))
    for seed in range(20):
        for step in shift_steps(6, np.random.default_rng(seed)):
            assert with_step(scene, step).form.min_gap_nm >= 0
    assert replace(scene, seed=1) != scene
