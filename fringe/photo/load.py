"""Load a photograph as linear light in the one channel that carries the lamp's fringes."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.decode import MAX_PIXELS as MAX_PIXELS
from fringe.photo.decode import Decoded, decoded
from fringe.photo.lens import focal_px
from fringe.photo.srgb import srgb_to_linear

MAX_BYTES = 1_000_000_000
MIN_SIDE = 32
CHANNELS = ("red", "green", "blue")
_NEARLY_CLIPPED = 0.985
_ENOUGH = 1e5  # pixels from which the best channel is chosen
_BLOCK = 1 << 18  # pixels that are linearised at once


@dataclass(frozen=True)
class Photo:
    """A photograph as linear light.

    Attributes
    ----------
    light : ndarray of float32, shape (M, N)
        Linear light of the chosen channel, 0 to 1 at the clip level; row 0 at the top.
    clipped : ndarray of bool, shape (M, N)
        True where the chosen channel is at or next to its highest value.
    channel : str
        `red`, `green`, `blue` or `grey`.
    name : str
        The file's name, for messages.
    sha256 : str
        Digest of the file's bytes.
    bits : int
        Bits a sample.
    notes : tuple of str
        What a reader should know about the file.
    samples : ndarray or None, shape (M, N) or (M, N, 3)
        All channels as decoded, for showing; None unless they were asked for.
    thin : ndarray or None, shape (P, Q, 3)
        All channels of the middle pixel of every `thin_step` by `thin_step`; None without colour.
    thin_step : int
        [px]
    focal_px : float or None
        Focal length of the lens, where the camera noted it [px].
    source : bytes or ndarray or None
        The file, or the samples, that another channel is taken from.
    """

    light: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    channel: str
    name: str
    sha256: str = ""
    bits: int = 8
    notes: tuple[str, ...] = ()
    samples: NDArray[Any] | None = None
    thin: NDArray[Any] | None = None
    thin_step: int = 1
    focal_px: float | None = None
    source: bytes | NDArray[Any] | None = field(default=None, repr=False, compare=False)

    @property
    def width(self) -> int:
        """Pixels across."""
        return int(self.light.shape[1])

    @property
    def height(self) -> int:
        """Pixels down."""
        return int(self.light.shape[0])

    def thin_light(self) -> tuple[NDArray[np.float32], NDArray[np.bool_]] | None:
        """Linear light of the thinned colours (P, Q, 3), and where any of them is clipped (P, Q).

        None for a picture without colour.
        """
        if self.thin is None:
            return None
        light, clipped = _light_of(self.thin, self.name)
        return light, np.asarray(clipped.any(axis=2))

    def variations(self) -> dict[str, float]:
        """Usable variation of light in each channel by its name; empty without colour."""
        if self.thin is None:
            return {}
        return {name: _variation(self.thin[..., i]) for i, name in enumerate(CHANNELS)}

    def in_channel(self, channel: str) -> Photo:
        """The same photograph in another channel; a grey one stays as it is."""
        if channel == self.channel or self.source is None or self.channel not in CHANNELS:
            return self
        source = self.source
        samples = decode(source, self.name)[0] if isinstance(source, bytes) else source
        if samples.ndim != 3:
            return self
        light, clipped = _light_of(samples[..., CHANNELS.index(channel)], self.name)
        return replace(self, light=light, clipped=clipped, channel=channel)


def photo_from_array(samples: NDArray[Any], name: str = "array", sha256: str = "") -> Photo:
    """Make a `Photo` from decoded samples.

    Parameters
    ----------
    samples : ndarray, shape (M, N) or (M, N, C)
        uint8 or uint16 is taken as sRGB-encoded, floating point as linear light with
        the clip level at its greatest value. Of two channels or four the last is alpha.
    name, sha256 : str
        For messages and the record.

    Raises
    ------
    BadInput
        If it is not a picture, too small or not finite.
    """
    if samples.ndim not in (2, 3) or 0 in samples.shape:
        raise BadInput(f"{name}: an array of shape {samples.shape} is not a picture")
    if samples.dtype not in (np.uint8, np.uint16) and samples.dtype.kind != "f":
        raise BadInput(
            f"{name}: samples of type {samples.dtype} are not read; use 8 or 16 bits, or floats"
        )
    planes = samples[..., None] if samples.ndim == 2 else samples
    photo = _photo(Decoded(planes[..., : 1 if planes.shape[2] < 3 else 3]), name, sha256)
    return replace(photo, source=samples)


def _photo(picture: Decoded, name: str, sha256: str, *, keep_samples: bool = False) -> Photo:
    """Take the best channel of a decoded picture, without a copy of the others if not asked."""
    width, height = picture.size
    if min(height, width) < MIN_SIDE:
        raise BadInput(
            f"{name}: {width} x {height} pixels are too few to hold fringes; use a larger picture"
        )
    thin, step, index, channel = None, 1, 0, "grey"
    if picture.planes == 3:
        # a sparse sample of the pixels is enough to choose by, and to know the lamp's colour
        step = max(1, int(np.sqrt(width * height / _ENOUGH)))
        thin = picture.thin(step)
        index = _best_channel(thin)
        channel = CHANNELS[index]
    samples = picture.samples() if keep_samples else None
    plane = picture.take(index)
    light, clipped = _light_of(plane, name)
    bits = 8 * plane.dtype.itemsize
    notes = tuple(picture.notes)
    return Photo(light, clipped, channel, name, sha256, bits, notes, samples, thin, step)


def _light_of(plane: NDArray[Any], name: str) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Linear light of samples of any shape, and where they are clipped."""
    return _light(plane, name) if plane.dtype.kind == "f" else _linear(plane)


def _light(plane: NDArray[Any], name: str) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Scale floating-point light to its greatest value."""
    top, lowest = float(plane.max()), float(plane.min())
    if not np.isfinite(top) or not np.isfinite(lowest):
        raise BadInput(f"{name}: holds values that are not numbers; export the picture again")
    if top <= 0 or lowest < -top:
        raise BadInput(f"{name}: holds no light: its values are not above zero")
    return (plane / plane.dtype.type(top)).astype(np.float32), np.zeros(plane.shape, bool)


def _linear(plane: NDArray[Any]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Linearise whole numbers by a table, some rows at a time to spare memory."""
    top = int(np.iinfo(plane.dtype).max)
    table = srgb_to_linear(np.arange(top + 1, dtype=np.float32) / top)
    light = np.empty(plane.shape, np.float32)
    rows = max(1, _BLOCK // plane.shape[1])
    for start in range(0, plane.shape[0], rows):
        block = slice(start, start + rows)
        np.take(table, plane[block], out=light[block], mode="clip")
    return light, plane >= top - top // 100


def load_photo(path: str | Path, *, keep_samples: bool = False) -> Photo:
    """Load a JPEG, PNG, TIFF or HEIC photograph.

    The EXIF orientation is applied, sRGB is linearised, and the channel with the most
    light and the least clipping is taken.

    Parameters
    ----------
    path : str or Path
        The file.
    keep_samples : bool
        Keep all channels as well, so that the photograph can be shown without decoding it again.

    Returns
    -------
    Photo

    Raises
    ------
    BadInput
        If the file is missing, empty, no picture, damaged, or larger than `MAX_PIXELS`.
    """
    return photo_from_bytes(read_bytes(path), Path(path).name, keep_samples=keep_samples)


def read_bytes(path: str | Path) -> bytes:
    """Read a photograph's bytes; raises `BadInput` with the reason when that cannot be done."""
    file = Path(path)
    try:
        if file.is_dir():
            raise BadInput(f"{file}: is a folder; name the photograph in it")
        if not file.is_file():
            raise BadInput(f"{file}: no such file; check the name and the folder")
        with file.open("rb") as opened:
            size = os.fstat(opened.fileno()).st_size
            data = opened.read(size) if size <= MAX_BYTES else b""
        if size > MAX_BYTES:
            raise BadInput(f"{file}: more than {MAX_BYTES / 1e6:.0f} MB is not a photograph")
        if not data:
            raise BadInput(f"{file}: is empty; copy the photograph from the camera again")
        return data
    except MemoryError as error:
        raise BadInput(f"{file}: is too large for this machine's memory") from error
    except (OSError, ValueError) as error:  # a name may hold what no system takes
        reason = getattr(error, "strerror", None) or error
        raise BadInput(f"{file}: cannot be read ({reason})") from error


def photo_from_bytes(
    data: bytes, name: str, sha256: str = "", *, keep_samples: bool = False
) -> Photo:
    """Decode a photograph that is already in memory, with its digest if known; see `load_photo`."""
    digest = sha256 or hashlib.sha256(data).hexdigest()
    photo = _photo(decoded(data, name), name, digest, keep_samples=keep_samples)
    return replace(photo, focal_px=focal_px(data, photo.width, photo.height), source=data)


def decode(data: bytes, name: str) -> tuple[NDArray[Any], list[str]]:
    """Decode picture bytes to samples, upright.

    Returns
    -------
    samples : ndarray, shape (M, N) or (M, N, 3)
        uint8, uint16 or floating point.
    notes : list of str
        What was lost or assumed.

    Raises
    ------
    BadInput
        If the bytes are no picture, a damaged one, or one that is too large.
    """
    picture = decoded(data, name)
    return picture.samples(), picture.notes


def decode_small(data: bytes, name: str, least_px: int) -> tuple[NDArray[Any], tuple[int, int]]:
    """Decode picture bytes for showing: samples at a reduced size where that is quicker.

    Parameters
    ----------
    data, name
        As `decode` takes them.
    least_px : int
        Pixels that the shorter side keeps at least, of a picture that has them.

    Returns
    -------
    samples : ndarray, shape (M, N) or (M, N, 3)
    whole : tuple of 2 int
        Pixels across and down of the whole picture, upright.

    Raises
    ------
    BadInput
        As `decode`.
    """
    picture = decoded(data, name, least_px)
    return picture.samples(), picture.whole or picture.size


def _best_channel(thin: NDArray[Any]) -> int:
    """Number of the channel with the most usable variation of light."""
    return int(np.argmax([_variation(thin[..., index]) for index in range(3)]))


def _variation(samples: NDArray[Any]) -> float:
    """Spread of a channel's light, reduced the more of it is clipped."""
    if samples.dtype.kind == "f":
        low, high = np.percentile(samples, (5, 95))
        return float(high - low)
    top = int(np.iinfo(samples.dtype).max)
    counts = np.bincount(samples.ravel(), minlength=top + 1)
    open_ = np.cumsum(counts[: int(np.ceil(_NEARLY_CLIPPED * top))])
    share = float(open_[-1]) / samples.size
    if share < 0.02:
        return 0.0
    low, high = np.searchsorted(open_, np.array([0.05, 0.95]) * open_[-1]) / top
    # encoding keeps the order, so the ends may be linearised after they are found
    spread = srgb_to_linear(high) - srgb_to_linear(low)
    return float(spread) * share**4
