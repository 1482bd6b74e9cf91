"""Whether fringes can replace the spherometer: rings expected, and rings that can be read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.judge.uncertainty.budget import Budget

if TYPE_CHECKING:
    from fringe.optics.lamps import Lamp

# A ring narrower than this many pixels at the rim is not counted on (common practice, no source:
# twice what sampling needs), nor fringes of less contrast than this.
PIXELS_A_RING = 4.0
LEAST_CONTRAST = 0.2
# A lamp whose fringes last longer than this sets no limit: what counts is the camera, which
# would need a picture 160,000 pixels wide.
MOST_RINGS = 20_000


@dataclass(frozen=True)
class Reach:
    """Whether fringes can take over from the spherometer.

    Attributes
    ----------
    near_enough : {'yes', 'no', 'perhaps'}
        Whether the rings expected can be read, with the spherometer's uncertainty.
    rings_expected, rings_expected_u95 : float
        Rings over the aperture that the spherometer foretells.
    rings_readable : float
        The most that lamp and camera can read; infinite where neither sets a limit.
    limited_by : str or None
        `lamp` or `camera`; None where neither does.
    overlap_fringes : (float, float) or None
        From where the spherometer still sees the difference to where the rings end: there
        both are to agree. None where the two do not meet.
    """

    near_enough: str
    rings_expected: float
    rings_expected_u95: float
    rings_readable: float
    limited_by: str | None
    overlap_fringes: tuple[float, float] | None


def reach(power: Budget, limits: Sequence[tuple[str, float]]) -> Reach:
    """Hold the power that the spherometer foretells against what can be read.

    Parameters
    ----------
    power : Budget
        Power over the aperture [fringe].
    limits : sequence of (str, float)
        Name of each limit, as `lamp`, and the rings that it allows; at least one.

    Returns
    -------
    Reach
    """
    name, readable = min(limits, key=lambda one: one[1])
    limited_by = name if math.isfinite(readable) else None
    expected, u95 = abs(power.value), power.u95
    if expected + u95 <= readable:
        near = "yes"
    elif expected - u95 > readable:
        near = "no"
    else:
        near = "perhaps"
    overlap = (u95, readable) if u95 < readable else None
    return Reach(near, expected, u95, readable, limited_by, overlap)


def rings_by_camera(diameter_mm: float, scale_px_per_mm: float) -> float:
    """Rings of pure power that a camera resolves: at the rim their spacing is r / 2N."""
    return diameter_mm / 2 * scale_px_per_mm / (2 * PIXELS_A_RING)


def rings_by_lamp(lamp: Lamp, most: int = MOST_RINGS) -> float:
    """Orders from contact to which a lamp's fringes keep enough contrast; infinite past `most`."""
    if all(line.fwhm_nm == 0 for line in lamp.lines) and len(lamp.lines) == 1:
        return math.inf
    import numpy as np

    orders = np.arange(1, 2 * most + 1) / 2
    faint = np.flatnonzero(lamp.contrast(orders * lamp.wavelength_nm) < LEAST_CONTRAST)
    return float(orders[faint[0]]) if faint.size else math.inf
