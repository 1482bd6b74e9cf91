"""A picture held against its model patch by patch, and orders counted round circles."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.agreement import Patches, patches
from fringe.orders.doubts import MOST_UNEXPLAINED
from fringe.orders.fit.model import OrderModel
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.winding import refuse_spirals, winding
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import distractor
from fringe.synth.lookalikes import DISC_RADIUS

Floats = NDArray[np.float64]
SIDE = np.linspace(-1, 1, 161, dtype=np.float32)
U, V = (w[np.hypot(*np.meshgrid(SIDE, SIDE)) < 1] for w in np.meshgrid(SIDE, SIDE))
RINGS = OrderModel(((0, 0), (1, 1), (2, 0)), np.array([3.0, 1.0, 3.0]))


def held(shift: Floats, noise: float = 0.0, rng: np.random.Generator | None = None) -> Patches:
    """Patches of a picture whose order is ahead of six rings by `shift` [fringe]."""
    order = RINGS.order(U, V)
    signal = -0.7 * np.cos(2 * np.pi * (order + shift))
    if rng is not None:
        signal += rng.normal(0, noise, U.size)
    return patches(signal.astype(np.float32), np.full_like(U, 0.7), order, U, V)


def test_a_phasor_tells_how_far_the_picture_is_ahead() -> None:
    """A picture that is 0.2 fringe ahead: phasors of size 1 and angle 0.4 pi (analytic)."""
    found = held(np.full(U.size, 0.2))
    assert found.known.mean() > 0.6
    assert found.phasor[found.known] == pytest.approx(np.exp(0.4j * np.pi), abs=0.02)


@pytest.mark.parametrize("arms", [-2, -1, 1, 2])
def test_arms_of_a_spiral_are_counted(arms: int, rng: np.random.Generator) -> None:
    """Rings that run ahead by `arms` orders a turn about their centre, under noise."""
    turn = np.arctan2(V, U + 1 / 12) / (2 * np.pi)  # the order's slope, 1 + 12 u, is 0 there
    found = held(arms * turn, 0.3, rng)
    assert winding(RINGS, found) == arms
    with pytest.raises(Refused, match=r"^target: the lines are a spiral of (one arm|2 arms)"):
        refuse_spirals("target", RINGS, found)


def test_forms_do_not_wind(rng: np.random.Generator) -> None:
    """Zones and bumps of any height add nothing round a circle, nor does noise alone."""
    for height in (0.3, 0.8, 1.5):
        away = np.hypot(U - rng.uniform(-0.5, 0.5), V - rng.uniform(-0.5, 0.5))
        bump = height * np.exp(-((away / rng.uniform(0.1, 0.3)) ** 2))
        assert winding(RINGS, held(bump, 0.3, rng)) == 0


def test_what_lies_beyond_the_work_does_not_wind(rng: np.random.Generator) -> None:
    """Rings on the left, and on the right, by chance fringed too, something else: no arms."""
    order = RINGS.order(U, V)
    inside = np.hypot(*np.meshgrid(SIDE, SIDE)) < 1
    for _ in range(30):
        warp = gaussian_filter(rng.standard_normal(inside.shape), 12)[inside]
        cycles = np.where(rng.uniform(0, 0.35) > U, order, 72 * warp + 2 * V)
        signal = (-0.7 * np.cos(2 * np.pi * cycles)).astype(np.float32)
        assert winding(RINGS, patches(signal, np.full_like(U, 0.7), order, U, V)) == 0


def jump() -> Floats:
    """One order more on the right, gained over a tenth of the radius."""
    return 1 / (1 + np.exp(-(U - 0.2) / 0.02))


def dislocation() -> Floats:
    """An order more after a turn about a place beside the middle."""
    return np.arctan2(V - 0.4, U - 0.3) / (2 * np.pi)


def fold() -> Floats:
    """Beyond a line the order goes back as it came."""
    order = RINGS.order(U, V)
    return np.where(U > 0.4, RINGS.order(0.8 - U, V) - order, 0)


def bump() -> Floats:
    """A narrow bump of a fringe."""
    return 1.0 * np.exp(-((np.hypot(U + 0.3, V - 0.2) / 0.18) ** 2))


@pytest.mark.parametrize("shift", [jump, dislocation, fold, bump])
def test_fringes_that_are_not_the_models_are_found(
    shift: Callable[[], Floats], rng: np.random.Generator
) -> None:
    """Jumps by one order, dislocations, folds and bumps leave a part of the face unexplained."""
    assert held(shift(), 0.3, rng).unexplained > MOST_UNEXPLAINED


@pytest.mark.parametrize("noise", [0.0, 0.5, 1.5])
def test_noise_and_slow_errors_leave_nothing(noise: float, rng: np.random.Generator) -> None:
    """Noise of twice the fringes' own size, and an order off by a tenth: all is explained."""
    assert held(0.1 * U, noise, rng).unexplained < 0.01


def test_what_is_not_explained_widens_the_interval_and_is_said(rng: np.random.Generator) -> None:
    """Straight fringes in a part of the face of rings: B's interval is wider than half a fringe."""
    x, y = (w / 130 for w in np.meshgrid(np.arange(300) - 150.0, np.arange(300) - 150.0))
    part = np.hypot(x - 0.3, y + 0.2) < 0.22
    order = np.where(part, 9 * (x - y), 6 * (x * x + y * y) + x)
    light = np.where(np.hypot(x, y) < 1, 120 + 80 * np.cos(2 * np.pi * order), 8)
    photo = photo_from_array((light + rng.normal(0, 3, x.shape)).clip(0, 255).astype(np.uint8))
    reading = read(photo, ReadOptions(lamp("sodium"), edge=Edge(150, 150, 130, 130)))
    assert any("the fringes are not those of the fit" in w for w in reading.quality.warnings)
    assert (reading.irregularity_u95_fringes or 0) > 0.5
    assert (reading.power_u95_fringes or 0) > 0.5


@pytest.mark.parametrize("kind", ["spiral", "square_spiral"])
def test_spirals_are_refused(kind: str, rng: np.random.Generator) -> None:
    """Arms at r and at r^2 on a round piece, its edge given, give no reading that is believed.

    Of thirty draws of arms at r one was read, with a warning and an interval of a fourth of it.
    """
    photo = photo_from_array(distractor(kind, rng, (260, 240)), f"{kind}.jpg")
    radius = DISC_RADIUS * 120
    options = ReadOptions(lamp("sodium"), edge=Edge(129.5, 119.5, radius, radius))
    refusal = ""
    try:
        warnings = read(photo, options).quality.warnings
    except Refused as error:
        refusal = str(error)
    if refusal:
        assert re.match(rf"{kind}\.jpg: the (lines are a spiral|rings have one)", refusal)
    else:
        assert any("not those of the fit" in text for text in warnings)


@pytest.mark.parametrize("arms", [0, 1])
def test_a_spiral_without_an_edge_is_refused(arms: int, rng: np.random.Generator) -> None:
    """Sixteen rings that fill the frame are read with no edge; with an arm they are not."""
    x, y = np.meshgrid(np.arange(360) - 170.0, np.arange(340) - 175.0)
    order = 16 * (x * x + y * y) / 220**2 + arms * np.arctan2(y, x) / (2 * np.pi)
    light = 120 + 90 * np.cos(2 * np.pi * order) + rng.normal(0, 3, x.shape)
    photo = photo_from_array(light.clip(0, 255).astype(np.uint8), "field.png")
    options = ReadOptions(lamp("sodium"), edge="none")
    if arms:
        with pytest.raises(Refused, match=r"^field\.png: the lines are a spiral of one arm"):
            read(photo, options)
    else:
        assert read(photo, options).quality.warnings == ()
