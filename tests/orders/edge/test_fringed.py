"""Edges of works that lie in something bright: a larger plate, a cell with marks of turning."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from rims_drawn import Rim, drawn

from fringe.orders.edge.find import find_edge
from fringe.orders.edge.fringed import where_fringes_end
from fringe.orders.fit.solve import middle_fit
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array

_RADIUS_PX = 110.0


def _rim(rng: np.random.Generator, surround: str) -> Rim:
    """A work without a turned rim, of 1 to 8 fringes."""
    return Rim(
        power=math.exp(rng.uniform(0, math.log(8))) * rng.choice([-1, 1]),
        tilt=rng.uniform(0.5, 3),
        turn=0.0,
        width=0.1,
        law="power",
        radius=_RADIUS_PX,
        turned_to=rng.uniform(0, 2 * math.pi),
        chamfer_px=rng.choice([0.0, 2.0]),
        chamfer_level=0.9,
        surround=surround,
        contrast=rng.uniform(0.4, 0.9),
    )


@pytest.mark.parametrize(
    ("surround", "seed"),
    [("cell", 0), ("cell", 2), ("cell", 8), ("plate", 3), ("plate", 4), ("plate", 7)],
)
def test_the_work_is_told_from_what_it_lies_in(surround: str, seed: int) -> None:
    """The border of the cell, or of the plate, is as clear a circle, and is not taken."""
    rng = np.random.default_rng([seed, 12])
    image, (cx, cy) = drawn(_rim(rng, surround), rng)
    edge = find_edge(photo_from_array(image, "work")).edge
    assert math.sqrt(edge.a * edge.b) == pytest.approx(_RADIUS_PX, rel=0.005)
    assert math.hypot(edge.cx - cx, edge.cy - cy) < 0.005 * _RADIUS_PX


def _drawn_on_a_plate() -> tuple[NDArray[np.uint8], tuple[float, float]]:
    rng = np.random.default_rng(7)
    return drawn(_rim(rng, "plate"), rng)


@pytest.mark.parametrize("larger", [1.1, 1.25])
def test_fringes_are_followed_to_where_they_end(larger: float) -> None:
    """From a circle that is too large and beside the middle."""
    image, (cx, cy) = _drawn_on_a_plate()
    photo = photo_from_array(image, "work")
    circle = Edge(cx + 2.0, cy - 3.0, larger * _RADIUS_PX, larger * _RADIUS_PX)
    fit = middle_fit(photo, circle, 0.75)
    assert fit is not None
    end = where_fringes_end(photo, circle, fit)
    assert end is not None
    found = end.edge
    assert end.bare == (larger > 1.2)  # of a narrow band that cannot be told
    assert math.sqrt(found.a * found.b) == pytest.approx(_RADIUS_PX, rel=0.015)
    assert math.hypot(found.cx - cx, found.cy - cy) < 0.015 * _RADIUS_PX


def test_fringes_that_fill_a_circle_end_nowhere() -> None:
    """The face's own circle, and one within it."""
    image, (cx, cy) = _drawn_on_a_plate()
    photo = photo_from_array(image, "work")
    for share in (0.9, 1.0):
        circle = Edge(cx, cy, share * _RADIUS_PX, share * _RADIUS_PX)
        fit = middle_fit(photo, circle, 0.96)
        assert fit is not None
        assert where_fringes_end(photo, circle, fit) is None
