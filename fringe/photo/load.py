"""Load a photograph as linear light in the one channel that carries the lamp's fringes."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput

if TYPE_CHECKING:
    from PIL import Image

# Larger pictures are refused before they are decoded: no camera at a bench makes them,
# and a small file can claim any size.
MAX_PIXELS = 120_000_000
MAX_BYTES = 1_000_000_000
MIN_SIDE = 32
CHANNELS = ("red", "green", "blue")


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
    """

    light: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    channel: str
    name: str
    sha256: str = ""
    bits: int = 8
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        """Pixels across."""
        return int(self.light.shape[1])

    @property
    def height(self) -> int:
        """Pixels down."""
        return int(self.light.shape[0])


def srgb_to_linear(value: NDArray[Any]) -> NDArray[np.float32]:
    """Undo the sRGB transfer function (IEC 61966-2-1), 0 to 1, any shape."""
    encoded = np.asarray(value, np.float32)
    return np.where(
        encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4
    ).astype(np.float32)


def photo_from_array(samples: NDArray[Any], name: str = "array", sha256: str = "") -> Photo:
    """Make a `Photo` from decoded samples.

    Parameters
    ----------
    samples : ndarray, shape (M, N) or (M, N, C)
        uint8 or uint16 is taken as sRGB-encoded, floating point as linear light with
        the clip level at its greatest value.
    name, sha256 : str
        For messages and the record.

    Raises
    ------
    BadInput
        If the picture is too small or not finite.
    """
    planes = samples[..., None] if samples.ndim == 2 else samples[..., :3]
    if planes.shape[2] == 2:  # grey and alpha
        planes = planes[..., :1]
    height, width = planes.shape[:2]
    if min(height, width) < MIN_SIDE:
        raise BadInput(
            f"{name}: {width} x {height} pixels are too few to hold fringes; use a larger picture"
        )
    best = _choose_channel(planes, name)
    plane = planes[..., best]
    if plane.dtype.kind == "f":
        if not np.isfinite(plane).all():
            raise BadInput(f"{name}: holds values that are not numbers; export the picture again")
        top = float(plane.max()) or 1.0
        light = (plane / top).astype(np.float32)
        clipped = np.zeros(plane.shape, bool)
        bits = 8 * plane.dtype.itemsize
    else:
        top_code = int(np.iinfo(plane.dtype).max)
        table = srgb_to_linear(np.arange(top_code + 1, dtype=np.float32) / top_code)
        light = table[plane]
        clipped = plane >= top_code - (top_code // 100)
        bits = 8 * plane.dtype.itemsize
    channel = "grey" if planes.shape[2] == 1 else CHANNELS[best]
    return Photo(light, clipped, channel, name, sha256, bits)


def load_photo(path: str | Path) -> Photo:
    """Load a JPEG, PNG or TIFF photograph.

    The EXIF orientation is applied, sRGB is linearised, and the channel with the most
    light and the least clipping is taken.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Photo

    Raises
    ------
    BadInput
        If the file is missing, empty, no picture, damaged, or larger than `MAX_PIXELS`.
    """
    return photo_from_bytes(read_bytes(path), Path(path).name)


def read_bytes(path: str | Path) -> bytes:
    """Read a photograph's bytes; raises `BadInput` with the reason when that cannot be done."""
    file = Path(path)
    try:
        if file.is_dir():
            raise BadInput(f"{file}: is a folder; name the photograph in it")
        if not file.is_file():
            raise BadInput(f"{file}: no such file; check the name and the folder")
        size = file.stat().st_size
        if size == 0:
            raise BadInput(f"{file}: is empty; copy the photograph from the camera again")
        if size > MAX_BYTES:
            raise BadInput(f"{file}: {size / 1e6:.0f} MB is more than a photograph holds")
        return file.read_bytes()
    except OSError as error:
        raise BadInput(f"{file}: cannot be read ({error.strerror or error})") from error


def photo_from_bytes(data: bytes, name: str) -> Photo:
    """Decode a photograph that is already in memory; see `load_photo`."""
    samples, notes = decode(data, name)
    photo = photo_from_array(samples, name, hashlib.sha256(data).hexdigest())
    return Photo(
        photo.light, photo.clipped, photo.channel, name, photo.sha256, photo.bits, tuple(notes)
    )


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
    import warnings

    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # our own, larger bound is checked just below
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "TIFF"))
    except Image.DecompressionBombError as error:
        raise BadInput(f"{name}: claims more than {MAX_PIXELS / 1e6:.0f} megapixels") from error
    except UnidentifiedImageError as error:
        raise BadInput(
            f"{name}: is not a JPEG, PNG or TIFF picture; export the photograph as one"
        ) from error
    except Exception as error:  # a damaged header raises many kinds
        raise BadInput(f"{name}: is damaged ({error}); copy it from the camera again") from error
    with picture:
        _check_kind(picture, name)
        notes: list[str] = []
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # metadata may be garbage; the pixels count
                picture.load()
                samples = _samples(ImageOps.exif_transpose(picture), picture, data, notes)
        except BadInput:
            raise
        except Exception as error:  # truncated or damaged pixels raise many kinds
            raise BadInput(
                f"{name}: is damaged or cut short ({_first_line(error)}); copy it again"
            ) from error
    return samples, notes


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:120]


def _check_kind(picture: Image.Image, name: str) -> None:
    width, height = picture.size
    if width * height > MAX_PIXELS:
        raise BadInput(
            f"{name}: {width} x {height} pixels is more than {MAX_PIXELS / 1e6:.0f} megapixels;"
            " reduce the picture"
        )
    if picture.format != "MPO" and getattr(picture, "n_frames", 1) > 1:
        raise BadInput(f"{name}: holds {picture.n_frames} pictures; save the one to read by itself")
    if picture.mode == "1":
        raise BadInput(f"{name}: is black and white without greys; photograph in grey or colour")


def _samples(
    upright: Image.Image, original: Image.Image, data: bytes, notes: list[str]
) -> NDArray[Any]:
    deep_colour = original.format == "TIFF" and original.mode in ("RGB", "RGBA")
    if deep_colour and max(original.tag_v2.get(258, (8,))) > 8:  # type: ignore[attr-defined]
        return _deep_tiff(data, original)
    if original.format == "PNG" and original.mode in ("RGB", "RGBA") and data[24] == 16:
        notes.append("16-bit colour PNG is read at 8 bits; a 16-bit TIFF or grey PNG is read whole")
    mode = upright.mode
    if mode in ("I;16", "I;16B", "I;16L", "I;16N"):
        return np.asarray(upright).astype(np.uint16)
    if mode == "I":
        deep = np.asarray(upright)
        if deep.min() < 0 or deep.max() > 65535:
            raise BadInput(f"{original.format}: 32-bit whole numbers; save with 8 or 16 bits")
        return deep.astype(np.uint16)
    if mode == "F":
        return np.asarray(upright)
    if mode in ("L", "RGB"):
        return np.asarray(upright)
    if mode == "LA":
        return np.asarray(upright.convert("L"))
    return np.asarray(upright.convert("RGB"))


def _deep_tiff(data: bytes, original: Image.Image) -> NDArray[Any]:
    """Read 16-bit colour, which Pillow reduces to 8, through tifffile."""
    import tifffile

    samples = np.asarray(tifffile.imread(io.BytesIO(data)))
    if samples.ndim != 3 or samples.shape[2] not in (3, 4):
        samples = np.moveaxis(samples, 0, -1)  # planes stored one after the other
    return _turn(samples[..., :3], int(original.getexif().get(0x0112, 1)))


def _turn(samples: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Apply an EXIF orientation (Exif 2.3, tag 0x0112) to an array."""
    mirrored = {2: 0, 4: 2, 5: 1, 7: 3}
    if orientation in mirrored:
        return np.rot90(samples[:, ::-1], mirrored[orientation])
    quarter_turns = {3: 2, 6: 3, 8: 1}
    return np.rot90(samples, quarter_turns.get(orientation, 0))


def _choose_channel(planes: NDArray[Any], name: str) -> int:
    """Index of the channel with the most usable variation of light."""
    if planes.shape[2] == 1:
        return 0
    # every few pixels tell enough
    step = max(1, int(np.sqrt(planes.shape[0] * planes.shape[1] / 1e6)))
    thin = planes[::step, ::step]
    is_float = thin.dtype.kind == "f"
    top = float(thin.max()) if is_float else float(np.iinfo(thin.dtype).max)
    scores = []
    for index in range(planes.shape[2]):
        plane = thin[..., index].astype(np.float32) / (top or 1.0)
        bad = (plane >= 0.985).mean() if not is_float else 0.0
        light = plane if is_float else srgb_to_linear(plane)
        low, high = np.percentile(light[plane < 0.985], (5, 95)) if bad < 0.98 else (0.0, 0.0)
        scores.append(float(high - low) * (1.0 - bad) ** 4)
    return int(np.argmax(scores))
