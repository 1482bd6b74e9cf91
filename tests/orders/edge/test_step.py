"""The light's step at the rim, and edges that are placed on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from fringe.optics.lamps import lamp
from fringe.orders.edge.boundary import SHAPES
from fringe.orders.edge.rays import RAYS
from fringe.orders.edge.step import _RimLight, light_step
from fringe.orders.fit.solve import refit_twice, solve
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import Form, Lighting, Scene, render

SHARE = 0.993


def scene_of(rng: np.random.Generator, bevel_px: float, bevel_level: float) -> Scene:
    """A work of some fringes with a chamfer so wide and so bright."""
    bench = Lighting(bevel_px=bevel_px, bevel_level=bevel_level)
    form = Form(power=rng.uniform(4, 9), tilt=rng.uniform(0.5, 3))
    return Scene(600, 560, form=form, bench=bench, lamp=lamp("sodium"))


@pytest.mark.parametrize(
    ("bevel_px", "bevel_level"), [(2.0, 0.05), (5.0, 0.1), (2.5, 1.2), (5.0, 1.2)]
)
def test_edge_comes_back_to_the_step(
    bevel_px: float, bevel_level: float, rng: np.random.Generator
) -> None:
    """An edge that is up to 1.6 pixels off comes back to within 0.75, whatever the chamfer.

    Its radius errs by no more than three of its standard uncertainties, a tenth of a pixel or
    less where the chamfer is dark.
    """
    scene = scene_of(rng, bevel_px, bevel_level)
    photo = photo_from_array(render(scene, int(rng.integers(2**31))).image, "rendered")
    true = scene.edge
    model = solve(photo, true).fit.model
    off = Edge(true.cx + 0.7, true.cy - 0.6, true.a - 0.5, true.b - 1.1)
    inner = replace(off, a=SHARE * off.a, b=SHARE * off.b)
    found = light_step(photo, off, refit_twice(photo, inner, model), SHARE)
    assert found is not None
    angle = np.linspace(0, 2 * np.pi, 90)
    away = np.hypot(*true.unit(*found.edge.pixels(np.cos(angle), np.sin(angle)))) - 1
    assert np.abs(away).max() * true.a < 0.75
    u_px = found.edge.u_px
    assert abs(np.sqrt(found.edge.a * found.edge.b) - true.a) < 3 * u_px
    assert u_px < 0.1 or bevel_level > 0.5


def test_jacobian_of_the_residuals(rng: np.random.Generator) -> None:
    """Derivatives of a rim's residual are those of finite differences."""
    offset = np.arange(-4, 7.1, 0.5)
    light, want = rng.uniform(0.1, 1, (2, RAYS, offset.size))
    rim = _RimLight(SHAPES, offset, light, want, rng.uniform(0, 1, (RAYS, 1)))
    point = np.concatenate([rng.normal(0, 0.4, 6), [0.7, 0.4], rng.normal(0, 0.2, 3)])
    for place, column in enumerate(rim.linearise(point).jacobian().T):
        step = 1e-6 * np.eye(point.size)[place]
        numeric = (
            rim.linearise(point + step).residuals - rim.linearise(point - step).residuals
        ) / 2e-6
        np.testing.assert_allclose(column, numeric, atol=1e-8)


def test_a_step_of_light_without_fringes_is_none(rng: np.random.Generator) -> None:
    """At a rim up to which the fringes that are expected are not those seen, no edge is placed."""
    scene = scene_of(rng, 3.0, 0.1)
    photo = photo_from_array(render(scene, int(rng.integers(2**31))).image, "rendered")
    fits = refit_twice(photo, scene.edge, solve(photo, scene.edge).fit.model)
    assert light_step(photo, scene.edge, fits, 1.0) is not None
    stiff = fits[1]
    values = stiff.model.values.copy()
    values[stiff.model.terms.index((0, 0))] += 0.5
    other = replace(stiff, model=replace(stiff.model, values=values))
    assert light_step(photo, scene.edge, [other], 1.0) is None


def test_light_across_the_rim_is_that_of_a_lens(rng: np.random.Generator) -> None:
    """Fringes that end in a chamfer, and it in the dark, blurred point for point."""
    spread, period, wide = 1.1, 14.0, 2.5  # [px]
    level, dark = rng.uniform(0.1, 0.4), 0.05
    offset, fine = np.arange(-4, 7.1, 0.5), np.arange(-16, 16.01, 0.02)
    phase = rng.uniform(0, 2 * np.pi, (RAYS, 1))
    edge = rng.uniform(-1, 1)

    def fringes(place: np.ndarray, kept: float) -> np.ndarray:
        return 0.5 + 0.4 * kept * np.cos(2 * np.pi * place / period + phase)

    sharp = np.where(fine < edge, fringes(fine, 1.0), np.where(fine < edge + wide, level, dark))
    blurred = ndimage.gaussian_filter1d(sharp, spread / 0.02, axis=1)
    light = np.stack([np.interp(offset, fine, row) for row in blurred])
    want = fringes(offset, np.exp(-2 * (np.pi * spread / period) ** 2))
    rim = _RimLight(SHAPES, offset, light, want, np.full((RAYS, 1), dark))
    truth = [edge, 0, 0, 0, 0, np.log(spread), np.log(wide), level / rim.level, 0, 0, 0]
    assert np.abs(rim.linearise(np.array(truth)).residuals).max() < 0.01


def test_where_no_step_is_none_is_found(rng: np.random.Generator) -> None:
    """Amid the fringes, a third of the way in, no edge is placed."""
    scene = scene_of(rng, 3.0, 0.1)
    photo = photo_from_array(render(scene, int(rng.integers(2**31))).image, "rendered")
    true = scene.edge
    amid = replace(true, a=0.66 * true.a, b=0.66 * true.b)
    fits = refit_twice(photo, amid, solve(photo, amid).fit.model)
    # the fringes go on beyond it: whatever is fitted there runs off, or explains hardly more
    found = light_step(photo, amid, fits, 1.0)
    assert found is None or found.gain < 0.3
