"""Readings made of known orders, without a picture."""

from __future__ import annotations

import math

import numpy as np

from fringe.orders.reading import FormFit, Quality, Reading
from fringe.photo.ellipse import Edge

TERMS = ((0, 0), (1, -1), (1, 1), (2, -2), (2, 0), (2, 2))
RADIUS_PX = 500.0


def orders(power: float, tilt: float, least: float) -> np.ndarray:
    """Coefficients of true orders over the disc, the smallest of which is `least`.

    Positive power for contact at the centre: N rho^2 + t u, its least inside where 2 N > t.
    """
    values = np.zeros(len(TERMS))
    values[TERMS.index((2, 0))] = power / 2
    values[TERMS.index((1, 1))] = tilt
    # N rho^2 is N / 2 of piston beside the Zernike term
    inside = power > 0 and 2 * power > abs(tilt)
    lowest = -(tilt**2) / (4 * power) if inside else power - abs(tilt)
    values[0] = power / 2 - lowest + least
    return values


def as_fitted(values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What a fit makes of true orders: rings count outward, and whole orders are lost."""
    turned = -values if values[TERMS.index((2, 0))] < 0 else values.copy()
    turned[0] -= math.floor(turned[0]) + int(rng.integers(-3, 4))
    return turned


def reading(values: np.ndarray, rng: np.random.Generator, squash: float = 1.0) -> Reading:
    """A reading of orders as seen, over an edge that looks so oval; good to 0.01 fringe."""
    noisy = as_fitted(values, rng) + rng.normal(0, 0.003, len(values))
    form = FormFit(TERMS, noisy / squash, np.eye(len(TERMS)) * 0.003**2)
    power = 2 * form.values[TERMS.index((2, 0))]
    edge = Edge(500, 500, RADIUS_PX, RADIUS_PX * squash)
    return Reading(
        589.3, Quality(0.8, 1.0, 0.05), power, 0.03, tilt_fringes=0.0, edge=edge, form=form
    )
