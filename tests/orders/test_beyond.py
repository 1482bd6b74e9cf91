"""Lines that go on beyond the edge, and contacts beyond whose edge lies something else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.beyond import goes_on_beyond
from fringe.orders.fit.carry import carried
from fringe.orders.fit.model import OrderModel
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import Form, Lighting, Scene, distractor, render
from fringe.synth.lookalikes import DISC_RADIUS

SODIUM = lamp("sodium")
EIGHT_RINGS = OrderModel(((0, 0), (1, 1), (2, 0)), np.array([4.0, 2.0, 4.0]))


@pytest.mark.parametrize("kind", ["curtain", "corduroy", "drop", "wide_rings"])
def test_cloth_and_water_are_refused(kind: str, rng: np.random.Generator) -> None:
    """Folds, ribs and waves that fill the frame, a circle in it given: no reading."""
    photo = photo_from_array(distractor(kind, rng, (420, 380)), f"{kind}.jpg")
    radius = DISC_RADIUS * 190
    with pytest.raises(Refused, match=rf"^{kind}\.jpg: the (lines go on beyond|rings have one)"):
        read(photo, ReadOptions(SODIUM, edge=Edge(209.5, 189.5, radius, radius)))


@pytest.mark.parametrize("share", [0.6, 0.8, 1.0, 1.1])
@pytest.mark.parametrize("background", ["dark", "paper", "bright", "textured", "plate"])
def test_a_contact_ends_at_its_edge(
    background: str, share: float, rng: np.random.Generator
) -> None:
    """Eight rings on any ground or under a larger plate, and in a test region of them."""
    form = Form(power=8, tilt=2)
    scene = Scene(420, 380, radius_px=130, form=form, bench=Lighting(background=background))
    edge = scene.edge
    region = replace(edge, a=share * edge.a, b=share * edge.b)
    photo = photo_from_array(render(scene, rng).image)
    assert not goes_on_beyond(photo, region, carried(EIGHT_RINGS, edge, region))
