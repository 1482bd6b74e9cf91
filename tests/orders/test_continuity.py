"""Orders counted in the picture against those of a fit: lost, added, folded and torn ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fringe.optics.lamps import lamp
from fringe.optics.patches import patch
from fringe.optics.zernike import Term, zernike_matrix, zernike_sum, zernike_sum_on_rays
from fringe.orders.agreement import patches_of
from fringe.orders.continuity import Continuity, continuity, folded
from fringe.orders.doubts import dirt_doubt
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.local_form import ZONED
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import Solution, solve
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array

Floats = NDArray[np.float64]
Change = Callable[[Floats, Floats], Floats]
EDGE = Edge(210.0, 205.0, 190.0, 190.0)
X, Y = np.meshgrid((np.arange(420) - EDGE.cx) / EDGE.a, (np.arange(410) - EDGE.cy) / EDGE.a)


def sphere(x: Floats, y: Floats) -> Floats:
    """Order of seven rings about the middle, under hardly any tilt."""
    return 7.0 * (x * x + y * y) + 0.15 * x - 0.1 * y


def picture(order: Floats, rng: np.random.Generator, dirt: Floats | float = 1.0) -> Photo:
    """Fringes of two beams on a dark ground, under noise and some dirt."""
    light = np.where(np.hypot(X, Y) < 1, 120 - 85 * np.cos(2 * np.pi * order), 9) * dirt
    return photo_from_array((light + rng.normal(0, 4, X.shape)).clip(0, 255).astype(np.uint8))


@pytest.fixture(scope="module")
def sound() -> tuple[Photo, Solution]:
    """A picture of the sphere and its right fit."""
    photo = picture(sphere(X, Y), np.random.default_rng(5))
    return photo, solve(photo, EDGE)


def held_against(sound: tuple[Photo, Solution], wrong: Change) -> Continuity:
    """The picture of the sphere against a fit of another order, on as many terms as there are."""
    photo, solution = sound
    rho, turn = np.meshgrid(np.sqrt(np.linspace(0, 1, 300)), np.linspace(0, 6.2, 40))
    x, y = (rho * np.cos(turn)).ravel(), (rho * np.sin(turn)).ravel()
    values = np.linalg.lstsq(zernike_matrix(ZONED, x, y), wrong(x, y), rcond=None)[0]
    fit = replace(solution.fit, model=OrderModel(ZONED, np.asarray(values, float)))
    return continuity(photo, EDGE, fit, patches_of(solution.field, fit))


def test_a_right_fit_is_not_doubted(
    sound: tuple[Photo, Solution], rng: np.random.Generator
) -> None:
    """Neither of a clean picture, nor under dust and a hair that lies along the fringes."""
    photo, solution = sound
    assert not continuity(
        photo, EDGE, solution.fit, patches_of(solution.field, solution.fit)
    ).is_broken
    dirt = np.ones(X.shape)
    for _ in range(30):
        x, y = rng.uniform(-0.7, 0.7, 2)
        dirt[np.hypot(X - x, Y - y) < rng.uniform(0.005, 0.03)] = 0.2
    along = np.arctan2(Y - 0.05, X) < rng.uniform(0.0, 1.0)
    dirt[(np.abs(np.hypot(X, Y - 0.05) - rng.uniform(0.3, 0.8)) < 0.006) & along] = 0.2
    dirty = picture(sphere(X, Y), rng, dirt)
    assert not continuity(
        dirty, EDGE, solution.fit, patches_of(solution.field, solution.fit)
    ).is_broken


@pytest.mark.parametrize("orders", [-1, 1])
def test_an_order_put_wrong_is_found(
    orders: int, sound: tuple[Photo, Solution], rng: np.random.Generator
) -> None:
    """A fit that gains or loses one order on its way out, within a twentieth of the radius."""
    place = rng.uniform(0.45, 0.85)

    def wrong(x: Floats, y: Floats) -> Floats:
        return sphere(x, y) + orders * (0.5 + 0.5 * np.tanh((np.hypot(x, y) - place) / 0.025))

    found = held_against(sound, wrong)
    seen, other = (found.extra, found.missing)[::orders]
    assert other == pytest.approx(place, abs=0.12)
    assert seen is None
    assert any("off by one" in text for text in found.warnings())


@pytest.mark.parametrize("halves", [4, 5, 8, 9])
def test_a_folded_ring_is_found(halves: int, sound: tuple[Photo, Solution]) -> None:
    """Beyond a dark or a bright ring the fit goes back as it came: the same light all over."""

    def wrong(x: Floats, y: Floats) -> Floats:
        return halves / 2 - np.abs(halves / 2 - sphere(x, y))

    found = held_against(sound, wrong)
    assert found.folded == pytest.approx(np.sqrt(halves / 14), abs=0.06)
    assert any("turns back at a fringe" in text for text in found.warnings())


def test_a_zone_is_not_folded(rng: np.random.Generator) -> None:
    """A crest that bends as polishing makes it, at a fringe or not, is a form."""
    rho = np.linspace(0, 1, 300)
    for _ in range(8):
        place, width = rng.uniform(0.3, 0.7), rng.uniform(0.1, 0.2)
        order = 3 * rho**2 + rng.uniform(1, 2) * np.exp(-(((rho - place) / width) ** 2))
        terms: tuple[Term, ...] = tuple((n, 0) for n in range(0, 45, 2))
        rows = zernike_matrix(terms, rho, 0 * rho)
        values = np.linalg.lstsq(rows, order + rng.uniform(0, 1), rcond=None)[0]
        assert folded(OrderModel(terms, np.asarray(values, float))) is None


def test_fringes_that_end_in_the_face_are_found(
    sound: tuple[Photo, Solution], rng: np.random.Generator
) -> None:
    """A dislocation: one order more after a turn about a place."""
    _, solution = sound
    turn, away = rng.uniform(0, 2 * np.pi), rng.uniform(0.35, 0.6)
    x, y = away * np.cos(turn), away * np.sin(turn)
    order = sphere(X, Y) + np.arctan2(Y - y, X - x) / (2 * np.pi)
    photo = picture(order, rng)
    field = cut_field(photo, EDGE, solution.field.scale)
    found = continuity(photo, EDGE, solution.fit, patches_of(field, solution.fit))
    assert found.torn
    assert any("end in the middle" in text for text in found.warnings())


def test_rings_of_a_turned_edge_that_the_fit_missed_are_said(rng: np.random.Generator) -> None:
    """An edge turned by 1.6 fringes over a sixteenth of the radius: read right, or warned of."""
    rho = np.hypot(X, Y)
    turned = 1.6 * np.clip((rho - 0.93) / 0.07, 0, None) ** 2
    photo = picture(3 * rho**2 + 1.2 * X + turned, rng)
    reading = read(photo, ReadOptions(lamp("sodium"), edge=EDGE))
    if not reading.quality.warnings:
        assert reading.irregularity_fringes == pytest.approx(1.5, abs=0.25)
    else:
        assert (reading.irregularity_u95_fringes or 0) > 0.05


def test_a_wrong_count_widens_the_interval() -> None:
    """What an order is worth counts in power and in the form."""
    terms = ((0, 0), (2, 0), (4, 0))
    wide, narrow = (dirt_doubt(terms, 1.0, miscounted=one).of_power(1) for one in (True, False))
    assert wide > 0.3 > narrow


def test_sums_along_rays_are_sums_at_places(rng: np.random.Generator) -> None:
    """Round, odd and local terms alike, to double precision."""
    terms: tuple[Term, ...] = ((0, 0), (1, -1), (2, 2), (3, -1), (5, 3), (12, 0), patch(8, 9, 7))
    values = rng.normal(0, 1, len(terms))
    rho, angle = rng.uniform(0, 1, 7), rng.uniform(0, 6.3, 5)
    u, v = rho * np.cos(angle)[:, None], rho * np.sin(angle)[:, None]
    found = zernike_sum_on_rays(terms, values, rho, angle)
    np.testing.assert_allclose(found, zernike_sum(terms, values, u, v), atol=1e-12)
