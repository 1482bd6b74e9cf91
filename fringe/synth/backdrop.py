"""Light on the work, its rim and its surroundings: everything but the fringes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.special import ndtr

from fringe.synth.scene import Scene

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

_COARSE = 33  # nodes a side of the illumination
TILE = 512
_LEVELS = {"dark": 0.04, "paper": 0.5, "bright": 0.8, "textured": 0.3, "plate": 0.34}


@dataclass(frozen=True)
class Illumination:
    """Smooth light over the frame, splines through coarse grids; at most 1 on the work.

    Light is the exponential of one spline times another: scaling a logarithm between the
    nodes as at them is what keeps brightest over darkest as asked for.
    """

    log_nodes: Floats
    shade_nodes: Floats
    width: int
    height: int

    def rows(self, first: int, stop: int) -> Light:
        """Light of rows `first` to `stop`, shape (stop - first, width)."""
        across = _weights(np.arange(self.width), self.width)
        down = _weights(np.arange(first, stop), self.height)
        log, shade = (down @ (nodes @ across.T) for nodes in (self.log_nodes, self.shade_nodes))
        return np.asarray(np.exp(log) * shade, np.float32)


def illumination(scene: Scene) -> Illumination:
    """Make the light on a scene: a gradient, vignetting, a hot spot and broad blotches.

    The logarithm is scaled so that brightest over darkest on the work is the unevenness.
    """
    rng = np.random.default_rng([scene.seed, 1])
    ticks = np.linspace(-0.5, 0.5, _COARSE)
    span = max(scene.width, scene.height)
    x, y = np.meshgrid(ticks * scene.width / span * 2, ticks * scene.height / span * 2)
    angle = rng.uniform(0, 2 * math.pi)
    spot_x, spot_y = rng.uniform(-0.7, 0.7, 2)
    log = rng.uniform(0.2, 1.0) * (x * math.cos(angle) + y * math.sin(angle))
    log -= rng.uniform(0.3, 1.2) * (x**2 + y**2)
    size = rng.uniform(0.25, 0.7)
    log += rng.uniform(0.2, 1.2) * np.exp(-((x - spot_x) ** 2 + (y - spot_y) ** 2) / (2 * size**2))
    log += 0.12 * _blotches(rng, x, y)
    grid_x = (ticks + 0.5) * (scene.width - 1)
    grid_y = (ticks + 0.5) * (scene.height - 1)
    u, v = scene.edge.unit(*np.meshgrid(grid_x, grid_y))
    on_work = _on_work(scene, log)
    log = (log - on_work.max()) * (math.log(scene.bench.unevenness) / float(np.ptp(on_work)))
    dip = scene.bench.camera_shadow * np.exp(-(((u**2 + v**2) / 0.16) ** 2))
    corner = np.hypot(ticks[None, :], ticks[:, None]) * math.sqrt(2)
    fade = 1 - scene.bench.vignette * corner**3
    return Illumination(log, (1 - dip) * fade, scene.width, scene.height)


def _on_work(scene: Scene, nodes: Floats) -> Floats:
    """Values of the spline through `nodes` at points of the work that lie in the frame."""
    rho, turn = np.meshgrid(np.linspace(0, 1, 41), np.linspace(0, 2 * math.pi, 181))
    x, y = scene.edge.pixels(rho * np.cos(turn), rho * np.sin(turn))
    seen = (x >= 0) & (x <= scene.width - 1) & (y >= 0) & (y <= scene.height - 1)
    if not seen.any():
        return nodes.ravel()
    across = _weights(x[seen], scene.width)
    return np.asarray(((_weights(y[seen], scene.height) @ nodes) * across).sum(axis=1))


def _blotches(rng: np.random.Generator, x: Floats, y: Floats) -> Floats:
    total = np.zeros_like(x)
    for _ in range(5):
        kx, ky = rng.normal(0, 3.0, 2)
        total += rng.normal() * np.cos(kx * x + ky * y + rng.uniform(0, 2 * math.pi))
    return total / math.sqrt(5)


def _weights(positions: NDArray[Any], count: int) -> Floats:
    """Cubic spline weights (P, nodes) of pixel positions on the coarse grid."""
    nodes = np.linspace(0, count - 1, _COARSE)
    return np.asarray(make_interp_spline(nodes, np.eye(_COARSE), k=3)(positions))


@lru_cache(maxsize=8)  # the frames of one scene share its textures
def texture(seed: tuple[int, int], slope: float, blur_px: float) -> Light:
    """Periodic texture (TILE, TILE) of unit variance: noise of spectrum f^-slope, blurred."""
    rng = np.random.default_rng(seed)
    shape = _spectrum(slope, blur_px)
    tile = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((TILE, TILE))) * shape)
    made = np.asarray(tile / tile.std(), np.float32)
    made.flags.writeable = False
    return made


@lru_cache(maxsize=8)
def _spectrum(slope: float, blur_px: float) -> Floats:
    """Amplitudes of `texture` by frequency, shape (TILE, TILE // 2 + 1)."""
    frequency = np.hypot(np.fft.fftfreq(TILE)[:, None], np.fft.rfftfreq(TILE)[None, :])
    frequency[0, 0] = 1.0
    shape = frequency**-slope * np.exp(-2 * (math.pi * frequency * blur_px) ** 2)
    shape[0, 0] = 0.0
    return np.asarray(shape)


def tiled(tile: Light, first: int, stop: int, width: int) -> Light:
    """Rows of a periodic texture, shape (stop - first, width)."""
    rows = tile[np.arange(first, stop) % TILE]
    return rows[:, np.arange(width) % TILE]


@dataclass(frozen=True)
class Rim:
    """Distance to the work's rim over the frame, by first order from the ellipse."""

    scene: Scene

    def rho_distance(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return rho and the signed distance inward from the rim [px], shape (len(y), len(x))."""
        edge = self.scene.edge
        angle = math.radians(edge.angle_deg)
        cos2, sin2 = math.cos(angle) ** 2, math.sin(angle) ** 2
        a2, b2 = edge.a**-2, edge.b**-2
        cross = math.sin(2 * angle) * (a2 - b2) / 2
        dx, dy = x - edge.cx, y - edge.cy
        xx, yy = a2 * cos2 + b2 * sin2, a2 * sin2 + b2 * cos2
        rho2 = xx * dx**2 + (yy * dy**2)[:, None] + 2 * cross * dx * dy[:, None]
        rho = np.sqrt(rho2)
        if edge.a == edge.b:
            return rho, edge.a * (1 - rho)
        slope = np.hypot(xx * dx + cross * dy[:, None], yy * dy[:, None] + cross * dx)
        # rho / slope is the radius along the gradient; at the very middle it has none
        radius = np.divide(rho, slope, out=np.full_like(rho, edge.b), where=slope > 0)
        return rho, (1 - rho) * radius


def soft_step(distance: Floats, sigma_px: float) -> Light:
    """Share of light from the positive side of an edge, blurred by lens and pixel."""
    width = math.sqrt(sigma_px**2 + 1 / 12)
    out = (distance > 0).astype(np.float32)
    near = np.abs(distance) < 5 * width
    out[near] = ndtr(distance[near] / width)
    return out


@dataclass(frozen=True)
class Backdrop:
    """Brightness without fringes, row by row, in units of the brightest fringe."""

    scene: Scene
    light: Illumination
    tile: Light
    smears: Light

    def rows(self, first: int, stop: int) -> tuple[Light, Light]:
        """Return mean brightness and the light on the fringes of rows `first` to `stop`.

        Returns
        -------
        mean : ndarray of float32, shape (stop - first, N)
            Brightness where fringes are averaged out; background, bevel and shadow too.
        lit : ndarray of float32, shape (stop - first, N)
            Factor on contrast * modulation; it knows nothing of the rim.
        """
        scene, bench = self.scene, self.scene.bench
        x, y = np.arange(scene.width, dtype=float), np.arange(first, stop, dtype=float)
        rho, distance = Rim(scene).rho_distance(x, y)
        light = self.light.rows(first, stop) * self._cast(x, y)
        half = np.float32(1 / (1 + bench.contrast))
        lit = light * half * (1 + bench.haze * tiled(self.smears, first, stop, scene.width))
        work = soft_step(distance, scene.camera.blur_px)
        outer = soft_step(distance + bench.bevel_px, scene.camera.blur_px)
        around = self._around(first, stop) * self._shadow(rho, distance)
        bevel = bench.bevel_level * self._glint(x, y)
        mean = work * lit + light * ((outer - work) * bevel + (1 - outer) * around)
        return np.asarray(mean, np.float32), np.asarray(lit, np.float32)

    def _around(self, first: int, stop: int) -> Light:
        """Brightness round the work."""
        bench = self.scene.bench
        own = bench.background_level
        level = np.float32(_LEVELS[bench.background] if own is None else own)
        grain = tiled(self.tile, first, stop, self.scene.width)
        if bench.background == "plate":
            return self._plate(first, stop, level, grain)
        rough = np.random.default_rng([self.scene.seed, 7]).uniform(0.08, 0.3)
        depth = rough if bench.background == "textured" else 0.04
        return np.asarray(level * np.maximum(1 + depth * grain, 0.05), np.float32)

    def _plate(self, first: int, stop: int, level: np.float32, grain: Light) -> Light:
        """A larger plate under the work, slightly off centre, with a bright rim."""
        edge, blur = self.scene.edge, self.scene.camera.blur_px
        rng = np.random.default_rng([self.scene.seed, 8])
        grow, dx, dy = rng.uniform(1.1, 1.45), *rng.normal(0, 0.03, 2) * edge.a
        wide = replace(self.scene, centre_px=(edge.cx + dx, edge.cy + dy), radius_px=edge.a * grow)
        x, y = np.arange(self.scene.width, dtype=float), np.arange(first, stop, dtype=float)
        _, distance = Rim(wide).rho_distance(x, y)
        plate = soft_step(distance, blur)
        line = plate - soft_step(distance - 3, blur)
        dark = np.float32(0.15)
        base = level * (dark + (1 - dark) * plate) * (1 + 0.01 * grain) + 0.25 * level * line
        return np.asarray(base, np.float32)

    def _cast(self, x: Floats, y: Floats) -> Light:
        """A shadow over one side of the frame, as a factor, shape (len(y), len(x))."""
        depth = self.scene.bench.cast_shadow
        if depth == 0:
            return np.ones((len(y), len(x)), np.float32)
        edge, rng = self.scene.edge, np.random.default_rng([self.scene.seed, 9])
        turn, offset = rng.uniform(0, 2 * math.pi), rng.uniform(0.2, 0.8) * edge.a
        soft = rng.uniform(0.02, 0.15) * edge.a
        along = (x - edge.cx) * math.cos(turn) + ((y - edge.cy) * math.sin(turn))[:, None]
        return np.asarray(1 - depth * ndtr((along - offset) / soft), np.float32)

    def _shadow(self, rho: Floats, distance: Floats) -> Light:
        """Soft dark seam outside the rim."""
        depth, reach = self.scene.bench.shadow, 0.04 * self.scene.edge.a + 2
        return np.asarray(1 - depth * np.exp(np.minimum(distance, 0) / reach), np.float32)

    def _glint(self, x: Floats, y: Floats) -> Light:
        """Chamfers mirror the lamp on some sides only."""
        edge = self.scene.edge
        turn = np.random.default_rng([self.scene.seed, 2]).uniform(0, 2 * math.pi)
        dx, dy = x - edge.cx, (y - edge.cy)[:, None]
        cosine = (dx * math.cos(turn) + dy * math.sin(turn)) / (np.hypot(dx, dy) + 1e-9)
        return np.asarray(0.55 + 0.45 * cosine, np.float32)


def backdrop(scene: Scene) -> Backdrop:
    """Prepare the surroundings of the fringes of a scene, and the light on them."""
    blur = max(scene.camera.blur_px, 0.5)
    slope = 1.0 if scene.bench.background == "textured" else 0.7
    return Backdrop(
        scene,
        illumination(scene),
        texture((scene.seed, 3), slope, blur),
        texture((scene.seed, 4), 1.3, 2 * blur),
    )
