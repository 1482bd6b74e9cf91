"""A rim that turns by half a fringe is found where few fringes show, and is not taken for dirt."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.orders.fit.solve import solve
from fringe.photo.load import photo_from_array
from fringe.synth import random_scene, render


def test_few_fringes_with_a_turned_rim_are_followed() -> None:
    """Of 252 random works the one whose start lost its rim."""
    scene = random_scene(np.random.default_rng([151028, 3]), "led")
    shot = render(scene, np.random.default_rng(0))
    solution = solve(photo_from_array(shot.image, "made"), scene.edge)
    assert solution.fit.model.power == pytest.approx(shot.truth["power_fringes"], abs=0.02)
    assert solution.fit.used > 0.95
