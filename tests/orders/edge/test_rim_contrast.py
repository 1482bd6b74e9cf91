"""Contrast at the rim: what a lamp's coherence leaves there, and what a plate does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fringe.optics.zernike import zernike_matrix, zernike_terms
from fringe.orders.edge.rim_contrast import fringed_to_rim
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit

Floats = NDArray[np.float64]
TERMS = zernike_terms(4)


def with_contrast(contrast: Callable[[Floats], Floats], power: float) -> Fit:
    """A fit of some power whose contrast follows a profile as well as its terms do."""
    rho, angle = np.meshgrid(np.sqrt(np.linspace(0, 1, 40)), np.linspace(0, 6.2, 24))
    rows = zernike_matrix(TERMS, (rho * np.cos(angle)).ravel(), (rho * np.sin(angle)).ravel())
    seen = contrast(rho.ravel())
    values = np.asarray(np.linalg.lstsq(rows, seen, rcond=None)[0], float)
    none = np.zeros(len(TERMS))
    order = np.where([term == (2, 0) for term in TERMS], power / 2, 0.0)
    fit = Fit(
        OrderModel(TERMS, order), np.eye(len(TERMS)), TERMS, none, TERMS, values,
        rms=0.02, noise=0.01, cost=1e-4, mean_contrast=1.0, explained=1.0, used=1.0,
    )  # fmt: skip
    return replace(fit, mean_contrast=float(np.median(rows @ values)))


@pytest.mark.parametrize("power", [2.0, 12.0])
def test_a_plate_beyond_the_work_shows_no_fringes(power: float) -> None:
    """Whether fringes are few or many."""
    for end in (0.8, 0.85, 0.9):
        assert not fringed_to_rim(with_contrast(lambda rho, end=end: 1.0 * (rho < end), power))


@pytest.mark.parametrize("strength", [0.05, 0.3, 1.0, 2.0, 3.0])
def test_a_lamp_whose_contrast_falls_does(strength: float) -> None:
    """With the contact in the middle, and at the edge."""
    assert fringed_to_rim(with_contrast(lambda rho: np.exp(-strength * rho**4), 12.0))
    assert fringed_to_rim(with_contrast(lambda rho: np.exp(-strength * (1 - rho**2) ** 2), 12.0))
