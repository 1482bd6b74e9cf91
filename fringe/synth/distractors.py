"""Pictures that hold no contact fringes, to be refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from fringe.errors import BadInput
from fringe.synth.camera import Sensor
from fringe.synth.lookalikes import LOOKALIKES
from fringe.synth.scene import Camera

Floats = NDArray[np.float64]
Rng = np.random.Generator
_SODIUM = (1.0, 0.42, 0.03)


def distractor(kind: str, rng: Rng, size: tuple[int, int] = (720, 640)) -> NDArray[np.uint8]:
    """Draw a picture without contact fringes, through a plausible camera.

    Parameters
    ----------
    kind : str
        A name of `DISTRACTORS`.
    rng : numpy Generator
    size : (int, int)
        Width and height [px].

    Returns
    -------
    ndarray of uint8, shape (M, N, 3)

    Raises
    ------
    BadInput
        For an unknown kind.
    """
    if kind not in DISTRACTORS:
        raise BadInput(f"kind: {kind!r} is not one of {', '.join(DISTRACTORS)}")
    width, height = size
    span = min(size) / 2
    x, y = np.meshgrid(
        (np.arange(width) - width / 2) / span, (np.arange(height) - height / 2) / span
    )
    light = DISTRACTORS[kind](x, y, rng)
    light = gaussian_filter(light, rng.uniform(0.5, 1.2))
    light *= 1 - rng.uniform(0, 0.15) * (x**2 + y**2)
    tint = np.array(_SODIUM) if rng.random() < 0.5 else rng.uniform(0.7, 1.0, 3)
    camera = Camera(full_well=6000.0)
    sensor = Sensor(camera, int(rng.integers(2**31)))
    coloured = (np.clip(light, 0, 1.3)[..., None] * tint).astype(np.float32)
    picture = sensor.develop(sensor.raw_rows(coloured, 0), 0, height)
    return np.asarray(picture, np.uint8)


def _noise(x: Floats, y: Floats, rng: Rng) -> Floats:
    return np.asarray(0.5 + 0.2 * rng.standard_normal(x.shape))


def _wall(x: Floats, y: Floats, rng: Rng) -> Floats:
    rough = gaussian_filter(rng.standard_normal(x.shape), 2.0)
    return np.asarray(0.55 + 0.1 * x - 0.06 * y + 0.08 * rough)


def _face(x: Floats, y: Floats, rng: Rng) -> Floats:
    """An oval with two dark spots and a dark bar, smooth all over."""
    dx, dy = rng.normal(0, 0.1, 2)
    px, py = x - dx, y - dy
    head = 0.6 / (1 + np.exp((np.hypot(px / 0.55, py / 0.75) - 1) * 18))
    eyes = sum(np.exp(-(((px - s) / 0.1) ** 2) - ((py + 0.2) / 0.06) ** 2) for s in (-0.2, 0.2))
    mouth = np.exp(-((px / 0.2) ** 2) - ((py - 0.35) / 0.05) ** 2)
    nose = np.exp(-((px / 0.05) ** 2) - ((py - 0.05) / 0.16) ** 2)
    return np.asarray(0.15 + head * (1 + 0.3 * px) - 0.35 * eyes - 0.25 * mouth + 0.08 * nose)


def _text(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Lines of writing."""
    from PIL import Image, ImageDraw, ImageFont

    height, width = x.shape
    page = Image.new("L", (width, height), 225)
    draw = ImageDraw.Draw(page)
    letters = list("abcdefghijklmnoprstuvwz0123456789")
    step = max(height // 26, 14)
    font = ImageFont.load_default(size=step * 0.7)
    for top in range(step, height - step, step):
        words = ("".join(rng.choice(letters, rng.integers(2, 9))) for _ in range(20))
        draw.text((width * 0.06, top), " ".join(words), fill=30, font=font)
    return np.asarray(page, float) / 255


def _grooves(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Fine grooves of one spacing round a label, lit from two sides."""
    r = np.hypot(x, y)
    turn = np.arctan2(y, x) + rng.uniform(0, math.pi)
    groove = np.cos(2 * math.pi * r * rng.uniform(45, 70))
    sheen = 0.15 + 0.6 * np.abs(np.cos(turn)) ** 6
    disc = (r < 0.92) & (r > 0.32)
    label = (r <= 0.32) & (r > 0.03)
    return np.asarray(np.where(disc, sheen * (1 + 0.4 * groove), np.where(label, 0.55, 0.35)))


def _bullseye(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Painted rings of one width."""
    r = np.hypot(x, y)
    bands = np.floor(r * rng.integers(6, 14)) % 2
    return np.asarray(np.where(r < 0.9, 0.15 + 0.65 * bands, 0.5))


def _sine_bullseye(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Smooth rings of one spacing."""
    r = np.hypot(x - rng.normal(0, 0.1), y - rng.normal(0, 0.1))
    return np.asarray(0.5 + 0.35 * np.cos(2 * math.pi * r * rng.uniform(8, 16)))


def _ripples(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Rings on water from a few drops, damped, crossing each other."""
    total = np.zeros_like(x)
    for _ in range(rng.integers(2, 5)):
        x0, y0 = rng.uniform(-0.8, 0.8, 2)
        r = np.hypot(x - x0, y - y0)
        front = rng.uniform(0.5, 1.2)
        packet = np.exp(-(((r - front) / 0.35) ** 2))
        total += packet * np.cos(2 * math.pi * rng.uniform(9, 16) * r)
    return np.asarray(0.45 + 0.2 * total + 0.1 * y)


def _moire(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Two gratings over each other at a small angle."""
    turn = rng.uniform(0, math.pi)
    pitch, lean = rng.uniform(28, 45), rng.uniform(0.03, 0.12)
    total = np.ones_like(x)
    for angle, scale in ((turn, 1.0), (turn + lean, rng.uniform(0.95, 1.05))):
        s = x * math.cos(angle) + y * math.sin(angle)
        total *= 0.5 + 0.5 * np.sign(np.cos(2 * math.pi * pitch * scale * s))
    return 0.15 + 0.7 * total


def _inclination_rings(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Thin bright rings of equal inclination on a dark field, as between two silvered plates."""
    r2 = x**2 + y**2
    order = rng.uniform(0, 1) - r2 * rng.uniform(6, 14)
    finesse = rng.uniform(12, 30)
    factor = (2 * finesse / math.pi) ** 2
    return np.asarray(0.03 + 0.9 / (1 + factor * np.sin(math.pi * order) ** 2))


def _stripes(x: Floats, y: Floats, rng: Rng) -> Floats:
    """A striped cloth: hard edges, one spacing."""
    turn = rng.uniform(0, math.pi)
    s = x * math.cos(turn) + y * math.sin(turn) + 0.02 * np.sin(3 * x + 2 * y)
    weave = 0.05 * np.cos(2 * math.pi * 80 * x) * np.cos(2 * math.pi * 80 * y)
    return np.asarray(0.45 + 0.3 * np.sign(np.cos(2 * math.pi * rng.uniform(4, 9) * s)) + weave)


def _wood(x: Floats, y: Floats, rng: Rng) -> Floats:
    """Rings of a tree, of uneven spacing."""
    warp = gaussian_filter(rng.standard_normal(x.shape), 40) * 40
    r = np.hypot(x + 0.3, y * 1.1) + 0.02 * warp
    steps = np.cumsum(rng.uniform(0.02, 0.09, 80))
    phase = np.interp(r, np.concatenate([[0.0], steps]), np.arange(81))
    return np.asarray(0.4 + 0.18 * (phase % 1.0) + 0.03 * rng.standard_normal(x.shape))


def _gradient(x: Floats, y: Floats, rng: Rng) -> Floats:
    """A disc of plain glass under the lamp, without any fringe."""
    r = np.hypot(x, y)
    disc = 1 / (1 + np.exp((r - 0.8) * 150))
    return np.asarray(0.08 + disc * (0.5 + 0.15 * x))


DISTRACTORS: dict[str, Callable[[Floats, Floats, Rng], Floats]] = {
    "noise": _noise,
    "wall": _wall,
    "plain_disc": _gradient,
    "face": _face,
    "text": _text,
    "grooves": _grooves,
    "bullseye": _bullseye,
    "sine_bullseye": _sine_bullseye,
    "ripples": _ripples,
    "moire": _moire,
    "inclination_rings": _inclination_rings,
    "stripes": _stripes,
    "wood": _wood,
    **LOOKALIKES,
}
