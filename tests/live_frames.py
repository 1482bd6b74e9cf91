"""Frames of a live view, drawn by a law of their own: many beams, room light, a table around it.

Nothing here is shared with the program's simulator: the light between two half-mirrors is
Airy's (from memory), the table is drawn, and the lens's blur and the sensor's noise are plain.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image
from scipy import ndimage

SODIUM, GREEN, BLUE = (1.0, 0.62, 0.04), (0.16, 1.0, 0.1), (0.05, 0.2, 1.0)
KINDS = ("fringes", "none", "clipped", "blurred", "fine", "edge")


@dataclass(frozen=True)
class Frame:
    """What is before the camera; lengths in pixels."""

    width: int = 1280
    height: int = 720
    cx: float = 640.0
    cy: float = 360.0
    radius: float = 270.0
    power: float = 5.0
    tilt: tuple[float, float] = (1.0, 0.5)
    phase: float = 0.3
    contrast: float = 0.7
    finesse: float = 0.6
    table: float = 0.08
    exposure: float = 0.7
    room: float = 0.05
    blur: float = 0.8
    shake: float = 0.0
    noise: float = 0.012
    colour: tuple[float, float, float] = SODIUM
    work: bool = True
    seed: int = 0


def draw(frame: Frame) -> np.ndarray:
    """Samples, uint8 sRGB, shape (height, width, 3)."""
    rng = np.random.default_rng(frame.seed)
    steepest = 2 * abs(frame.power) + float(np.hypot(*frame.tilt))
    # a sensor's pixel gathers light over its area; of broad fringes its middle tells as much
    fine = 2 if steepest * 12 > frame.radius else 1
    y, x = np.mgrid[: frame.height * fine, : frame.width * fine].astype(np.float32)
    x, y = (x + 0.5) / fine - 0.5, (y + 0.5) / fine - 0.5
    u, v = (x - frame.cx) / frame.radius, (y - frame.cy) / frame.radius
    rho2 = u * u + v * v
    order = frame.power * rho2 + frame.tilt[0] * u + frame.tilt[1] * v + frame.phase
    order += 0.15 * (u**3 - 3 * u * v * v)
    sine2 = np.sin(np.pi * order) ** 2
    airy = (1 + frame.finesse) * sine2 / (1 + frame.finesse * sine2)
    light = 1 - frame.contrast + frame.contrast * airy
    light *= np.exp(0.2 * v - 0.25 * u)
    noise = rng.standard_normal((frame.height, frame.width), np.float32)
    grain = ndimage.gaussian_filter(noise, 2.5, truncate=3)
    grain = grain.repeat(fine, 0).repeat(fine, 1)
    table = frame.table * np.exp(2.5 * grain + 0.3 * x / frame.width)
    inside = np.clip((1 - np.sqrt(rho2)) * frame.radius * 2 + 0.5, 0, 1) if frame.work else 0.0
    light = table + inside * (light - table)
    light = light.reshape(frame.height, fine, frame.width, fine).mean(axis=(1, 3))
    light = ndimage.gaussian_filter(light, frame.blur)
    if frame.shake:
        light = ndimage.uniform_filter1d(light, int(frame.shake), axis=1)
    planes = light[..., None] * np.array(frame.colour) * frame.exposure
    planes = planes + frame.room * np.maximum(light, frame.table)[..., None] * 0.3
    planes = planes.astype(np.float32)
    noise = rng.standard_normal(planes.shape, np.float32)
    planes += noise * np.float32(frame.noise) * np.sqrt(planes + np.float32(0.02))
    levels = np.linspace(0, 1, 4096)  # sRGB's curve (IEC 61966-2-1)
    coded = np.where(levels < 0.0031308, 12.92 * levels, 1.055 * levels ** (1 / 2.4) - 0.055)
    table = np.rint(255 * coded).astype(np.uint8)
    return table[np.clip(planes * 4095 + 0.5, 0, 4095).astype(np.int16)]


def jpeg(samples: np.ndarray, quality: int = 80) -> bytes:
    """A frame as a browser's canvas sends it."""
    buffer = io.BytesIO()
    Image.fromarray(samples).save(buffer, "JPEG", quality=quality)
    return buffer.getvalue()


def drawn(kind: str, rng: np.random.Generator) -> Frame:
    """A frame of which one thing is known to be the case."""
    upright = bool(rng.integers(2))
    width, height = (720, 1280) if upright else (1280, 720)
    radius = rng.uniform(190, 325)
    room = np.array([width, height]) / 2 - radius - 12
    cx, cy = np.array([width, height]) / 2 + room * rng.uniform(-1, 1, 2)
    power = rng.uniform(1.5, 12) * rng.choice([-1, 1])
    angle, size = rng.uniform(0, 2 * np.pi), rng.uniform(0, 4)
    frame = Frame(
        width,
        height,
        cx,
        cy,
        radius,
        power,
        (size * np.cos(angle), size * np.sin(angle)),
        rng.uniform(),
        rng.uniform(0.35, 0.9),
        rng.uniform(0, 3),
        rng.choice([0.02, 0.1, 0.3]),
        rng.uniform(0.3, 0.65),
        rng.uniform(0, 0.3),
        rng.uniform(0.5, 1.2),
        0.0,
        rng.uniform(0.005, 0.025),
        (SODIUM, GREEN)[int(rng.integers(2))],
        True,
        int(rng.integers(1 << 30)),
    )
    if kind == "none":
        if rng.integers(2):
            return replace(frame, work=False, table=rng.uniform(0.1, 0.7))
        return replace(frame, contrast=rng.uniform(0, 0.01))
    if kind == "clipped":
        return replace(frame, exposure=rng.uniform(1.8, 4))
    if kind == "blurred":
        if rng.integers(2):
            return replace(frame, blur=rng.uniform(5, 9))
        return replace(frame, shake=rng.uniform(18, 32))
    if kind == "fine":
        finest = rng.uniform(2.2, 3.5)  # pixels a fringe at the rim
        return replace(frame, power=radius / (2 * finest) * np.sign(power), tilt=(0.0, 0.0))
    if kind == "edge":
        out = rng.uniform(0.2, 0.8) * radius
        side = int(rng.integers(4))
        if side < 2:
            return replace(frame, cx=(radius - out if side else width - radius + out))
        return replace(frame, cy=(radius - out if side == 2 else height - radius + out))
    return frame


def told_rightly(kind: str, told: list[str]) -> bool:
    """Whether the names of hints say what is the matter, and nothing else.

    Rings as fine as the pixels may vanish; then it is told that none show, or finer ones.
    """
    meant = {
        "fringes": [["ready"]],
        "none": [["none"], ["even"]],
        "fine": [["fine"], ["even"]],
    }
    return told in meant.get(kind, [[kind]])
