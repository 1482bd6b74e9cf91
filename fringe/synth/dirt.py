"""Objects over the fringes: dust, hairs, scratches, glare, fingers, clips and eyepiece lines.

Each mark is drawn at its place by a distance function, so its border is smooth at any size,
and only inside its box, so that a large photograph costs no more than it must.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.synth.scene import Scene

Floats = NDArray[np.float64]
Light = NDArray[np.float32]
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Mark:
    """One mark.

    Attributes
    ----------
    box : (x0, x1, y0, y1)
        Where it can be seen [px].
    cover : callable
        Share covered, from x of shape (1, N) and y of shape (M, 1); shape (M, N).
    level : float
        Its brightness, in units of the brightest fringe.
    adds : bool
        Light is added (glare) instead of covered.
    shine : callable or None
        Factor on `level` over the mark, as `cover`.
    """

    box: Box
    cover: Callable[[Floats, Floats], Floats]
    level: float
    adds: bool = False
    shine: Callable[[Floats, Floats], Floats] | None = None

    def draw(self, planes: list[Light], first: int) -> None:
        """Draw it over rows of light, each (B, N), of which row `first` is the first."""
        rows, columns = planes[0].shape
        x0, x1 = max(math.floor(self.box[0]), 0), min(math.ceil(self.box[1]) + 1, columns)
        y0 = max(math.floor(self.box[2]), first)
        y1 = min(math.ceil(self.box[3]) + 1, first + rows)
        if x0 >= x1 or y0 >= y1:
            return
        x = np.arange(x0, x1, dtype=float)[None, :]
        y = np.arange(y0, y1, dtype=float)[:, None]
        share = self.cover(x, y)
        light = share * self.level if self.shine is None else share * self.level * self.shine(x, y)
        for plane in planes:
            view = plane[y0 - first : y1 - first, x0:x1]
            if not self.adds:
                view *= (1 - share).astype(np.float32)
            view += light.astype(np.float32)


def marks(scene: Scene) -> list[Mark]:
    """Lay out a scene's marks, in the order in which they are drawn."""
    dirt, drawn = scene.dirt, []
    kinds: tuple[tuple[int, Callable[[Scene, np.random.Generator], Iterator[Mark]]], ...] = (
        (dirt.scratches, _scratch),
        (dirt.dust, _dust),
        (dirt.hairs, _hair),
        (dirt.glare, _glare),
        (dirt.clips, _clip),
        (dirt.fingers, _finger),
        (int(dirt.graticule), _graticule),
        (int(dirt.crosshair), _crosshair),
    )
    for kind, (count, make) in enumerate(kinds):
        rng = np.random.default_rng([scene.seed, 10 + kind])
        for _ in range(count):
            drawn += list(make(scene, rng))
    return drawn


def _soft(scene: Scene, distance: Floats, extra: float = 0.0) -> Floats:
    """Share covered from the signed distance inside [px], with the camera's blur."""
    width = 0.9 + 1.6 * math.hypot(scene.camera.blur_px, extra)
    t = np.clip(0.5 + distance / (2 * width), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))


def _scale(scene: Scene) -> float:
    """Size of things on the glass in pixels, relative to a work of 400 px semi-diameter."""
    return max(scene.edge.a / 400, 0.4)


def _place(scene: Scene, rng: np.random.Generator) -> tuple[float, float]:
    """A point on the work, in the frame when it can be had."""
    x, y = 0.0, 0.0
    for _ in range(50):
        radius, turn = math.sqrt(rng.uniform(0, 1)), rng.uniform(0, 2 * math.pi)
        px, py = scene.edge.pixels(radius * math.cos(turn), radius * math.sin(turn))
        x, y = float(px), float(py)
        if 0 <= x < scene.width and 0 <= y < scene.height:
            break
    return x, y


def _dust(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    x0, y0 = _place(scene, rng)
    radius = _scale(scene) * float(np.clip(rng.lognormal(0.6, 0.6), 0.6, 14))
    kind = rng.choice(3, p=(0.5, 0.25, 0.25))
    squeeze, turn = rng.uniform(0.6, 1.0), rng.uniform(0, math.pi)
    strength = rng.uniform(0.5, 1.0)

    def distance(x: Floats, y: Floats) -> Floats:
        dx, dy = x - x0, y - y0
        along = dx * math.cos(turn) + dy * math.sin(turn)
        across = (dy * math.cos(turn) - dx * math.sin(turn)) / squeeze
        return np.hypot(along, across)

    if kind == 2:
        yield _defocused(scene, distance, (x0, y0), 2.5 * radius, strength)
        return
    reach = radius + 6 + 3 * scene.camera.blur_px

    def cover(x: Floats, y: Floats) -> Floats:
        return strength * _soft(scene, radius - distance(x, y))

    level = 0.03 if kind == 0 else rng.uniform(0.6, 1.1)
    yield Mark((x0 - reach, x0 + reach, y0 - reach, y0 + reach), cover, level)


def _defocused(
    scene: Scene,
    distance: Callable[[Floats, Floats], Floats],
    middle: tuple[float, float],
    radius: float,
    strength: float,
) -> Mark:
    """A speck out of focus: a disc with the bright and dark borders of diffraction."""
    reach = 2.2 * radius + 4
    x0, y0 = middle

    def cover(x: Floats, y: Floats) -> Floats:
        s = distance(x, y) / radius
        return 0.35 * strength * np.exp(-(s**4) / 2) * np.cos(3.6 * s**2)

    return Mark((x0 - reach, x0 + reach, y0 - reach, y0 + reach), cover, 0.0)


def _segment(x: Floats, y: Floats, p: Floats, q: Floats) -> Floats:
    """Distance of pixels from the line between points p and q [px]."""
    step = q - p
    length2 = float(step @ step) or 1e-12
    t = np.clip(((x - p[0]) * step[0] + (y - p[1]) * step[1]) / length2, 0.0, 1.0)
    return np.asarray(np.hypot(x - p[0] - t * step[0], y - p[1] - t * step[1]))


def _line(
    scene: Scene, p: Floats, q: Floats, width: float, level: float, strength: float = 1.0
) -> Mark:
    """A straight line of a width [px]."""
    reach = width / 2 + 4 + 3 * scene.camera.blur_px
    low, high = np.minimum(p, q) - reach, np.maximum(p, q) + reach

    def cover(x: Floats, y: Floats) -> Floats:
        # a line thinner than its blur covers no more than its own width
        spread = max(0.9 + 1.6 * scene.camera.blur_px, width)
        thin = min(width / spread, 1.0)
        return strength * thin * _soft(scene, max(width, spread) / 2 - _segment(x, y, p, q))

    return Mark((low[0], high[0], low[1], high[1]), cover, level)


def _scratch(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    middle = np.array(_place(scene, rng))
    turn = rng.uniform(0, math.pi)
    half = 0.5 * scene.edge.a * rng.uniform(0.1, 0.7) * np.array([math.cos(turn), math.sin(turn)])
    level = float(rng.choice([0.05, 1.0]))
    width = rng.uniform(0.5, 1.3) * _scale(scene)
    yield _line(scene, middle - half, middle + half, width, level, rng.uniform(0.3, 0.8))


def _hair(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    start = np.array(_place(scene, rng))
    turn = rng.uniform(0, 2 * math.pi)
    step = scene.edge.a * rng.uniform(0.1, 0.25)
    corners = [start]
    for _ in range(3):
        turn += rng.normal(0, 0.8)
        corners.append(corners[-1] + step * np.array([math.cos(turn), math.sin(turn)]))
    t = np.linspace(0, 1, 33)[:, None]
    c0, c1, c2, c3 = corners
    points = (1 - t) ** 3 * c0 + 3 * t * (1 - t) ** 2 * c1 + 3 * t**2 * (1 - t) * c2 + t**3 * c3
    width = rng.uniform(1.2, 2.6) * _scale(scene)
    reach = width + 5 + 3 * scene.camera.blur_px
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach

    def cover(x: Floats, y: Floats) -> Floats:
        best = np.full((y.shape[0], x.shape[1]), np.inf)
        for p, q in itertools.pairwise(points):
            near_x = slice(*np.searchsorted(x[0], _span(p[0], q[0], reach)))
            near_y = slice(*np.searchsorted(y[:, 0], _span(p[1], q[1], reach)))
            part = best[near_y, near_x]
            if part.size:
                np.minimum(part, _segment(x[:, near_x], y[near_y], p, q), out=part)
        return 0.95 * _soft(scene, width / 2 - best)

    yield Mark((low[0], high[0], low[1], high[1]), cover, float(rng.choice([0.03, 0.03, 0.8])))


def _span(a: float, b: float, reach: float) -> tuple[float, float]:
    return min(a, b) - reach, max(a, b) + reach


def _glare(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    x0, y0 = _place(scene, rng)
    size = scene.edge.a * rng.uniform(0.02, 0.07)
    squeeze, turn = rng.uniform(0.3, 1.0), rng.uniform(0, math.pi)
    reach = 5 * size

    def cover(x: Floats, y: Floats) -> Floats:
        dx, dy = x - x0, y - y0
        along = dx * math.cos(turn) + dy * math.sin(turn)
        across = (dy * math.cos(turn) - dx * math.sin(turn)) / squeeze
        s2 = (along**2 + across**2) / size**2
        fade = np.clip(1 - np.hypot(dx, dy) / reach, 0, 1)
        return np.asarray((2.5 * np.exp(-(s2**2)) + 0.35 * np.exp(-s2 / 6)) * fade)

    yield Mark((x0 - reach, x0 + reach, y0 - reach, y0 + reach), cover, 1.0, adds=True)


def _radial(scene: Scene, rng: np.random.Generator) -> tuple[Floats, Floats, float]:
    """A place on the rim: the point inside that is reached, the direction outward, and a."""
    turn = rng.uniform(0, 2 * math.pi)
    edge = scene.edge
    reach = scene.dirt.finger_reach * rng.uniform(0.7, 1.2)
    tip = np.array(edge.pixels((1 - reach) * math.cos(turn), (1 - reach) * math.sin(turn)))
    rim = np.array(edge.pixels(math.cos(turn), math.sin(turn)))
    outward = rim - tip if reach > 0 else rim - np.array([edge.cx, edge.cy])
    return tip, outward / np.hypot(*outward), edge.a


def _finger(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    """A finger over the edge: rounded, creased at its joints, out of focus, with its shadow."""
    tip, outward, a = _radial(scene, rng)
    radius = a * rng.uniform(0.1, 0.17)
    lean = rng.normal(0, 0.35)
    cos, sin = math.cos(lean), math.sin(lean)
    turned = np.array([outward[0] * cos - outward[1] * sin, outward[0] * sin + outward[1] * cos])
    p, q = tip + outward * radius, tip + outward * radius + turned * 3 * a
    reach = 1.6 * radius + 6
    low, high = np.minimum(p, q) - reach, np.maximum(p, q) + reach
    box = (low[0], high[0], low[1], high[1])
    softness = 0.012 * a
    shift = 0.22 * radius * np.array([math.cos(9 * lean), math.sin(9 * lean)])
    waves = rng.uniform(0, 2 * math.pi, 4)

    def girth(x: Floats, y: Floats, offset: Floats) -> Floats:
        """Distance inside the finger [px]; it is thicker at the joints and at the root."""
        along = ((x - p[0]) * turned[0] + (y - p[1]) * turned[1]) / radius
        grown = 0.9 + 0.05 * np.clip(along, -1, 8) + 0.05 * np.cos(1.6 * along + waves[0])
        return np.asarray(radius * grown - _segment(x, y, p + offset, q + offset))

    def shadow(x: Floats, y: Floats) -> Floats:
        return 0.5 * _soft(scene, girth(x, y, shift), 4 * softness)

    def cover(x: Floats, y: Floats) -> Floats:
        return _soft(scene, girth(x, y, 0 * shift), softness)

    def shine(x: Floats, y: Floats) -> Floats:
        along = ((x - p[0]) * turned[0] + (y - p[1]) * turned[1]) / radius
        across = ((y - p[1]) * turned[0] - (x - p[0]) * turned[1]) / radius
        round_ = np.clip(1.05 - 0.6 * (girth(x, y, -shift) / radius - 0.95) ** 2, 0.15, 1.1)
        creases = sum(
            np.exp(-(((along - at + 0.15 * across**2) / 0.07) ** 2)) for at in (2.3, 2.55, 5.6, 5.9)
        )
        mottle = np.cos(7 * along + 3 * across + waves[1]) * np.cos(5 * across - 2 * along)
        nail = np.hypot((along - 0.1) / 0.75, across / 0.62)
        border = np.exp(-(((nail - 1) / 0.08) ** 2))
        gloss = 0.15 * (nail < 1) - 0.22 * border
        return np.asarray(round_ * (1 - 0.16 * creases + 0.03 * mottle + gloss))

    yield Mark(box, shadow, 0.0)
    yield Mark(box, cover, rng.uniform(0.25, 0.5), shine=shine)


def _clip(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    tip, outward, a = _radial(scene, rng)
    half_width, length = a * rng.uniform(0.04, 0.09), a * rng.uniform(0.4, 0.9)
    corner = 0.3 * half_width
    middle = tip + outward * length / 2
    reach = math.hypot(half_width, length / 2) + 8
    box = (middle[0] - reach, middle[0] + reach, middle[1] - reach, middle[1] + reach)

    def across(x: Floats, y: Floats) -> Floats:
        return np.asarray((y - middle[1]) * outward[0] - (x - middle[0]) * outward[1])

    def cover(x: Floats, y: Floats) -> Floats:
        along = (x - middle[0]) * outward[0] + (y - middle[1]) * outward[1]
        dx = np.abs(along) - length / 2 + corner
        dy = np.abs(across(x, y)) - half_width + corner
        outside = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0))
        return _soft(scene, corner - outside - np.minimum(np.maximum(dx, dy), 0))

    def shine(x: Floats, y: Floats) -> Floats:
        s = across(x, y) / half_width
        return np.asarray(0.25 + 1.2 * np.exp(-(((s - 0.3) / 0.12) ** 2)))

    yield Mark(box, cover, rng.uniform(0.1, 0.35), shine=shine)


def _graticule(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    """A vertical scale with longer strokes every fifth, and one long line across."""
    pitch = 0.033 * scene.height * rng.uniform(0.8, 1.2)
    x0 = scene.width / 2 + rng.normal(0, 0.03) * scene.width
    y0 = scene.height / 2 + rng.normal(0, 0.03) * scene.height
    width = max(0.0045 * min(scene.width, scene.height), 1.0)
    level = float(rng.choice([0.02, 1.0]))
    count = int(scene.height / 2 / pitch)
    for k in range(-count, count + 1):
        if k == 0:
            continue
        half = pitch * (2.4 if k % 5 == 0 else 1.4)
        p = np.array([x0 - half, y0 + k * pitch])
        yield _line(scene, p, p + np.array([2 * half, 0.0]), width, level, 0.85)
    reach = 4.8 * pitch
    p = np.array([x0 - reach, y0])
    yield _line(scene, p, p + np.array([2 * reach, 0.0]), width, level, 0.9)


def _crosshair(scene: Scene, rng: np.random.Generator) -> Iterator[Mark]:
    turn = rng.normal(0, 0.03)
    centre = np.array([(scene.width - 1) / 2, (scene.height - 1) / 2])
    reach = float(max(scene.width, scene.height))
    for angle in (turn, turn + math.pi / 2):
        arm = reach * np.array([math.cos(angle), math.sin(angle)])
        width = max(0.002 * min(scene.width, scene.height), 0.8)
        yield _line(scene, centre - arm, centre + arm, width, 0.02, 0.9)
