"""Contacts in the light of a mercury lamp without a filter, drawn by formulas of their own.

Three lines through filters of a colour camera that overlap, white balance, sRGB and JPEG; nothing
of fringe's renderer or of what its reader takes a camera for.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

LINES_NM = np.array([435.8328, 546.0735, 578.01])


@dataclass(frozen=True)
class Bench:
    """A contact and its camera.

    Attributes
    ----------
    power, tilt : float
        Of the gap, in fringes of the green line; of positive power with contact at the centre.
    mix : ndarray, shape (3, 3)
        What red, green and blue see of the violet-blue, green and yellow line.
    gains : ndarray, shape (3,)
        White balance.
    radius_px, least_gap : float
        Of the work; least gap in fringes of the green line.
    """

    power: float
    tilt: float
    mix: NDArray[np.float64]
    gains: NDArray[np.float64]
    radius_px: float = 190.0
    least_gap: float = 0.5


def camera(rng: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Filters as rows of what each sees of the lines, and a white balance; both of a range.

    Triangles round 450, 530 and 600 nm with feet of 75 to 110 nm, and a little of everything.
    """
    centres = np.array([600.0, 530.0, 450.0]) + rng.uniform(-8, 8, 3)
    feet = rng.uniform(75, 110, 3)
    seen = np.clip(1 - np.abs(LINES_NM - centres[:, None]) / feet[:, None], 0, None)
    lamp = np.array([rng.uniform(0.5, 1.0), 1.0, rng.uniform(0.3, 0.9)])
    mix = (seen + rng.uniform(0.01, 0.05)) * lamp
    white = 1 / mix.sum(axis=1)
    return mix, white / white.max() * rng.uniform(0.8, 1.25, 3)


def drawn(bench: Bench, rng: np.random.Generator, quality: int = 92) -> bytes:
    """The photograph as a JPEG file; the work in its middle, 3 x 3 points a pixel."""
    side = int(2.5 * bench.radius_px)
    place = (np.arange(3 * side) + 0.5) / 3 - side / 2
    x, y = np.meshgrid(place, place)
    rho2 = (x**2 + y**2) / bench.radius_px**2
    turn = rng.uniform(0, 2 * math.pi)
    lean = (x * math.cos(turn) + y * math.sin(turn)) / bench.radius_px
    gap = bench.power * rho2 + bench.tilt * lean
    gap = gap - gap[rho2 < 1].min() + bench.least_gap  # fringes of the green line
    inside = rho2 < 1
    bands = []
    for nm in LINES_NM:
        light = 1 - 0.8 * np.cos(2 * math.pi * gap * LINES_NM[1] / nm)
        bands.append(np.where(inside, light, 0.15).reshape(side, 3, side, 3).mean(axis=(1, 3)))
    picture = np.einsum("cl,lyx->yxc", bench.mix, np.array(bands)) * bench.gains
    picture *= 0.42 / picture.mean(axis=(0, 1)).max()
    picture += rng.normal(0, 0.006, picture.shape)
    light = np.clip(picture, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    file = io.BytesIO()
    Image.fromarray(np.rint(255 * code).astype(np.uint8)).save(file, "JPEG", quality=quality)
    return file.getvalue()
