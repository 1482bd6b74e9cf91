"""The view of the gap: near cameras, tilted cameras, steep plates."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.optics import view


@given(st.floats(0, 80), st.floats(0, 359), st.floats(0.5, 1000), st.floats(20, 1e6))
def test_cosine_is_between_the_sight_line_and_the_axis(tilt, direction, semi, distance):
    """At each point the cosine is that of the line to the camera against the axis (analytic)."""
    turn, lean = math.radians(direction), math.radians(tilt)
    camera = distance * np.array(
        [math.sin(lean) * math.cos(turn), math.sin(lean) * math.sin(turn), math.cos(lean)]
    )
    u, v = np.array([0.0, 1.0, 0.0, -0.6, 0.3]), np.array([0.0, 0.0, -1.0, 0.8, 0.1])
    points = np.stack([semi * u, semi * v, np.zeros(5)], axis=-1)
    sight = camera - points
    want = sight[:, 2] / np.linalg.norm(sight, axis=1)
    got = view.cos_view(u, v, semi, distance, math.cos(lean), direction)
    # a cosine carries an angle only to sqrt(2^-52) = 1.5e-8 rad
    np.testing.assert_allclose(got, want, rtol=1e-7)
    assert got[0] == pytest.approx(math.cos(lean), rel=1e-12)


@pytest.mark.parametrize("distance", [None, math.inf])
def test_far_camera_sees_one_angle(distance):
    """Without a distance the cosine is the same everywhere."""
    got = view.cos_view(np.zeros((2, 3)), np.ones((2, 3)), None, distance, 0.9)
    np.testing.assert_array_equal(got, np.full((2, 3), 0.9))


def test_flat_backed_plate_obeys_snell_at_its_curved_face():
    """n sin t = sin theta at the face of a flat-backed plate, and the axis is not refracted."""
    got = view.cos_through_flat_back(30.0, 100.0, 1.52)
    assert math.sin(math.acos(got)) == pytest.approx(1.52 * 0.3, rel=1e-12)
    assert view.cos_through_flat_back(0.0, 100.0, 1.52) == 1.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: view.cos_view(0, 0, tilt_cos=0.0), "cosine"),
        (lambda: view.cos_view(0, 0, tilt_cos=1.1), "cosine"),
        (lambda: view.cos_view(0, 0, None, 300.0), "diameter"),
        (lambda: view.cos_view(0, 0, 25.0, -300.0), "not over zero"),
        (lambda: view.cos_through_flat_back(70.0, 100.0, 1.52), "reflects all light"),
    ],
)
def test_impossible_views_are_refused_in_one_line(call, words):
    """A view that cannot be is refused with one line."""
    with pytest.raises(BadInput, match=words) as error:
        call()
    assert "\n" not in str(error.value)
