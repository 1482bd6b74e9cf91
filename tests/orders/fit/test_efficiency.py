"""How near the scatter of readings comes to what the light allows (Cramer-Rao)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fringe.optics.zernike import zernike_matrix, zernike_terms
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import solve
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

SIDE = 240
EDGE = Edge(119.3, 120.4, 96.0, 96.0)
NOISE = 0.03
RUNS = 12


def places() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places on the unit disc, each (SIDE, SIDE), and which of them lie inside."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    u, v = EDGE.unit(x, y)
    return u, v, u**2 + v**2 < 1


def order_of(values: dict[tuple[int, int], float], u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Order over the disc of a few Zernike terms [fringe]."""
    return zernike_matrix(tuple(values), u, v) @ np.array(list(values.values()))


def bound(values: dict[tuple[int, int], float], level: float, contrast: float) -> float:
    """Least standard deviation of power that any unbiased reading can have [fringe].

    Fisher's information of light B (1 - V cos 2 pi order) in white noise: J^T J / sigma^2, with
    level, contrast, and every order term to degree 4 unknown; the power is twice the
    coefficient of defocus (Kay, Fundamentals of Statistical Signal Processing I, 3.9, from
    memory).
    """
    u, v, inside = places()
    u, v = u[inside], v[inside]
    terms = zernike_terms(4)
    order = order_of(values, u, v)
    cos, sin = np.cos(2 * np.pi * order), np.sin(2 * np.pi * order)
    of_order = zernike_matrix(terms, u, v) * (2 * np.pi * level * contrast * sin)[:, None]
    jacobian = np.column_stack([1 - contrast * cos, -level * cos, of_order])
    covariance = np.linalg.inv(jacobian.T @ jacobian) * NOISE**2
    place = 2 + terms.index((2, 0))
    return 2 * float(np.sqrt(covariance[place, place]))


@pytest.mark.parametrize(
    "values",
    [
        {(0, 0): 0.31, (1, 1): 1.2, (1, -1): -0.4, (2, 0): 2.6},
        {(0, 0): 0.12, (1, 1): 0.3, (2, 0): 4.4, (2, 2): 0.1, (4, 0): 0.05},
    ],
    ids=["rings off centre", "rings with a little of all"],
)
def test_scatter_is_within_1_2_of_the_bound(values, rng):
    """Over noise alone, the power's standard deviation is at most 1.2 of the bound.

    The scatter of so few runs is itself uncertain: what is refuted is a ratio of 1.2, at the one in
    a thousand level of the chi-squared law. The fits start near the truth: a start decides which
    fringes are followed, not how well.
    """
    u, v, inside = places()
    level, contrast = 0.5, 0.7
    clean = np.where(inside, level * (1 - contrast * np.cos(2 * np.pi * order_of(values, u, v))), 0)
    start = OrderModel(tuple(values), np.array(list(values.values())) + 0.02)
    powers = []
    for _ in range(RUNS):
        light = (clean + rng.normal(0, NOISE, clean.shape)).astype(np.float32)
        photo = Photo(light, np.zeros(light.shape, bool), "grey", "noisy")
        # the picture is as at normal view, seen from afar
        powers.append(solve(photo, EDGE, known=start).fit.model.power)
    ratio = np.std(powers, ddof=1) / bound(values, level, contrast)
    limit = 1.2 * np.sqrt(stats.chi2.ppf(0.999, RUNS - 1) / (RUNS - 1))
    assert ratio <= limit
    # no reading is better than the bound: that would be a mistake in it
    assert ratio >= np.sqrt(stats.chi2.ppf(0.001, RUNS - 1) / (RUNS - 1))
    assert np.mean(powers) == pytest.approx(2 * values[2, 0], abs=0.01)
