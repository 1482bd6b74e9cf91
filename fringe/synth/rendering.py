"""Render a scene: interference over the pixels, dirt, camera, and the truth beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from fringe.synth.backdrop import Backdrop, Rim, backdrop
from fringe.synth.camera import BLOCK, Sensor
from fringe.synth.dirt import Mark, marks
from fringe.synth.gap import GapModel, gap_model, unboost
from fringe.synth.light import FringeTable, fringe_table
from fringe.synth.scene import Scene
from fringe.synth.truth import truth_of

Light = NDArray[np.float32]
Floats = NDArray[np.float64]
_BAND_SAMPLES = 1_500_000  # samples of a band: large enough for numpy, small enough for memory


@dataclass(frozen=True)
class Rendered:
    """A rendered photograph with its truth.

    Attributes
    ----------
    image : ndarray of uint8 or uint16, shape (M, N, 3) or (M, N)
        Upright; the camera's EXIF orientation is applied when it is saved.
    truth : dict
        The quantities of a reading and, under `scene`, every input.
    scene : Scene
        What was rendered.
    gap : GapModel
        The gap over the unit disc.
    """

    image: NDArray[np.uint8] | NDArray[np.uint16]
    truth: dict[str, Any]
    scene: Scene
    gap: GapModel = field(repr=False)

    def disc(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Coordinates on the unit disc of pixels, perspective included."""
        return unboost(self.scene, *self.scene.edge.unit(x, y))


def render(scene: Scene, rng: np.random.Generator | int | None = None) -> Rendered:
    """Render a scene.

    Parameters
    ----------
    scene : Scene
        What to render.
    rng : numpy Generator, int or None
        For the camera's noise; `None` takes the scene's seed.

    Returns
    -------
    Rendered
        The same scene and generator give the same bytes.
    """
    generator = np.random.default_rng(scene.seed if rng is None else rng)
    noise_seed = int(generator.integers(2**62))
    gap = gap_model(scene)
    sensor = Sensor(scene.camera, noise_seed)
    raw = _expose(_Painter.of(scene, gap), sensor)
    truth = truth_of(scene, gap) | {"noise_seed": noise_seed}
    return Rendered(_develop(sensor, raw), truth, scene, gap)


def ideal_light(scene: Scene) -> Light:
    """Light before the camera's noise, shape (M, N) or (M, N, 3); 1 at the brightest fringe."""
    painter = _Painter.of(scene, gap_model(scene))
    return np.concatenate(
        [
            painter.rows(start, min(start + BLOCK, scene.height))
            for start in range(0, scene.height, BLOCK)
        ]
    )


def _expose(painter: _Painter, sensor: Sensor) -> Light:
    """Raw picture of the whole sensor, band by band."""
    scene = painter.scene
    shape: tuple[int, ...] = (scene.height, scene.width)
    if scene.camera.colour == "rgb":
        shape = (*shape, 3)
    raw = np.empty(shape, np.float32)
    for start, stop in _bands(scene, scene.camera.supersample**2):
        raw[start:stop] = sensor.raw_rows(painter.rows(start, stop), start)
    return raw


def _develop(sensor: Sensor, raw: Light) -> NDArray[np.uint8] | NDArray[np.uint16]:
    camera = sensor.camera
    depth = () if camera.colour == "mono" else (3,)
    kind = np.uint8 if camera.bits == 8 else np.uint16
    image = np.empty(raw.shape[:2] + depth, kind)
    for start in range(0, len(raw), BLOCK * 4):
        stop = min(start + BLOCK * 4, len(raw))
        image[start:stop] = sensor.develop(raw, start, stop)
    return image


def _bands(scene: Scene, samples_per_pixel: int) -> list[tuple[int, int]]:
    blocks = max(1, _BAND_SAMPLES // (scene.width * samples_per_pixel * BLOCK))
    rows = blocks * BLOCK
    return [(s, min(s + rows, scene.height)) for s in range(0, scene.height, rows)]


@dataclass(frozen=True)
class _Painter:
    """Light of a scene, row by row."""

    scene: Scene
    gap: GapModel
    table: FringeTable
    behind: Backdrop
    marks: list[Mark]

    @classmethod
    def of(cls, scene: Scene, gap: GapModel) -> _Painter:
        turns = np.linspace(0, 2 * math.pi, 181)
        rho = np.linspace(0, 1.02, 103)[:, None]
        reach = float(gap.opd_nm(rho * np.cos(turns), rho * np.sin(turns)).max())
        return cls(scene, gap, fringe_table(scene, reach), backdrop(scene), marks(scene))

    def rows(self, first: int, stop: int) -> Light:
        """Light of rows, balanced for white: (B, N) for a mono camera, else (B, N, 3)."""
        mean, lit = self.behind.rows(first, stop)
        channels = len(self.table.modulation)
        waves = self._modulation(first, stop)
        contrast = np.float32(self.scene.bench.contrast)
        planes = [mean - contrast * lit * wave for wave in waves] if waves else [mean] * channels
        if channels == 3 and not waves:
            planes = [mean.copy() for _ in range(3)]
        for mark in self.marks:
            mark.draw(planes, first)
        return self._coloured(planes, mean)

    def _coloured(self, planes: list[Light], mean: Light) -> Light:
        ambient = self.scene.bench.ambient
        room = np.float32(ambient * 0.5)
        scale = np.float32(1 / (1 + ambient))
        if self.scene.camera.colour == "mono":
            return (planes[0] + room) * scale
        out = np.empty((*mean.shape, 3), np.float32)
        for channel in range(3):
            plane = planes[min(channel, len(planes) - 1)]
            out[..., channel] = (plane * np.float32(self.table.colour[channel]) + room) * scale
        return out

    def _modulation(self, first: int, stop: int) -> list[Light]:
        """Blurred modulation inside the rim, one plane a channel; empty off the work."""
        scene, edge = self.scene, self.scene.edge
        blur, fine = scene.camera.blur_px, scene.camera.supersample
        halo = math.ceil(4 * blur) + 1 if blur > 0 else 0
        corner = math.radians(edge.angle_deg)
        tall = math.hypot(edge.a * math.sin(corner), edge.b * math.cos(corner)) + halo + 2
        wide = math.hypot(edge.a * math.cos(corner), edge.b * math.sin(corner)) + halo + 2
        top = max(first, math.floor(edge.cy - tall))
        bottom = min(stop, math.ceil(edge.cy + tall) + 1)
        left = max(0, math.floor(edge.cx - wide))
        right = min(scene.width, math.ceil(edge.cx + wide) + 1)
        if top >= bottom or left >= right:
            return []
        x = _fine(left - halo, right + halo, fine)
        y = _fine(top - halo, bottom + halo, fine)
        waves = []
        for wave in self._fine_modulation(x, y):
            plane = np.zeros((stop - first, scene.width), np.float32)
            small = _reduce(wave, blur, fine)
            inner = slice(halo, small.shape[0] - halo), slice(halo, small.shape[1] - halo)
            plane[top - first : bottom - first, left:right] = small[inner]
            waves.append(plane)
        return waves

    def _fine_modulation(self, x: Floats, y: Floats) -> list[Light]:
        """Modulation times the share inside the rim, at sub-pixels."""
        fine = self.scene.camera.supersample
        _, distance = Rim(self.scene).rho_distance(x, y)
        share = np.clip(0.5 + distance * fine, 0, 1).astype(np.float32)
        opd = self.gap.grid_opd_nm(x, y)
        share *= _box_loss(opd, self.table.wavelength_nm)
        return [self.table.look_up(opd, k) * share for k in range(len(self.table.modulation))]


def _fine(low: int, high: int, fine: int) -> Floats:
    """Middles of sub-pixels of pixels low to high - 1."""
    return low - 0.5 + (np.arange((high - low) * fine) + 0.5) / fine


def _box_loss(opd: Floats, wavelength_nm: float) -> Light:
    """Contrast left by the extent of each sample: sinc of the local frequency along x and y."""
    along_y, along_x = np.gradient(np.asarray(opd / wavelength_nm, np.float32))
    # sinc to fourth order is good to 1e-3 up to half a cycle a sample
    loss = np.ones(opd.shape, np.float32)
    for frequency in (along_x, along_y):
        t = np.minimum((math.pi * frequency) ** 2, np.float32(9.0))
        loss *= 1 - t / 6 * (1 - t / 20 * (1 - t / 42 * (1 - t / 72)))
    return loss


def _reduce(wave: Light, blur_px: float, fine: int) -> Light:
    """Blur and average sub-pixels to pixels."""
    if 0 < blur_px <= 2:
        wave = gaussian_filter(wave, blur_px * fine, mode="nearest")
    rows, columns = wave.shape
    small = wave.reshape(rows // fine, fine, columns // fine, fine).mean(axis=(1, 3))
    if blur_px > 2:
        small = gaussian_filter(small, blur_px, mode="nearest")
    return np.asarray(small, np.float32)
