"""Works with a turned rim, drawn by a renderer that shares nothing with fringe's own.

Three laws of the rim (a power, a half cosine, an exponential), with and without a chamfer, on dark
ground, under a larger plate, in a cell or on cloth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]
Rng = np.random.Generator
SAMPLES = 3  # along a pixel's side
SURROUNDS = ("dark", "plate", "cell", "cloth")
LAWS = ("power", "cosine", "exponential")


@dataclass(frozen=True)
class Rim:
    """A work with a turned rim; gap in fringes, lengths in pixels or shares of the radius."""

    power: float
    tilt: float
    turn: float
    width: float
    law: str
    radius: float
    turned_to: float  # direction of the tilt [rad]
    chamfer_px: float = 0.0
    chamfer_level: float = 0.2
    glint: float = 0.5  # by how much the chamfer's light varies round it
    surround: str = "dark"
    contrast: float = 0.8
    blur_px: float = 0.7
    noise: float = 0.01

    def symmetric(self, rho: Array) -> Array:
        """Gap round the centre, beside power."""
        inward = 1 - rho
        part = np.clip(1 - inward / self.width, 0.0, None)
        if self.law == "power":
            return np.asarray(self.turn * part**2)
        if self.law == "cosine":
            return np.asarray(self.turn * (1 - np.cos(np.pi * np.minimum(part, 1))) / 2)
        # falls to a twentieth over the width
        return np.asarray(self.turn * np.exp(-3 * inward / self.width))

    def truth(self) -> tuple[float, float]:
        """Power as a best-fit sphere has it, and peak to valley of what is left."""
        rho = np.linspace(0, 1, 4001)
        gap = self.power * rho**2 + self.symmetric(rho)
        # of r dr, a sphere and a piston
        rows = np.stack([np.ones_like(rho), rho**2], axis=1)
        weight = rho.copy()
        weight[-1] /= 2  # the last interval ends there: a narrow rim is highest just where it does
        values = np.linalg.solve(rows.T @ (rows * weight[:, None]), rows.T @ (weight * gap))
        return float(abs(values[1])), float(np.ptp(gap - rows @ values))


def drawn(rim: Rim, rng: Rng) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The photograph, 8 bits of sRGB, and the middle of the work in it [px]."""
    side = int(2.9 * rim.radius)
    cx, cy = side / 2 + rng.uniform(-20, 20, 2)
    fine = np.arange(side * SAMPLES)
    place = (fine + 0.5) / SAMPLES - 0.5
    x, y = np.meshgrid(place - cx, place - cy)
    far = np.hypot(x, y)
    rho = far / rim.radius
    gap = rim.power * rho**2 + rim.symmetric(np.minimum(rho, 1.0))
    gap += rim.tilt * (x * math.cos(rim.turned_to) + y * math.sin(rim.turned_to)) / rim.radius
    gap += rng.uniform()
    lit = 0.45 * (1 + 0.2 * (x + 0.5 * y) / side)
    fringes = lit * (1 - rim.contrast * np.cos(2 * np.pi * gap))
    around = surroundings(rim, x, y, far, rng)
    chamfer = far < rim.radius + rim.chamfer_px
    glint = 1 + rim.glint * np.cos(np.arctan2(y, x) - 1.0)
    picture = np.where(chamfer, rim.chamfer_level * lit * glint, around)
    picture = np.where(far < rim.radius, fringes, picture)
    picture = picture.reshape(side, SAMPLES, side, SAMPLES).mean(axis=(1, 3))
    picture = ndimage.gaussian_filter(picture, rim.blur_px)
    picture = picture + rng.normal(0, rim.noise, picture.shape)
    return encoded(picture), (cx, cy)


def surroundings(rim: Rim, x: Array, y: Array, far: Array, rng: Rng) -> Array:
    """What lies about the work."""
    if rim.surround == "dark":
        return 0.03 + 0.02 * x / x.max()
    if rim.surround == "plate":
        inside = far < 1.25 * rim.radius
        return np.where(inside, 0.4 * (1 + 0.15 * y / y.max()), 0.05)
    if rim.surround == "cell":
        ring = 0.5 * (1 + 0.5 * np.cos(3 * np.arctan2(y, x))) + 0.03 * np.cos(0.9 * far)
        return np.where(far < 1.12 * rim.radius, ring, 0.08)
    grain = ndimage.gaussian_filter(rng.normal(0, 1, tuple(n // 4 for n in x.shape)), 1.5)
    grain = np.kron(grain / grain.std(), np.ones((4, 4)))
    cloth = np.zeros_like(x) + 0.2
    cloth[: grain.shape[0], : grain.shape[1]] += 0.05 * grain
    return cloth


def encoded(picture: Array) -> NDArray[np.uint8]:
    """Linear light as 8 bits of sRGB (IEC 61966-2-1)."""
    light = np.clip(picture, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * code), np.uint8)
