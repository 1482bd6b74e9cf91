"""Parts of a photograph prepared for the screen: cropped, reduced and encoded."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.srgb import linear_to_srgb

_REDUCING_GAP = 3.0  # from which Pillow averages over blocks first; finer, it shows no difference
# a Gaussian of 0.55 px, which takes out what resampling leaves near its limit
_SOFT = (np.float32(0.7231), np.float32(0.13845))


@dataclass(frozen=True)
class Window:
    """A rectangle of a photograph, as an array to show.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (M, N, 3)
        The part, reduced; row 0 at the top.
    left, top, right, bottom : float
        Edges of the part in photograph coordinates, where the middle of the top left
        pixel is (0, 0) and its corner (-0.5, -0.5) [px].
    """

    pixels: NDArray[np.uint8]
    left: float
    top: float
    right: float
    bottom: float

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Edges in the order that matplotlib's `imshow` takes, y pointing down."""
        return self.left, self.right, self.bottom, self.top

    def greyed(self, x_from: float, *, stretched: bool = False) -> Window:
        """Return it with colour taken out right of `x_from` [px], and its contrast raised."""
        step = (self.right - self.left) / self.pixels.shape[1]
        column = int(np.clip(round((x_from - self.left) / step), 0, self.pixels.shape[1]))
        pixels = self.pixels.copy()
        part = pixels[:, column:].astype(np.float32)
        if part.size:
            # the liveliest channel: under a single line the other two hold little but noise
            best = int(np.argmax(part.std(axis=(0, 1))))
            grey = part[..., best : best + 1] / np.float32(255)
            if stretched:
                low, high = np.percentile(grey, (1, 99))
                grey = (grey - low) / max(float(high - low), 0.02)
            grey = _brightened(grey)
            pixels[:, column:] = grey.astype(np.uint8)
        return Window(pixels, self.left, self.top, self.right, self.bottom)


def samples_of(image: NDArray[Any] | str | Path) -> NDArray[Any]:
    """Return a photograph's samples, from an array or a file.

    Parameters
    ----------
    image : ndarray, shape (M, N) or (M, N, C), or path
        Whole numbers are taken as encoded for the screen (sRGB), floats as linear light.

    Returns
    -------
    ndarray, shape (M, N, 1) or (M, N, 3)
        The same samples, not copied.

    Raises
    ------
    BadInput
        If it is not a picture.
    """
    if isinstance(image, str | Path):
        from fringe.photo.load import decode, read_bytes

        image, _ = decode(read_bytes(image), Path(image).name)
    samples = np.asarray(image)
    if samples.ndim == 2:
        samples = samples[..., None]
    if samples.ndim != 3 or 0 in samples.shape or samples.dtype.kind not in "uif":
        raise BadInput(f"picture: an array of shape {samples.shape} cannot be shown as one")
    return samples[..., :3] if samples.shape[2] >= 3 else samples[..., :1]


def within(
    samples: NDArray[Any], left: float, top: float, right: float, bottom: float
) -> tuple[float, float, float, float]:
    """Return the part of a rectangle that a photograph holds, whole pixels [px].

    Raises
    ------
    BadInput
        If the rectangle holds none of the photograph.
    """
    height, width = samples.shape[:2]
    x0, x1 = max(0, round(left + 0.5)), min(width, round(right + 0.5))
    y0, y1 = max(0, round(top + 0.5)), min(height, round(bottom + 0.5))
    if x0 >= x1 or y0 >= y1:
        raise BadInput("picture: the edge of the reading lies outside it; is it another picture?")
    return x0 - 0.5, y0 - 0.5, x1 - 0.5, y1 - 0.5


def cut(
    samples: NDArray[Any],
    left: float,
    top: float,
    right: float,
    bottom: float,
    *,
    longest_px: int = 1200,
) -> Window:
    """Cut a rectangle out of a photograph and reduce it for showing.

    Parameters
    ----------
    samples : ndarray, shape (M, N, 1) or (M, N, 3)
        From :func:`samples_of`.
    left, top, right, bottom : float
        The rectangle [px]; what lies outside the photograph is left away.
    longest_px : int
        Longest side of the result [px].

    Returns
    -------
    Window
        Brightened, when it is dim, so that its lightest hundredth is near white.

    Raises
    ------
    BadInput
        If the rectangle holds none of the photograph.
    """
    left, top, right, bottom = within(samples, left, top, right, bottom)
    part = samples[round(top + 0.5) : round(bottom + 0.5), round(left + 0.5) : round(right + 0.5)]
    pixels = _brightened(_screen(_reduced(part, longest_px), samples.dtype))
    if pixels.shape[2] == 1:
        pixels = np.repeat(pixels, 3, axis=2)
    return Window(pixels.astype(np.uint8), left, top, right, bottom)


def _reduced(part: NDArray[Any], longest_px: int) -> NDArray[np.float32]:
    """Resample and soften: fringes too fine to be shown turn grey, not to others."""
    from PIL import Image

    height, width = part.shape[:2]
    scale = min(1.0, longest_px / max(height, width))
    if scale == 1.0:
        return np.asarray(part, np.float32)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    if part.dtype == np.uint8:  # all channels at once
        images = [np.ascontiguousarray(part if part.shape[2] > 1 else part[..., 0])]
    else:
        images = [np.ascontiguousarray(plane, np.float32) for plane in np.moveaxis(part, -1, 0)]
    small = [
        Image.fromarray(image).resize(size, Image.Resampling.LANCZOS, reducing_gap=_REDUCING_GAP)
        for image in images
    ]
    return _softened(np.dstack([np.asarray(image, np.float32) for image in small]))


def _softened(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weighted mean with the next pixel on either side, along rows and columns.

    A narrow Gaussian by numpy alone: a report would import scipy for nothing else.
    """
    middle, beside = _SOFT
    for _ in range(2):
        padded = np.pad(planes, ((1, 1), (0, 0), (0, 0)), mode="edge")
        planes = middle * planes + beside * (padded[:-2] + padded[2:])
        planes = planes.swapaxes(0, 1)  # rows, then columns, and back
    return planes


def _screen(light: NDArray[np.float32], kind: np.dtype[Any]) -> NDArray[np.float32]:
    """Bring samples of any kind to 0 to 1 as a screen encodes them."""
    if kind.kind != "f":
        return np.asarray(light / np.float32(np.iinfo(kind).max), np.float32)
    linear = np.clip(np.nan_to_num(light / (np.nanmax(light) or 1.0)), 0.0, 1.0)
    return np.asarray(linear_to_srgb(linear), np.float32)


def _brightened(screen: NDArray[np.float32]) -> NDArray[np.float32]:
    """Lift a dim picture; returns 0 to 255."""
    bright = float(np.percentile(screen, 99))
    gain = min(max(1.0, 0.95 / bright), 8.0) if bright > 0 else 1.0
    return np.asarray(np.clip(255 * gain * screen, 0, 255), np.float32)
