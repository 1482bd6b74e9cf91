"""Refusals of bursts: frames too alike, without fringes, or not explained by phase steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.orders.burst.pixels import PixelFit, Stack, Steps
from fringe.orders.fit.field import Array, block_mean

LEAST_CONDITIONING = 0.02  # spread of the steps on their circle; 1/2 for even steps
# a frame without fringes: side of the blocks whose means are compared with the noise, and factor
# on the noise that its pixels may vary by, since the noise of alike frames is underestimated
_EVEN_PX, _MUCH_NOISE = 8, 2.0
_MOST_CHANGE = 0.1  # of the form within a burst [fringe]


def too_alike(name: str) -> Refused:
    """Refusal of frames between which hardly anything moved."""
    return Refused(
        f"{name}: the steps between frames are too alike; press a little more between frames, or"
        " wait longer, until the fringes have moved by one spacing in all"
    )


def check_steps(stack: Stack, steps: Steps, fit: PixelFit, noise: float, name: str) -> None:
    """Refuse steps that do not explain the frames, or a gap that changed its form."""
    scatter, amplitude = float(np.median(fit.scatter)), float(np.median(fit.amplitude))
    varied = float(np.median(stack.light.std(axis=0)))
    if varied < 1.5 * scatter or float(np.median(fit.conditioning)) < LEAST_CONDITIONING:
        raise too_alike(name)
    change = form_change(steps)
    if scatter > 0.35 * amplitude or (change > _MOST_CHANGE and scatter > 3 * noise):
        raise Refused(
            f"{name}: no steps and leans explain all frames; keep camera, work and light still,"
            " press so that the work leans less, or take more frames"
        )
    if change > _MOST_CHANGE:
        raise Refused(
            f"{name}: the form of the gap changed by {change:.2f} fringe between frames; let it"
            " settle, and press evenly (fringe settle follows a drift)"
        )


def form_change(steps: Steps) -> float:
    """Greatest change of power or astigmatism, peak to valley, between frames [fringe]."""
    power, straight, cross = np.ptp(steps.values[:, 3:6], axis=0) * (1, 2, 1)
    return float(max(power, np.hypot(straight, cross)))


def too_few_fringes(name: str) -> Refused:
    """Refusal of frames that show too few fringes to determine steps."""
    return Refused(
        f"{name}: less than one fringe shows in every frame, and light that changes would"
        " look the same; tilt the work until a fringe or two show"
    )


def is_even(light: Array, inside: NDArray[np.bool_], noise: float) -> bool:
    """Tell whether a frame varies no more than its noise, in its pixels and in block means."""
    if float(light[inside].std()) > _MUCH_NOISE * noise:
        return False
    rows, columns = (side // _EVEN_PX * _EVEN_PX for side in light.shape)
    means, share = block_mean(light[:rows, :columns], ~inside[:rows, :columns], _EVEN_PX)
    whole = share == 1
    return bool(whole.any() and means[whole].std() <= 3 * noise / _EVEN_PX)
