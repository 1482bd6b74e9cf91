"""The camera of the simulator: from light on the sensor to the samples of a file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.synth.backdrop import TILE, texture
from fringe.synth.scene import Camera

Light = NDArray[np.float32]
BLOCK = 64  # rows that share one noise stream, so that bands do not change the noise
_LEVELS = 65536


@dataclass(frozen=True)
class Sensor:
    """A camera with its noise fixed; turns bands of light into raw values and then samples."""

    camera: Camera
    seed: int

    def raw_rows(self, light: Light, first: int) -> Light:
        """Expose rows of the sensor.

        Parameters
        ----------
        light : ndarray of float32, shape (B, N, 3) or (B, N)
            Light as balanced for white, 1 at the brightest fringe.
        first : int
            Number of the first row, a multiple of `BLOCK`.

        Returns
        -------
        ndarray of float32, shape (B, N) or (B, N, 3)
            Share of full scale; one value a pixel behind a colour filter array (R G / G B).
        """
        camera = self.camera
        if camera.colour == "mono":
            return self._noisy(light * np.float32(camera.exposure), first)
        gains = np.asarray(camera.white_balance) / min(camera.white_balance)
        balanced = light * np.float32(camera.exposure)
        exposed = np.asarray(balanced / gains, np.float32)
        if camera.colour == "rgb":
            return self._noisy(exposed, first)
        raw = exposed[..., 1].copy()
        start = first % 2
        raw[start::2, 0::2] = exposed[start::2, 0::2, 0]
        raw[1 - start :: 2, 1::2] = exposed[1 - start :: 2, 1::2, 2]
        return self._noisy(raw, first)

    def _noisy(self, raw: Light, first: int) -> Light:
        """Photon and read noise, then clipping at full scale and at zero."""
        camera = self.camera
        if camera.noise > 0:
            for start in range(0, len(raw), BLOCK):
                block = raw[start : start + BLOCK]
                rng = np.random.default_rng([self.seed, (first + start) // BLOCK])
                shot = np.maximum(block, 0) / camera.full_well
                sigma = np.sqrt(shot + (camera.read_noise / camera.full_well) ** 2)
                block += camera.noise * sigma * rng.standard_normal(block.shape, np.float32)
        return np.asarray(np.clip(raw, 0.0, 1.0), np.float32)

    @property
    def halo(self) -> int:
        """Rows that `develop` needs beyond those it is asked for."""
        return 1 + (math.ceil(3 * _SHARPEN_PX) if self.camera.sharpen > 0 else 0)

    def develop(self, raw: Light, first: int, stop: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
        """Develop rows `first` to `stop` of a whole raw picture into samples of the file."""
        low, high = max(first - self.halo, 0), min(stop + self.halo, len(raw))
        band = raw[low:high]
        if self.camera.colour == "bayer":
            band = demosaic(band, low)
        if self.camera.colour != "mono":
            gains = np.asarray(self.camera.white_balance) / min(self.camera.white_balance)
            band = band * np.asarray(gains, np.float32)
            self._add_colour_noise(band, low)
        if self.camera.sharpen > 0:
            band = _sharpen(band, self.camera.sharpen)
        return self._encode(band[first - low : stop - low])

    def _add_colour_noise(self, band: Light, low: int) -> None:
        """Blotches of colour, a few pixels wide, which leave the grey alone."""
        depth = self.camera.colour_noise * self.camera.noise
        if depth == 0:
            return
        tiles = _colour_tiles(self.seed)
        rows = np.arange(low, low + len(band)) % TILE
        columns = np.arange(band.shape[1]) % TILE
        for channel, tile in enumerate(tiles):
            band[..., channel] += depth * tile[rows][:, columns]

    def _encode(self, light: Light) -> NDArray[np.uint8] | NDArray[np.uint16]:
        """Linear light to 8 or 16 bit samples through the transfer function."""
        clipped = np.clip(light, 0.0, 1.0)
        if self.camera.bits == 16:
            encoded = linear_to_srgb(clipped) if self.camera.gamma == "srgb" else clipped
            return np.asarray(np.rint(encoded * 65535), np.uint16)
        index = (clipped * (_LEVELS - 1) + np.float32(0.5)).astype(np.uint16)
        return _table8(self.camera.gamma).take(index)


_SHARPEN_PX = 1.2
_tables: dict[str, NDArray[np.uint8]] = {}


def _table8(gamma: str) -> NDArray[np.uint8]:
    if gamma not in _tables:
        ramp = np.linspace(0, 1, _LEVELS, dtype=np.float32)
        encoded = linear_to_srgb(ramp) if gamma == "srgb" else ramp
        _tables[gamma] = np.rint(encoded * 255).astype(np.uint8)
    return _tables[gamma]


def linear_to_srgb(light: Light) -> Light:
    """Transfer function of sRGB (IEC 61966-2-1), light 0 to 1."""
    curved = 1.055 * np.power(light, np.float32(1 / 2.4)) - 0.055
    return np.asarray(np.where(light <= 0.0031308, 12.92 * light, curved), np.float32)


def demosaic(raw: Light, first: int) -> Light:
    """Bilinear colours (B, N, 3) from a colour filter array R G / G B; row 0 is `first`."""
    rows, columns = raw.shape
    odd = first % 2
    pad = np.pad(raw, 1, mode="reflect")

    def at(dy: int, dx: int) -> Light:
        return pad[1 + dy : 1 + dy + rows, 1 + dx : 1 + dx + columns]

    beside = (at(0, -1) + at(0, 1)) * np.float32(0.5)
    above = (at(-1, 0) + at(1, 0)) * np.float32(0.5)
    cross = (beside + above) * np.float32(0.5)
    corners = (at(-1, -1) + at(-1, 1) + at(1, -1) + at(1, 1)) * np.float32(0.25)
    out = np.empty((rows, columns, 3), np.float32)
    # (row parity, column parity): sources of R, G, B there
    plan = {
        (0, 0): (raw, cross, corners),
        (0, 1): (beside, raw, above),
        (1, 0): (above, raw, beside),
        (1, 1): (corners, cross, raw),
    }
    for (row, column), sources in plan.items():
        start = (row - odd) % 2
        for channel, source in enumerate(sources):
            out[start::2, column::2, channel] = source[start::2, column::2]
    return out


def _sharpen(band: Light, strength: float) -> Light:
    from scipy.ndimage import gaussian_filter

    sigma = (_SHARPEN_PX, _SHARPEN_PX) + (0.0,) * (band.ndim - 2)
    blurred = gaussian_filter(band, sigma, truncate=3.0)
    return np.asarray(band + strength * (band - blurred), np.float32)


@lru_cache(maxsize=2)
def _colour_tiles(seed: int) -> tuple[Light, Light, Light]:
    red, blue = texture((seed, 5), 0.3, 2.0), texture((seed, 6), 0.3, 2.0)
    return red, np.asarray(-0.3 * red - 0.1 * blue, np.float32), blue
