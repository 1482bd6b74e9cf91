"""The quantities that a surface's state consists of, and what is assumed of them beforehand.

A surface has a height of power y [um], a pace of its own, a tendency of its own in polishing and
warmth w. Its shop has, and takes on to its next surface, a rate of each stage, the ratio of the
lower piece's rate to the upper one's, and the error that all readings of its spherometer share.
A spell of `a` minutes with the work on top and `b` with the tool on top changes the height by

    dy = -R a exp(e1) + R ratio b exp(e2) (+ tendency R (a + b) in polishing),

R = exp(base + grinding + stage + pace), base being that of the table below, and e1, e2 what
differs from spell to spell. The upper piece turns concave (common practice, no source), which
lowers power; that sign is part of the model, so one odd spell does not turn it.

All widths are ours, without source: wide enough for shops that differ by a factor of two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.judge.state.abrasives import Stage

Array = NDArray[np.float64]

# places in the state; the stages follow
HEIGHT, PACE, TENDENCY, WARMTH = 0, 1, 2, slice(3, 6)
RATIO, OFFSET, GRINDING, STAGES = 6, 7, 8, 9
SHOP = slice(RATIO, None)

HEIGHT_U_UM = 300.0
PACE_U = 0.15  # of the logarithm of the rate
TENDENCY_U = 0.15  # share of the rate
RATIO_MEDIAN, RATIO_U = 0.75, 0.35  # and standard deviation of its logarithm
# glass removed, and what of it goes into the height of power
REMOVAL_PER_GRAIN = 0.08  # um/min per um of grain
POLISH_REMOVAL = 0.1  # um/min
POWER_SHARE = 0.2
USUAL_GRAIN_UM = 15.0  # of a stage that tells none
# standard deviations of the logarithm of the rate: shared by all grits, each stage's own, of
# polishing, and of a stage without a grain
GRINDING_U, STAGE_U, POLISH_U, UNKNOWN_U = 0.45, 0.3, 0.6, 1.2
OFFSET_DRIFT = 0.1  # of the spherometer's shared error from visit to visit, in its u
# Warmth of the work straight from the lap, in fringes of green light, after 20 minutes and more;
# it decays with one of these times, of these probabilities.
WARMTH_UM = 1.7 * 0.273
WARM_AFTER_MINUTES = 20.0
GROUND_WARMTH = 0.3  # of the same, after grinding
DECAY_MINUTES = np.array([25.0, 60.0, 110.0])
DECAY_SHARES = np.array([0.35, 0.4, 0.25])


@dataclass(frozen=True)
class Layout:
    """Which stages the state has rates of, in which order.

    Attributes
    ----------
    stages : tuple of Stage
        In the order of their first spells.
    """

    stages: tuple[Stage, ...] = ()

    @property
    def size(self) -> int:
        """Number of quantities in the state."""
        return STAGES + len(self.stages)

    def row(self, stage: Stage, *, reversed_piece: bool = False) -> tuple[Array, float]:
        """Logarithm of a stage's rate as a linear function of the state.

        Parameters
        ----------
        stage : Stage
            The work.
        reversed_piece : bool
            With the work below: times the ratio.

        Returns
        -------
        row : ndarray, shape (size,)
            Its coefficients.
        u : float
            Standard deviation of what the state does not hold: that of a stage that was not
            worked yet.
        """
        row = np.zeros(self.size)
        row[PACE] = 1.0
        if reversed_piece:
            row[RATIO] = 1.0
        if not stage.polish:
            row[GRINDING] = 1.0
        for place, known in enumerate(self.stages):
            if known.key == stage.key:
                row[STAGES + place] = 1.0
                return row, 0.0
        return row, stage_u(stage)

    def extended(self, stages: Sequence[Stage]) -> Layout:
        """The same with further stages at its end."""
        keys = {one.key for one in self.stages}
        found = list(self.stages)
        for one in stages:
            if one.key not in keys:
                keys.add(one.key)
                found.append(one)
        return Layout(tuple(found))


def base(stage: Stage) -> float:
    """Logarithm of the median rate of height beforehand [um/min]."""
    if stage.polish:
        return math.log(POWER_SHARE * POLISH_REMOVAL)
    return math.log(POWER_SHARE * REMOVAL_PER_GRAIN * (stage.size_um or USUAL_GRAIN_UM))


def stage_u(stage: Stage) -> float:
    """Standard deviation of the logarithm of a stage's own rate beforehand."""
    if stage.polish:
        return POLISH_U
    return UNKNOWN_U if stage.size_um is None else STAGE_U


def prior(layout: Layout) -> tuple[Array, Array]:
    """Mean and covariance of the state beforehand."""
    mean, u = np.zeros(layout.size), np.zeros(layout.size)
    u[HEIGHT], u[PACE], u[TENDENCY] = HEIGHT_U_UM, PACE_U, TENDENCY_U
    mean[RATIO], u[RATIO] = math.log(RATIO_MEDIAN), RATIO_U
    u[OFFSET], u[GRINDING] = 1.0, GRINDING_U
    u[STAGES:] = [stage_u(one) for one in layout.stages]
    return mean, np.diag(u**2)


def next_surface(mean: Array, covariance: Array, layout: Layout) -> tuple[Array, Array]:
    """The state of a surface of the same shop that was not seen yet."""
    fresh_mean, fresh = prior(layout)
    fresh_mean[SHOP] = mean[SHOP]
    fresh[SHOP, SHOP] = covariance[SHOP, SHOP]
    return fresh_mean, fresh
