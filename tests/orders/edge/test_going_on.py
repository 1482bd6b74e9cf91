"""A dark fringe about the work's own middle is no edge."""

from __future__ import annotations

import numpy as np
import pytest
from rims_drawn import encoded
from scipy import ndimage

from fringe.orders.edge.find import past_dark_fringe
from fringe.orders.fit.solve import solve
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array

RADIUS, SIDE, POWER = 200.0, 520, 6.6


def farther(share: float, tilt: float, rng: np.random.Generator) -> Edge | None:
    """What becomes of an edge that was found at a share of the radius, on dark ground."""
    x, y = (np.indices((SIDE, SIDE))[::-1] - SIDE / 2) / RADIUS
    rho = np.hypot(x, y)
    order = POWER * rho**2 + tilt * x + 0.1 * (x**2 - y**2)
    light = np.where(rho < 1, 0.4 * (1 - 0.8 * np.cos(2 * np.pi * order)), 0.03)
    light = ndimage.gaussian_filter(light, 0.9) + rng.normal(0, 0.004, light.shape)
    photo = photo_from_array(encoded(light), "rings")
    edge = Edge(SIDE / 2, SIDE / 2, share * RADIUS, share * RADIUS, u_px=0.3)
    found = past_dark_fringe(photo, edge, solve(photo, edge).fit)
    return None if found is None else found.edge


def test_light_that_swings_on_is_the_face(rng: np.random.Generator) -> None:
    """From the last dark fringe the edge moves to the face's end, or says how far it may be."""
    dark = np.sqrt(6 / POWER)
    found = farther(dark, 0.0, rng)
    assert found is not None
    assert found.a == pytest.approx(RADIUS, abs=1.5)
    assert found.u_px == pytest.approx((found.a - dark * RADIUS) / 2)


@pytest.mark.parametrize("tilt", [0.0, 1.5])
def test_an_edge_stays(tilt: float, rng: np.random.Generator) -> None:
    """The face's end stays, and so does what rings can tell: fringes that are not concentric."""
    assert farther(1.0, tilt, rng) is None
    assert farther(0.97, 1.5, rng) is None
