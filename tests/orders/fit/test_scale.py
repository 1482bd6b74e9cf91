"""How far a photograph may be reduced, and what reducing it keeps."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.optics.lamps import lamp
from fringe.orders.edge.candidates import _best_disc
from fringe.orders.fit.scale import coarsest_scale, enlarged, reduced
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array
from fringe.synth import Dirt, Form, Lighting, Scene, render


def taken(power: float, side: int, rng: np.random.Generator, **how: object) -> tuple[Photo, Scene]:
    """Photograph of so many rings, and its scene."""
    scene = Scene(side, side, form=Form(power=power), lamp=lamp("sodium"), **how)  # type: ignore[arg-type]
    return photo_from_array(render(scene, int(rng.integers(2**31))).image, "taken"), scene


@pytest.mark.parametrize("power", [3.0, 12.0, 40.0, 90.0])
@pytest.mark.parametrize("contrast", [0.15, 0.8])
def test_fringes_keep_their_pixels(power, contrast, rng):
    """Reduced as far as told, the finest rings still have five pixels a period, or all there are.

    At the rim rings of power N lie a / 2 N apart (analytic).
    """
    photo, scene = taken(
        power, 800, rng, bench=Lighting(contrast=contrast, unevenness=3.0), dirt=Dirt(dust=40)
    )
    spacing = scene.edge.a / (2 * power)
    for edge in (None, scene.edge):
        scale = coarsest_scale(photo, 150.0, edge)
        assert scale == 1 or spacing / scale >= 5


def test_broad_fringes_let_go_of_pixels(rng):
    """Three rings over 1,200 pixels need no more than a quarter of them along a side."""
    photo, scene = taken(3.0, 1200, rng)
    assert coarsest_scale(photo, 150.0) >= 4
    assert coarsest_scale(photo, 100.0, scene.edge) >= 4


def test_what_is_clipped_is_left_out(rng):
    """Block means are those of the good pixels; mostly clipped blocks are clipped."""
    light = rng.uniform(0.1, 0.9, (12, 16)).astype(np.float32)
    clipped = np.zeros(light.shape, bool)
    clipped[0, 0] = True
    clipped[4:8, 4:8] = True
    small = reduced(Photo(light, clipped, "grey", "noise"), 4)
    assert small.light.shape == (3, 4)
    assert small.light[0, 0] == pytest.approx((light[:4, :4].sum() - light[0, 0]) / 15)
    assert small.light[2, 3] == pytest.approx(light[8:12, 12:16].mean())
    assert np.flatnonzero(small.clipped).tolist() == [5]


def test_an_edge_goes_back_to_its_photograph():
    """The middle of a block is the mean of the places of its pixels (analytic)."""
    edge = enlarged(Edge(10.0, 20.0, 5.0, 4.0, 30.0, 0.1), 4)
    assert (edge.cx, edge.cy) == (41.5, 81.5)
    assert (edge.a, edge.b, edge.angle_deg, edge.u_px) == (20.0, 16.0, 30.0, 0.4)


def test_the_search_for_a_disc_ends():
    """Fringes up to a straight line fill no disc; one within the frame is returned all the same."""
    score = np.where(np.arange(40)[None, :] < 25, 1.0, -1.0) * np.ones((30, 1))
    disc = _best_disc(score, 2.0)
    assert disc is not None
    assert disc.a <= 80
