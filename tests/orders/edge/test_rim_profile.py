"""The order to the end of a face, from rings as a lens leaves them: drawn without a picture."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from fringe.orders.edge.rim_end import by_profile, rim_end
from fringe.orders.edge.rim_profile import RimProfile, rim_profile
from fringe.orders.edge.rim_rings import RAYS, RimRings
from fringe.orders.fit.model import OrderModel
from fringe.photo.ellipse import Edge

RADIUS, BLUR, NOISE = 240.0, 1.1, 0.003


Order = Callable[[np.ndarray], np.ndarray]


def turned(turn: float, decay_px: float) -> Order:
    """The order of a sphere with a rim that is turned exponentially, by pixels from its end."""
    return lambda px: np.asarray(3 * (1 + px / RADIUS) ** 2 + turn * np.exp(px / decay_px))


def rings_of(order: Order, rng: np.random.Generator, end_px: float = 0.0) -> RimRings:
    """Rings as a lens leaves them."""
    fine = np.arange(-60.0, end_px, 0.05) + 0.025
    radius = np.arange(0.8, 1.05, 0.5 / RADIUS)
    at = (radius - 1) * RADIUS
    kernel = np.exp(-((at[:, None] - fine) ** 2) / (2 * BLUR**2)) * 0.05 / (BLUR * 2.5066)
    seen = 0.6 * kernel @ np.exp(2j * np.pi * order(fine))
    seen = np.where(at < -50, 0.6 * np.exp(2j * np.pi * order(at)), seen)
    seen = seen + NOISE * (rng.normal(size=len(at)) + 1j * rng.normal(size=len(at)))
    broad = OrderModel(((0, 0), (2, 0)), np.array([1.5, 1.5]))
    ahead = np.unwrap(np.angle(seen) / (2 * np.pi), period=1.0) - 3 * radius**2
    strength = np.abs(seen)
    left = 2 * NOISE**2 * RAYS / 2
    explained = strength**2 / 2 / (strength**2 / 2 + left)
    ahead -= np.round(ahead[0])
    values = np.stack(
        [0 * at, 0 * at, 0 * at, *(-strength * f(2 * np.pi * ahead) for f in (np.cos, np.sin))], 1
    )
    values[:, 4] *= -1
    edge = Edge(400.0, 400.0, RADIUS, RADIUS)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    tilted = 2 * np.pi * np.add.outer(3 * radius**2, np.cos(angle))
    light = values[:, 3, None] * np.cos(tilted) + values[:, 4, None] * np.sin(tilted)
    light -= 0.8 * (at > end_px)[:, None]
    even = np.zeros((len(at), 4))
    return RimRings(
        edge,
        radius,
        None,  # type: ignore[arg-type]
        broad,
        values,
        ahead,
        explained,
        1 + 0 * at,
        even,
        even + 1,
        light,
        1 + 0 * light,
        tilted,
        angle,
    )


def told(
    turn: float,
    decay_px: float,
    rng: np.random.Generator,
    end_px: float = 0.0,
    about_px: float = 0.0,
) -> tuple[RimProfile, float]:
    """The profile of a sphere with a rim that is turned exponentially, and its true end order."""
    order = turned(turn, decay_px)
    found = rim_profile(rings_of(order, rng, end_px), 1.0 + about_px / RADIUS, 0.5, 1.0)
    assert found is not None
    return found, float(order(np.array([end_px]))[0])


@pytest.mark.parametrize(("turn", "decay_px"), [(0.0, 5.0), (-0.6, 1.5), (1.5, 4.0), (0.9, 12.0)])
def test_the_order_where_the_face_ends(
    turn: float, decay_px: float, rng: np.random.Generator
) -> None:
    """A rim turned over a few pixels, mixed by the lens: the order at its end within three u."""
    found, truth = told(turn, decay_px, rng)
    off = float(np.interp(1.0, found.radius, found.order)) - truth
    u = float(np.hypot.reduce(found.errors_at(np.array([1.0]))[:, 0]))
    assert abs(off) < max(3 * u, 0.01)
    assert u < 0.15
    assert found.misfit < 2


def test_where_the_face_ends(rng: np.random.Generator) -> None:
    """Fringes that end two thirds of a pixel within the edge: that place, to a tenth of a pixel."""
    found, _ = told(0.8, 6.0, rng, end_px=-0.66)
    assert (found.end - 1) * RADIUS == pytest.approx(-0.66, abs=0.1)


def test_a_wrong_end_is_less_likely() -> None:
    """A rim over two pixels, begun from two pixels within: no likelier than from near its end."""
    found = [told(-1.1, 2.0, np.random.default_rng(4), about_px=px)[0] for px in (-2.0, 0.3)]
    assert found[1].neg_2_log_evidence < found[0].neg_2_log_evidence + 1
    assert found[1].end * RADIUS == pytest.approx(RADIUS, abs=0.2)


def test_fringes_that_no_pixel_shows(rng: np.random.Generator) -> None:
    """Two and a half fringes within a pixel of the end: told, and left open by as much."""
    found, truth = told(2.5, 1.0, rng)
    off = float(np.interp(1.0, found.radius, found.order)) - truth
    u = float(np.hypot.reduce(found.errors_at(np.array([1.0]))[:, 0]))
    assert found.unshown > 0.3
    assert abs(off) < 3 * u
    assert u > 0.3


def test_crowding_fringes_are_followed_farther(rng: np.random.Generator) -> None:
    """Where they crowd the lens takes half of their strength before the face ends."""
    rings = rings_of(turned(1.6, 3.0), rng)
    rings.values[:, 0] = np.where(rings.radius < 1, 0.0, -0.5)
    last = rings.last
    assert last is not None
    end = by_profile(rings, rim_end(rings, last), last)
    assert (end.face - 1) * RADIUS == pytest.approx(0.0, abs=0.3)


def test_an_end_far_within_has_no_profile(rng: np.random.Generator) -> None:
    """No ring lies between it and where the order is first fitted."""
    assert rim_profile(rings_of(turned(0.0, 5.0), rng), 0.88, 0.5, 1.0) is None
