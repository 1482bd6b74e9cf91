"""The relief: heights of the work, light where high, what is near before what is far."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.show.figures.relief import relief_figure
from fringe.show.figures.style import COLUMN_IN


def picture(figure):
    (shown,) = figure.axes[0].get_images()
    return np.asarray(shown.get_array())


def test_high_places_are_light_and_rise(made_reading):
    """A gap that is narrow at the left rim is a work that is high there: light, and drawn up."""
    # -0.5 u of coma's odd shape is taken out as tilt, so astigmatism it is: gap narrow along u
    pixels = picture(relief_figure(made_reading(1.0, extra={(2, 2): -0.4}), width_in=COLUMN_IN))
    painted = (pixels < 250).any(axis=-1)
    middle, side = painted.shape[1] // 2, painted.shape[1] // 30
    light = [
        pixels[np.flatnonzero(painted[:, column])[3], column].astype(int).sum()
        for column in (side, middle)
    ]
    assert light[0] > light[1]
    # the far rim in the middle is low: its top lies lower than that of a level disc, sin 40°
    rows = np.flatnonzero(painted[:, middle])
    flat = picture(relief_figure(made_reading(1.0), width_in=COLUMN_IN))
    level = np.flatnonzero((flat[:, middle] < 250).any(axis=-1))
    assert rows[0] > level[0] + 10


def test_without_a_form_there_is_none(made_rings):
    """A reading without an edge has no form to draw."""
    with pytest.raises(BadInput, match="no form"):
        relief_figure(made_rings())
