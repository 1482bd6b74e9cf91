"""A rim that turns by half a fringe is found where few fringes show, and is not taken for dirt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.orders.fit.solve import solve
from fringe.photo.load import photo_from_array
from fringe.synth import random_scene, render


@pytest.mark.parametrize("turn", [0, 3])
def test_few_fringes_with_a_turned_rim_are_followed(turn: int) -> None:
    """Of 252 random works the one whose start lost its rim, and another of its kind."""
    scene = random_scene(np.random.default_rng([151028, 3]), "led")
    form = scene.form
    if turn:
        depth = form.turned_edge * (1 + 0.05 * turn)
        form = replace(form, tilt_angle_deg=60.0 * turn, turned_edge=depth)
    shot = render(replace(scene, form=form), np.random.default_rng(turn))
    solution = solve(photo_from_array(shot.image, "made"), scene.edge)
    assert solution.fit.model.power == pytest.approx(shot.truth["power_fringes"], abs=0.02)
    assert solution.fit.used > 0.95
