"""Photographs as a phone takes them in a workshop, drawn by a renderer that shares nothing with
fringe's own.

Form by plain polynomials and by laws of zones and rims that are not Gaussian; light of one lamp or
of an LED whose contrast dies with the gap; uneven light, reflections of a window and of a bulb, a
ghost of the back, dust, hairs, smudges, a chamfer, five surroundings; a camera that curves,
sharpens and smooths, and JPEG.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

Array = NDArray[np.float64]
Rng = np.random.Generator
SAMPLES = 2  # along a pixel's side
SURROUNDS = ("dark", "wood", "cloth", "paper", "plate")
# name, wavelength and width [nm], shares of red, green and blue after white balance
LAMPS = (
    ("sodium", 589.3, 0.0, (1.0, 0.55, 0.04)),
    ("mercury-green", 546.07, 0.0, (0.25, 1.0, 0.12)),
    ("hene", 632.8, 0.0, (1.0, 0.12, 0.03)),
    ("led:525:30", 525.0, 30.0, (0.10, 1.0, 0.25)),
    ("led:590:15", 590.0, 15.0, (1.0, 0.5, 0.03)),
)
FEATURES = ("none", "none", "none", "zone", "rim", "bump", "hole")


@dataclass(frozen=True)
class Phone:
    """A work and how it is photographed; gap in fringes, lengths in pixels or shares of R."""

    power: float
    tilt: float
    turned_to: float  # direction of the tilt [rad]
    astigmatism: float
    coma: float
    spherical: float
    feature: str
    height: float
    place: float  # distance of the feature from the middle
    width: float
    radius: float
    lamp: int
    contrast: float
    uneven: float
    window: float
    bulb: float
    ghost: float
    specks: int
    smudge: float
    chamfer_px: float
    chamfer_level: float
    surround: str
    exposure: float
    blur_px: float
    noise: float
    sharpen: float
    smooth: float
    quality: int

    def gap(self, x: Array, y: Array) -> Array:
        """The gap [fringe] at places in shares of the radius, piston left out."""
        r2 = x * x + y * y
        turned = x * math.cos(self.turned_to) + y * math.sin(self.turned_to)
        across = y * math.cos(self.turned_to) - x * math.sin(self.turned_to)
        gap = self.power * r2 + self.tilt * turned
        gap += self.astigmatism * (across**2 - turned**2) + self.coma * across * r2
        return np.asarray(gap + self.spherical * r2 * r2 + self.local(x, y))

    def local(self, x: Array, y: Array) -> Array:
        """A zone (Lorentz), a rim (a cube), a bump (a cosine) or a hole (a parabola's pit)."""
        r = np.hypot(x, y)
        if self.feature == "zone":
            return np.asarray(self.height / (1 + ((r - self.place) / self.width) ** 2))
        if self.feature == "rim":
            part = np.clip(1 - (1 - r) / (1.6 * self.width), 0, None)
            return np.asarray(self.height * part**3)
        if self.feature == "bump":
            away = np.hypot(x - self.place * math.cos(2.0), y - self.place * math.sin(2.0))
            part = np.clip(away / (2 * self.width), 0, 1)
            return np.asarray(self.height * (1 + np.cos(np.pi * part)) / 2)
        if self.feature == "hole":
            return np.asarray(-self.height * np.clip(1 - (r / (2 * self.width)) ** 2, 0, None) ** 2)
        return np.zeros_like(r)

    def truth(self) -> tuple[float, float]:
        """Power as a best-fit sphere has it, and peak to valley of what is left."""
        axis = np.linspace(-1, 1, 801)
        x, y = np.meshgrid(axis, axis)
        inside = x * x + y * y <= 1
        x, y = x[inside], y[inside]
        gap = self.gap(x, y)
        basis = np.stack([np.ones_like(x), x, y, x * x + y * y], axis=1)
        values = np.linalg.lstsq(basis, gap, rcond=None)[0]
        return float(values[3]), float(np.ptp(gap - basis @ values))


def random_phone(rng: Rng) -> Phone:
    """A random work of 0.7 to 20 fringes; the fringes stay over some six pixels wide."""
    lamp = int(rng.integers(len(LAMPS)))
    coherent = LAMPS[lamp][2] == 0
    radius = rng.uniform(220, 380)
    most = 20.0 if coherent else 0.35 * LAMPS[lamp][1] / LAMPS[lamp][2]
    return Phone(
        power=math.exp(rng.uniform(math.log(0.7), math.log(most))) * float(rng.choice([-1, 1])),
        tilt=rng.uniform(0.2, min(5.0, 0.5 * most)),
        turned_to=rng.uniform(0, 2 * math.pi),
        astigmatism=rng.normal(0, 0.12),
        coma=rng.normal(0, 0.1),
        spherical=rng.normal(0, 0.12),
        feature=str(rng.choice(FEATURES)),
        height=rng.uniform(0.2, 0.9) * float(rng.choice([-1, 1])),
        place=rng.uniform(0.3, 0.75),
        width=rng.uniform(0.06, 0.14),
        radius=radius,
        lamp=lamp,
        contrast=math.exp(rng.uniform(math.log(0.15), math.log(0.9))),
        uneven=rng.uniform(0, 0.5),
        window=rng.uniform(0, 0.35) if rng.random() < 0.4 else 0.0,
        bulb=rng.uniform(0.2, 1.2) if rng.random() < 0.4 else 0.0,
        ghost=rng.uniform(0, 0.05),
        specks=int(rng.integers(0, 60)),
        smudge=rng.uniform(0.2, 0.7) if rng.random() < 0.3 else 0.0,
        chamfer_px=rng.uniform(0.003, 0.02) * radius if rng.random() < 0.6 else 0.0,
        chamfer_level=float(rng.choice([0.1, 0.4, 1.3])),
        surround=str(rng.choice(SURROUNDS)),
        exposure=rng.uniform(0.25, 0.6),
        blur_px=rng.uniform(0.5, 1.4),
        noise=math.exp(rng.uniform(math.log(0.003), math.log(0.02))),
        sharpen=rng.uniform(0, 0.8),
        smooth=rng.uniform(0, 0.7),
        quality=int(rng.integers(45, 94)),
    )


def drawn(phone: Phone, rng: Rng) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The photograph, three channels of 8 bits, and the middle of the work in it [px]."""
    high, wide = int(2.5 * phone.radius), int(3.0 * phone.radius)
    cx, cy = wide / 2 + rng.uniform(-30, 30), high / 2 + rng.uniform(-20, 20)
    x, y = np.meshgrid(
        (np.arange(wide * SAMPLES) + 0.5) / SAMPLES - 0.5 - cx,
        (np.arange(high * SAMPLES) + 0.5) / SAMPLES - 0.5 - cy,
    )
    x, y = x / phone.radius, y / phone.radius
    far = np.hypot(x, y)
    light = 1 + phone.uneven * (0.7 * x - 0.5 * y) / 1.5
    light *= np.cos(np.arctan(0.25 * far)) ** 4
    picture = _face(phone, x, y, rng) * light
    rim = 1 + phone.chamfer_px / phone.radius
    glint = 1 + 0.6 * np.cos(np.arctan2(y, x) + 0.7)
    outside = np.where(
        far < rim,
        phone.chamfer_level * phone.exposure * light * glint,
        _surroundings(phone, x, y, far, rng),
    )
    picture = np.where(far < 1, picture, outside)
    picture = picture.reshape(high, SAMPLES, wide, SAMPLES).mean(axis=(1, 3))
    picture = ndimage.gaussian_filter(picture, phone.blur_px)
    return _camera(phone, picture, rng), (cx, cy)


def _face(phone: Phone, x: Array, y: Array, rng: Rng) -> Array:
    """Light of the contact: fringes, what is reflected besides, and dirt."""
    gap = phone.gap(x, y)
    inside = np.hypot(x, y) <= 1
    gap = gap - gap[inside].min() + rng.uniform(0.0, 0.6)
    _, wavelength_nm, width_nm, _ = LAMPS[phone.lamp]
    # contrast of a Gaussian line by the path, twice the gap (Born and Wolf, 7.5.8; from memory)
    seen = np.exp(-((np.pi * width_nm * gap / wavelength_nm) ** 2) / (4 * math.log(2)))
    if phone.smudge:
        sx, sy = rng.uniform(-0.7, 0.7, 2)
        seen = seen * (1 - phone.smudge * np.exp(-((x - sx) ** 2 + (2 * (y - sy)) ** 2) / 0.05))
    face = 1 - phone.contrast * seen * np.cos(2 * np.pi * gap)
    face += phone.ghost * np.cos(2 * np.pi * (3.3 * x - 2.1 * y + 0.4 * x * y))
    face += phone.window / (1 + np.exp(-(x - 0.25 + 0.3 * y) / 0.12))
    bx, by = rng.uniform(-0.5, 0.5, 2)
    face += phone.bulb * np.exp(-((x - bx) ** 2 + (y - by) ** 2) / (2 * 0.03**2))
    for _ in range(phone.specks):
        sx, sy = rng.uniform(-1, 1, 2)
        size = rng.uniform(0.003, 0.014)
        face *= 1 - rng.uniform(0.3, 0.9) * (np.hypot(x - sx, y - sy) < size)
    if rng.random() < 0.3:  # a hair
        bend = rng.uniform(-0.6, 0.6)
        hair = abs(y - rng.uniform(-0.6, 0.6) - bend * x * x) < 0.004
        face *= 1 - 0.6 * (hair & (abs(x - rng.uniform(-0.5, 0.5)) < 0.3))
    return np.asarray(phone.exposure * face)


def _surroundings(phone: Phone, x: Array, y: Array, far: Array, rng: Rng) -> Array:
    """What lies about the work."""
    if phone.surround == "plate":
        inside = np.hypot(x - 0.02, y + 0.03) < 1.18
        return np.where(inside, 0.8 * phone.exposure, 0.04)
    if phone.surround == "paper":
        return np.full_like(x, 1.2 * phone.exposure)
    if phone.surround == "dark":
        return np.full_like(x, 0.03)
    grain = rng.normal(0, 1, (x.shape[0] // 6 + 1, x.shape[1] // 6 + 1))
    spread = (0.7, 12.0) if phone.surround == "wood" else (1.2, 1.2)
    grain = ndimage.zoom(ndimage.gaussian_filter(grain, spread), 6, order=1)
    grain = grain[: x.shape[0], : x.shape[1]] / grain.std()
    return np.asarray(phone.exposure * (0.5 + 0.1 * grain))


def _camera(phone: Phone, picture: Array, rng: Rng) -> NDArray[np.uint8]:
    """Colour, noise, the camera's own mending, its curve, and JPEG in half colour."""
    shares = np.array(LAMPS[phone.lamp][3])
    colour = picture[..., None] * shares + 0.004
    colour = colour + rng.normal(0, 1, colour.shape) * phone.noise * np.sqrt(colour.clip(0.02))
    if phone.smooth:
        colour = ndimage.gaussian_filter(colour, (phone.smooth, phone.smooth, 0))
    colour = colour + phone.sharpen * (colour - ndimage.gaussian_filter(colour, (1.2, 1.2, 0)))
    level = np.clip(colour, 0, None)
    # sRGB's curve (IEC 61966-2-1), which bends over softly towards white as phones make it
    level = np.where(level > 0.7, 0.7 + 0.3 * np.tanh((level - 0.7) / 0.3), level)
    code = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    file = io.BytesIO()
    image = Image.fromarray(np.rint(255 * code.clip(0, 1)).astype(np.uint8))
    image.save(file, "JPEG", quality=phone.quality, subsampling=2)
    return np.asarray(Image.open(io.BytesIO(file.getvalue())).convert("RGB"))
