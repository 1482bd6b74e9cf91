"""Interference as a table: brightness against path difference, in the colours of a camera."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.lamps import Lamp, Line
from fringe.synth.scene import Scene

STEPS_PER_WAVE = 1024  # linear interpolation then errs by less than 5e-6 of the fringe

# Centre, width below and above [nm] of a camera's channels, each a skewed Gaussian, and a
# floor for what the filters leak. Plausible for consumer cameras; from memory, no source.
_CHANNELS = ((604.0, 24.0, 42.0), (535.0, 36.0, 44.0), (460.0, 26.0, 30.0))
_LEAK = 0.006


@dataclass(frozen=True)
class FringeTable:
    """Fringe modulation against path difference.

    Attributes
    ----------
    step_nm : float
        Of path difference between entries.
    modulation : ndarray of float32, shape (C, K)
        I / mean = 1 - contrast * modulation; +1 at perfect contact (dark).
        One row a colour channel, or one row for all when the lamp is of one colour.
    colour : ndarray, shape (3,)
        R, G, B of the lamp's light after white balance, the greatest 1.
    wavelength_nm : float
        Mean wavelength, to count fringe frequency by.
    """

    step_nm: float
    modulation: NDArray[np.float32]
    colour: NDArray[np.float64]
    wavelength_nm: float

    def look_up(self, opd_nm: NDArray[np.float64], channel: int) -> NDArray[np.float32]:
        """Modulation at path differences [nm], any shape, linearly interpolated."""
        row = self.modulation[min(channel, len(self.modulation) - 1)]
        position = (opd_nm / self.step_nm).clip(0, len(row) - 2)
        index = position.astype(np.int32)
        fraction = (position - index).astype(np.float32)
        low = row.take(index)
        return np.asarray(low + fraction * (row.take(index + 1) - low), np.float32)


def camera_response(wavelength_nm: float) -> NDArray[np.float64]:
    """Relative response (3,) of a camera's R, G, B to one wavelength [nm], before balance."""
    values = []
    for centre, below, above in _CHANNELS:
        width = below if wavelength_nm < centre else above
        values.append(math.exp(-0.5 * ((wavelength_nm - centre) / width) ** 2) + _LEAK)
    return np.array(values)


def lamp_colour(lamp: Lamp, white_balance: Sequence[float]) -> NDArray[np.float64]:
    """R, G, B (3,) of a lamp's light after white balance, the greatest 1."""
    weights = np.array([line.weight for line in lamp.lines])
    response = np.array([camera_response(line.wavelength_nm) for line in lamp.lines])
    colour = weights @ response * np.asarray(white_balance)
    return np.asarray(colour / colour.max())


def fringe_table(scene: Scene, max_opd_nm: float) -> FringeTable:
    """Tabulate the interference of a scene's lamp up to a path difference [nm]."""
    lamp, mean = scene.lamp, scene.lamp.wavelength_nm
    step = mean / STEPS_PER_WAVE
    opd = np.asarray(np.arange(int(max_opd_nm * 1.05 / step) + 8) * step, float)
    colour = lamp_colour(lamp, scene.camera.white_balance)
    spread = max(i.wavelength_nm for i in lamp.lines) - min(i.wavelength_nm for i in lamp.lines)
    # lines closer than this look the same to a camera, so one table serves all channels
    lamps = [lamp] if spread < 5 else [_through_filter(lamp, channel) for channel in range(3)]
    if scene.camera.colour == "mono":
        lamps = [lamp]
    rows = [modulation(channel_lamp, opd, scene) for channel_lamp in lamps]
    return FringeTable(step, np.array(rows, np.float32), colour, mean)


def modulation(lamp: Lamp, opd_nm: NDArray[np.float64], scene: Scene) -> NDArray[np.float64]:
    """Fringe modulation at path differences [nm]: I / mean = 1 - modulation.

    Two beams of R and R (1 - R)^2 give 2 sqrt(r1 r2) / (r1 + r2) Re(gamma). All beams give
    Airy's sum for a gap between two like surfaces, 1 - T with
    T = (1 - R) / (1 + R) (1 + 2 sum_k R^k Re gamma(k OPD)), divided by its mean.
    """
    reflectance = scene.bench.reflectance
    if not scene.bench.multiple_beams:
        first, second = reflectance, reflectance * (1 - reflectance) ** 2
        return 2 * math.sqrt(first * second) / (first + second) * coherence(lamp, opd_nm)
    terms = max(3, math.ceil(math.log(1e-5) / math.log(reflectance)))
    total = sum(reflectance**k * coherence(lamp, k * opd_nm) for k in range(1, terms + 1))
    return np.asarray((1 - reflectance) / reflectance * total)


def coherence(lamp: Lamp, opd_nm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Real part of the degree of coherence at path differences [nm], carrier included."""
    carrier = np.exp(2j * math.pi * opd_nm / lamp.wavelength_nm)
    return np.asarray((lamp.visibility(opd_nm) * carrier).real)


def _through_filter(lamp: Lamp, channel: int) -> Lamp:
    """The lamp as one colour channel sees it."""
    weights = [
        line.weight * float(camera_response(line.wavelength_nm)[channel]) for line in lamp.lines
    ]
    lines = tuple(
        Line(line.wavelength_nm, weight / sum(weights), line.fwhm_nm)
        for line, weight in zip(lamp.lines, weights, strict=True)
    )
    return replace(lamp, lines=lines)
