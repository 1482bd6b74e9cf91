"""Zones, holes and bumps are followed, not taken for dirt."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.optics.local_terms import is_local
from fringe.optics.zernike import zernike_terms
from fringe.orders.agreement import SIDE, Patches
from fringe.orders.checks import is_borne_out, is_far_from_sphere, with_form_warnings
from fringe.orders.doubts import dirt_doubt
from fringe.orders.fit.local_phase import LocalPhase, unwrapped
from fringe.orders.fit.solve import solve
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.reading import Quality, Reading
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import Form, Scene, random_scene, render
from fringe.synth.scene import Camera, Dirt


def scene_with(**form: object) -> Scene:
    """A small picture of a sphere with something on it."""
    return Scene(
        width=250,
        height=250,
        form=Form(power=6.0, tilt=2.0, tilt_angle_deg=30.0, **form),  # type: ignore[arg-type]
        camera=Camera(),
        dirt=Dirt(),
    )


def photo_of(scene: Scene, seed: int) -> tuple[Photo, dict[str, object]]:
    """Render a scene."""
    shot = render(scene, np.random.default_rng(seed))
    return photo_from_array(shot.image, "made"), shot.truth


@pytest.mark.parametrize(
    ("form", "seed"),
    [
        ({"bump": 0.8, "bump_place": (0.35, -0.3), "bump_width": 0.1}, 3),
        ({"zone": 0.7, "zone_radius": 0.6, "zone_width": 0.07}, 5),
    ],
)
def test_zones_bumps_and_holes_are_read(form: dict[str, object], seed: int) -> None:
    scene = scene_with(**form)
    photo, truth = photo_of(scene, seed)
    reading = read(photo, ReadOptions(lamp("mercury-green"), edge=scene.edge))
    power, irregularity = (truth[f"{name}_fringes"] for name in ("power", "irregularity"))
    assert reading.irregularity_fringes == pytest.approx(irregularity, rel=0.15)
    assert reading.power_fringes == pytest.approx(power, abs=0.05)
    assert not [text for text in reading.quality.warnings if "not those of the fit" in text]


@pytest.mark.parametrize(
    "form",
    [
        {"power": 2.2, "bump": -0.7, "bump_place": (-0.4, 0.45), "bump_width": 0.05},
        {"power": 10.1, "zone": 1.17, "zone_radius": 0.0, "zone_width": 0.075},
    ],
)
def test_narrow_bumps_and_deep_holes(form: dict[str, Any]) -> None:
    """Begun from both signs on fine patches; of forms that explain the light, the likelier."""
    scene = scene_with()
    scene = replace(scene, form=replace(scene.form, **form))
    photo, truth = photo_of(scene, 3)
    reading = read(photo, ReadOptions(lamp("sodium"), edge=scene.edge))
    irregularity, u95 = reading.irregularity_fringes, reading.irregularity_u95_fringes
    assert irregularity is not None
    assert u95 is not None
    assert abs(irregularity - float(str(truth["irregularity_fringes"]))) < u95 < 0.1
    assert reading.power_fringes == pytest.approx(abs(float(str(truth["power_fringes"]))), abs=0.02)


def test_dirt_that_looks_like_a_bump_is_told_and_counted() -> None:
    """Glare at the rim, to which patches would bend."""
    rng = np.random.default_rng([720007, 1])
    scene = random_scene(rng, "dirty")
    shot = render(scene, rng)
    reading = read(photo_from_array(shot.image, "dirty"), ReadOptions(scene.lamp, edge=scene.edge))
    irregularity, u95 = reading.irregularity_fringes, reading.irregularity_u95_fringes
    assert irregularity is not None
    assert u95 is not None
    assert abs(irregularity - float(shot.truth["irregularity_fringes"])) < 0.1
    assert u95 > 0.5
    assert any("is not followed" in text for text in reading.quality.warnings)


@pytest.mark.parametrize("height", [1.1, -0.8])
def test_a_local_bump_is_read_in_faint_and_in_strong_fringes(
    height: float, rng: np.random.Generator
) -> None:
    """Drawn by plain formulas: a bump of over a fringe, and a dip at a contrast of a fifth."""
    contrast = 0.8 if height > 0 else 0.2
    y, x = (np.mgrid[:330, :330] - 165.0) / 140
    rho = np.hypot(x, y)
    away = np.hypot(x + 0.2, y - 0.3) / 0.22
    gap = 3 * rho**2 + 1.5 * x + height * np.clip(1 - away**2, 0, None) ** 2 + rng.uniform()
    light = np.where(rho < 1, 0.4 * (1 - contrast * np.cos(2 * np.pi * gap)), 0.02)
    light += rng.normal(0, 0.004, light.shape)
    photo = photo_from_array(np.rint(255 * light.clip(0, 1) ** (1 / 2.2)).astype(np.uint8))
    reading = read(photo, ReadOptions(lamp("hene"), edge=Edge(165, 165, 140, 140)))
    inside = rho < 0.999
    rows = np.stack([np.ones_like(x), x, y, rho**2], axis=-1)[inside]
    left = gap[inside] - rows @ np.linalg.lstsq(rows, gap[inside], rcond=None)[0]
    assert reading.irregularity_fringes == pytest.approx(np.ptp(left), rel=0.12)


def test_a_plain_form_takes_no_local_terms() -> None:
    scene = scene_with()
    solution = solve(photo_of(scene, 7)[0], scene.edge)
    assert not any(map(is_local, solution.fit.model.terms))


def test_errors_are_unwrapped_from_the_surest_place() -> None:
    side = np.linspace(-1, 1, 31)
    u, v = np.meshgrid(side, side)
    true = 1.6 * np.exp(-(u**2 + v**2) / 0.3)
    sure = 1 - 0.5 * np.hypot(u, v) / 1.5
    wrapped = LocalPhase(true - np.round(true), sure, sure, sure, u, v)
    found = unwrapped(wrapped, sure, 0.1)
    # whole orders in all of it do not matter
    np.testing.assert_allclose(found - found[0, 0], true - true[0, 0], atol=1e-9)
    assert np.isnan(unwrapped(wrapped, sure, 2.0)).all()


@pytest.mark.parametrize(
    ("alike", "unexplained", "miscounted", "borne_out"),
    [(0.95, 0.01, False, True), (0.6, 0.0, False, False), (0.95, 0.05, False, False),
     (0.95, 0.0, True, False)],
)  # fmt: skip
def test_dirt_counts_by_what_it_hides(
    alike: float, unexplained: float, miscounted: bool, borne_out: bool
) -> None:
    """A form is borne out where the fringes that show are the fit's, and their count."""
    side = np.full((SIDE, SIDE), alike)
    held = Patches(side, side.astype(complex), np.ones((SIDE, SIDE), bool))
    solution: Any = SimpleNamespace(unexplained=unexplained, miscounted=miscounted)
    assert is_borne_out(solution, held) == borne_out


def test_an_odd_form_on_a_dirty_face_is_in_doubt() -> None:
    """A standard uncertainty of power of at least 0.3 fringe, as where a part is unexplained."""
    terms = zernike_terms(4)
    place = terms.index((2, 0))
    assert dirt_doubt(terms, 1.0).of_power(place) == 0
    assert dirt_doubt(terms, 1.0, odd=True).of_power(place) == pytest.approx(0.3)


def test_a_form_far_beyond_power_and_tilt_is_read_where_it_is_followed() -> None:
    """Two fringes of irregularity on half a fringe of power: warned of, refused if not followed."""
    reading = Reading(
        589.0,
        Quality(0.8, 1.0, 0.02),
        power_fringes=0.5,
        tilt_fringes=0.5,
        irregularity_fringes=2.0,
        symmetric_irregularity_fringes=2.0,
    )
    photo = photo_of(scene_with(), 7)[0]
    followed = with_form_warnings(photo, reading, followed=True)
    assert any("irregularity is large" in text for text in followed.quality.warnings)
    with pytest.raises(Refused, match="do not grow"):
        with_form_warnings(photo, reading)
    assert not is_far_from_sphere(reading, left_open=reading.irregularity_fringes or 0.0)
