"""Patterns that resemble contact fringes: marks, grooves, printed rings, cloth, water.

Each takes coordinates, one half the shorter side of the frame, and returns light from 0 to 1.
Those that lie on a round piece show its rim; the others fill the frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Floats = NDArray[np.float64]
Rng = np.random.Generator
DISC_RADIUS = 0.84  # of the round pieces


def _disc(x: Floats, y: Floats, rng: Rng, inside: Floats) -> Floats:
    """A pattern on a round piece that lies on something dark or grey."""
    rim = 1 / (1 + np.exp((np.hypot(x, y) - DISC_RADIUS) * 250))
    return np.asarray(rng.uniform(0.04, 0.3) * (1 - rim) + rim * inside)


def _waves(rng: Rng, phase: Floats) -> Floats:
    """Cosine light of some phase [cycle]."""
    return np.asarray(0.5 + rng.uniform(0.15, 0.4) * np.cos(2 * math.pi * phase))


def _about(x: Floats, y: Floats, rng: Rng, away: float) -> tuple[Floats, Floats]:
    """Distance and angle about a centre up to `away` from the middle."""
    turn, off = rng.uniform(0, 2 * math.pi), away * math.sqrt(rng.uniform())
    dx, dy = x - off * math.cos(turn), y - off * math.sin(turn)
    return np.hypot(dx, dy), np.arctan2(dy, dx)


def _power_law(exponent: float, away: float, few: float, many: float) -> Callable[..., Floats]:
    """Rings at r^exponent on a round piece, `few` to `many` from the centre to the rim."""

    def rings(x: Floats, y: Floats, rng: Rng) -> Floats:
        r, _ = _about(x, y, rng, away)
        order = rng.uniform(few, many) * (r / DISC_RADIUS) ** exponent + rng.uniform()
        return _disc(x, y, rng, _waves(rng, order))

    return rings


def _turning_marks(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Marks of one feed about the middle, brighter where the light grazes them."""
    r, turn = _about(x, y, rng, 0.05)
    feed = r * rng.uniform(10, 25) + 0.1 * np.sin(3 * turn)
    sheen = 0.4 + 0.3 * np.cos(2 * (turn - rng.uniform(0, 3)))
    return _disc(x, y, rng, sheen * (1 + rng.uniform(0.2, 0.5) * np.cos(2 * math.pi * feed)))


def _spiral(x: Floats, y: Floats, rng: Rng) -> Floats:
    """An arm, or several, of one pitch."""
    r, turn = _about(x, y, rng, 0.1)
    arms = int(rng.choice([1, 1, 2, 3]))
    order = rng.uniform(4, 14) * r + arms * turn / (2 * math.pi)
    return _disc(x, y, rng, _waves(rng, order))


def _square_spiral(x: Floats, y: Floats, rng: Rng) -> Floats:
    """One arm at the square of the radius, as rings with a cut."""
    r, turn = _about(x, y, rng, 0.05)
    order = rng.uniform(4, 12) * r**2 + turn / (2 * math.pi)
    return _disc(x, y, rng, _waves(rng, order))


def _spot_of_a_record(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Two glints of a grooved disc, with grooves coarse enough to be seen."""
    r, turn = _about(x, y, rng, 0.03)
    sheen = 0.12 + 0.7 * np.abs(np.cos(turn - rng.uniform(0, math.pi))) ** 4
    groove = 1 + 0.4 * np.cos(2 * math.pi * r * rng.uniform(18, 40))
    return _disc(x, y, rng, np.where(r > 0.14, sheen * groove, 0.3))


def _blurred_target(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Printed rings of one width, out of focus."""
    r, _ = _about(x, y, rng, 0.15)
    bands = np.floor(r * rng.uniform(8, 18)) % 2
    return np.asarray(gaussian_filter(0.2 + 0.6 * bands, rng.uniform(3, 8)))


def _wide_rings(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Rings of one spacing about a place beside the middle, all over the frame."""
    r, _ = _about(x, y, rng, 0.8)
    return _waves(rng, r * rng.uniform(5, 14))


def _curtain(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Folds that widen, narrow and lean."""
    sway = gaussian_filter(rng.standard_normal(x.shape), (90, 25)) * 100
    s = x * (1 + 0.2 * y) + rng.uniform(-0.3, 0.3) * y + 0.02 * sway
    return _waves(rng, rng.uniform(4, 9) * s)


def _corduroy(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Ribs of one spacing, bent a little where the cloth is."""
    turn = rng.uniform(0, math.pi)
    s = x * math.cos(turn) + y * math.sin(turn)
    t = y * math.cos(turn) - x * math.sin(turn)
    bend = rng.uniform(0.02, 0.1) * np.sin(2 * t + rng.uniform(0, 6))
    fuzz = gaussian_filter(rng.standard_normal(x.shape), 1.5) * 0.2
    return np.asarray(_waves(rng, rng.uniform(6, 16) * (s + bend)) + fuzz)


def _sand(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Ripples of sand or water that run together and part."""
    warp = gaussian_filter(rng.standard_normal(x.shape), 45) * 60
    return _waves(rng, rng.uniform(5, 11) * (x + 0.08 * warp))


def _drop(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Waves about one drop on water, weaker outward."""
    r, _ = _about(x, y, rng, 0.3)
    fall = np.exp(-r / rng.uniform(0.5, 1.2))
    return np.asarray(0.5 + 0.4 * fall * np.cos(2 * math.pi * r * rng.uniform(6, 14)))


def _fan(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Spokes that spread from a place beside the frame."""
    turn = np.arctan2(y - rng.uniform(-0.5, 0.5), x + rng.uniform(1.3, 2.0))
    return _waves(rng, turn * rng.uniform(6, 14))


LOOKALIKES: dict[str, Callable[[Floats, Floats, Rng], Floats]] = {
    "turning_marks": _turning_marks,
    "equal_rings": _power_law(1.0, 0.1, 5, 16),
    "decentred_rings": _power_law(1.0, 0.5, 5, 14),
    "root_rings": _power_law(0.5, 0.1, 6, 14),
    "cubic_rings": _power_law(3.0, 0.05, 4, 12),
    "quartic_rings": _power_law(4.0, 0.05, 4, 12),
    "spiral": _spiral,
    "square_spiral": _square_spiral,
    "record": _spot_of_a_record,
    "blurred_target": _blurred_target,
    "wide_rings": _wide_rings,
    "curtain": _curtain,
    "corduroy": _corduroy,
    "sand": _sand,
    "drop": _drop,
    "fan": _fan,
}
