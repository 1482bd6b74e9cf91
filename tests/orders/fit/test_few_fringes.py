"""Works of few fringes whose form is coma or spherical."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.orders.fit.solve import solve
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.photo.srgb import linear_to_srgb


@pytest.mark.parametrize(("power", "coma", "spherical"), [(0.42, 1.85, 0.0), (0.97, 1.7, -1.25)])
def test_coma_and_spherical_are_followed(
    power: float, coma: float, spherical: float, rng: np.random.Generator
) -> None:
    """To these hardly any sum of tilt, power and astigmatism leads."""
    edge = Edge(99.5, 99.5, 90.0, 90.0)
    x, y = np.meshgrid(*[(np.arange(200) - 99.5) / 90] * 2)
    square, along = x * x + y * y, 0.6 * x + 0.8 * y
    order = (power + coma * along + spherical * square) * square + 0.4 * x + rng.uniform(0, 1)
    light = np.where(square < 1, 0.4 - 0.3 * np.cos(2 * np.pi * order), 0.03)
    code = 255 * linear_to_srgb(light) + rng.normal(0, 2, x.shape)
    photo = photo_from_array(np.rint(code).clip(0, 255).astype(np.uint8))
    model = solve(photo, edge).fit.model
    # r^4 as a sphere's best fit has it is r^2 - 1/6 (least squares over the disc)
    assert abs(model.power) == pytest.approx(abs(power + spherical), abs=0.02)
    assert np.hypot(model.value(3, 1), model.value(3, -1)) == pytest.approx(coma / 3, abs=0.02)
