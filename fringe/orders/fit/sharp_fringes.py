"""Fits of fringes that are no cosine, as those of coated faces: with the profile asked for."""

from __future__ import annotations

import numpy as np

from fringe.orders.fit.pixels import Pixels
from fringe.orders.fit.profile import sharpness_of
from fringe.orders.fit.refine import Fit, between_fringes, fit_pixels, smooth_terms

SHARPER = 2.5  # times the resolution that fringes of two beams need
# A cosine with up to this overtone is left as it is (two beams under haze, tone curves and slight
# clipping have less) unless much is left over, and so are fringes too few to tell a profile from
# form and light
_ASKING, _MUCH_LEFT, _FEWEST = 0.12, 0.2, 2.0
_MOST, _ROUNDS, _SETTLED = 0.9, 4, 0.02
_BETTER = 0.9  # share of the former cost that a profile must get below


def asks_for_profile(fit: Fit) -> bool:
    """Whether the fringes may be sharper than those of two beams."""
    asking = fit.overtone > _ASKING or fit.rms > _MUCH_LEFT
    return asking and fit.model.span() > _FEWEST


def with_profile(pixels: Pixels, fit: Fit) -> Fit:
    """The fit with sharper fringes, where these follow the picture better.

    Parameters
    ----------
    pixels : Pixels
    fit : Fit
        Of a cosine, its order within half a fringe.
    """
    best, smooth = fit, smooth_terms(fit.model.steepest())
    for _ in range(_ROUNDS):
        before = best.sharpness
        light, _ = between_fringes(best, pixels.u, pixels.v)
        order = best.model.order(pixels.u, pixels.v)
        phase = np.float32(2 * np.pi) * (order - np.round(order))
        sharpness = float(np.clip(sharpness_of(pixels.light / light, phase), -_MOST, _MOST))
        if abs(sharpness - before) < (_SETTLED if best.sharpness else _ASKING):
            break
        tried = fit_pixels(pixels, best.model, smooth, sharpness=sharpness)
        if tried.cost > best.cost:
            break
        best = tried
    return best if best.cost < _BETTER * fit.cost else fit
