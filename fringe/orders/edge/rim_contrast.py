"""Whether fringes reach the rim of a circle: beyond the work the plate shows none.

Over many fringes a lamp's contrast may vanish, over a few it does not. Nor does it vanish at the
rim where it hardly falls farther in: by a Gaussian line's coherence (Born and Wolf, 7.5.8; from
memory) its logarithm goes as the gap squared, which is the radius to the fourth where the contact
is in the middle, and elsewhere less.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.refine import Fit, between_fringes
from fringe.photo.filters import median, quantile

Floats = NDArray[np.float64]
_FEW_CYCLES = 5.0  # fringes a radius, so few that no lamp's contrast falls much over them
# contrast at the rim (15th percentile) as a share of the median, of few fringes and of many, whose
# terms may overshoot
_LEAST_OF_FEW, _LEAST_OF_MANY = 0.5, -0.2
_INNER, _MIDDLE, _RIM = 0.4, 0.7, 0.98  # circles
# contrast at the rim that a lamp leaves, as a share of the median, from which the rim is judged,
# and the share of it that is there at least: terms are not quite a Gaussian's
_LEFT, _LEAST_LEFT = 0.25, 0.4


def fringed_to_rim(fit: Fit) -> bool:
    """Tell whether the fringes of a fit reach the rim of its disc all round."""
    usual = max(fit.mean_contrast, 1e-6)
    at_rim = _contrast(fit, _RIM) / usual
    few = fit.model.steepest() < _FEW_CYCLES
    if quantile(at_rim, 0.15) <= (_LEAST_OF_FEW if few else _LEAST_OF_MANY):
        return False
    inner, middle = (
        max(float(median(_contrast(fit, one))) / usual, 1e-6) for one in (_INNER, _MIDDLE)
    )
    exponent = (_RIM**4 - _INNER**4) / (_MIDDLE**4 - _INNER**4)
    left = inner * math.pow(min(middle / inner, 1.0), exponent)
    return left < _LEFT or float(median(at_rim)) > _LEAST_LEFT * left


def _contrast(fit: Fit, radius: float) -> Floats:
    """Contrast round a circle, shape (72,)."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    u, v = ((radius * f(angle)).astype(np.float32) for f in (np.cos, np.sin))
    return np.asarray(between_fringes(fit, u, v)[1], float)
