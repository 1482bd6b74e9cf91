"""From a picture file's bytes to upright samples, safe with files from any source.

Size and kind are checked before any pixel is decompressed, no data are decompressed beyond the
stated size, and invalid metadata are ignored.
"""

from __future__ import annotations

import io
import logging
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo import heif
from fringe.photo.kinds import is_clip, is_dng, is_heif
from fringe.photo.raw import raw_samples

if TYPE_CHECKING:
    from PIL import Image

# Larger pictures are refused before they are decoded: no camera at a bench makes them,
# and a small file can claim any size.
MAX_PIXELS = 120_000_000
_FORMATS = ("JPEG", "PNG", "TIFF")  # JPEG opens a camera's MPO, too
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_ORIENTATION = 0x0112  # Exif 2.3
_SUBFILE, _BITS, _COMPRESSION = 254, 258, 259  # TIFF 6.0
_DEFLATE = (8, 32946)
_DEEP_KINDS = {"uint16", "float16", "float32", "float64"}
_MAX_THUMBNAILS = 8


@dataclass
class Decoded:
    """A picture in memory, its samples not copied yet.

    Attributes
    ----------
    picture : Image or ndarray, shape (M, N, C)
        Upright.
    notes : list of str
        What was lost or assumed.
    whole : tuple of 2 int or None
        Pixels across and down of the whole picture, upright, where `picture` is a reduced one.
    """

    picture: Image.Image | NDArray[Any]
    notes: list[str] = field(default_factory=list)
    whole: tuple[int, int] | None = None

    @property
    def planes(self) -> int:
        """Number of channels, 1 or 3."""
        if isinstance(self.picture, np.ndarray):
            return int(self.picture.shape[2])
        return len(self.picture.getbands())

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        if isinstance(self.picture, np.ndarray):
            return int(self.picture.shape[1]), int(self.picture.shape[0])
        return self.picture.size

    def thin(self, step: int) -> NDArray[Any]:
        """Return the middle pixel of every step by step pixels, shape (M, N, C)."""
        width, height = (side // step for side in self.size)
        if isinstance(self.picture, np.ndarray):
            middle = slice(step // 2, None, step)
            return self.picture[middle, middle][:height, :width]
        box = (0, 0, width * step, height * step)
        small = np.asarray(self.picture.resize((width, height), 0, box))  # 0: the nearest pixel
        return small if small.ndim == 3 else small[..., None]

    def take(self, index: int) -> NDArray[Any]:
        """Return one channel, shape (M, N), and let the others go."""
        picture = self.picture
        self.picture = np.empty((0, 0, 1), np.uint8)
        if isinstance(picture, np.ndarray):
            return picture[..., index]
        if len(picture.getbands()) > 1:
            channel = picture.getchannel(index)
            picture.close()
            picture = channel
        return np.asarray(picture)

    def samples(self) -> NDArray[Any]:
        """Return all channels, shape (M, N) or (M, N, 3)."""
        if isinstance(self.picture, np.ndarray):
            return self.picture if self.planes > 1 else self.picture[..., 0]
        return np.asarray(self.picture)


def decoded(data: bytes, name: str, least_px: int | None = None) -> Decoded:
    """Decode a JPEG, PNG, TIFF, HEIC or DNG file.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        Its name, for messages.
    least_px : int, optional
        For showing alone: a JPEG is decoded at a half, a quarter or an eighth, as long as its
        shorter side keeps so many pixels.

    Raises
    ------
    BadInput
        If the bytes are no picture, a damaged one, one that is too large, or of a kind that
        carries no light.
    """
    with quiet():
        if is_heif(data):
            return _heif(data, name)
        if is_dng(data):
            return Decoded(raw_samples(data, name, _check_size))
        picture = _opened(data, name)
        if picture is None:
            return _deep_tiff(data, name)
        with picture:
            _check_size(*picture.size, name)
            try:
                _check_kind(picture, name)
                if _is_deep_tiff(picture):
                    return _deep_or_not(data, name, picture)
                if least_px is not None and picture.format in ("JPEG", "MPO"):
                    return _reduced(data, name, picture, least_px)
                return _plain(data, name, picture)
            except BadInput:
                raise
            except MemoryError as error:
                raise BadInput(f"{name}: is too large for this machine's memory") from error
            except Exception as error:  # truncated or damaged pixels raise many kinds
                raise BadInput(
                    f"{name}: is damaged or cut short ({_first_line(error)}); copy it again"
                ) from error


def _heif(data: bytes, name: str) -> Decoded:
    file = heif.opened(data, name)
    width, height = file.size
    _check_size(width, height, name)
    try:
        return Decoded(heif.samples_of(file, name))
    except MemoryError as error:
        raise BadInput(f"{name}: is too large for this machine's memory") from error


@contextmanager
def quiet() -> Iterator[None]:
    """Keep the libraries' warnings about metadata off the screen."""
    # a log without a handler would be printed
    silent, logs = logging.NullHandler(), [logging.getLogger(n) for n in ("PIL", "tifffile")]
    for log in logs:
        log.addHandler(silent)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        for log in logs:
            log.removeHandler(silent)


def _opened(data: bytes, name: str) -> Image.Image | None:
    """The picture with its size known and no pixel decoded; None for a TIFF of a rare kind."""
    from PIL import Image, UnidentifiedImageError

    try:
        return Image.open(io.BytesIO(data), formats=_FORMATS)
    except Image.DecompressionBombError as error:
        raise BadInput(f"{name}: claims more than {MAX_PIXELS / 1e6:.0f} megapixels") from error
    except UnidentifiedImageError as error:
        if data[:4] in _TIFF_STARTS:
            return None
        if is_clip(data[:12]):
            raise BadInput(
                f"{name}: is a film clip; its frames are read as one with --burst"
            ) from error
        raise BadInput(
            f"{name}: is not a JPEG, PNG, TIFF or HEIC picture; export the photograph as one"
        ) from error
    except Exception as error:  # a damaged header raises many kinds
        raise BadInput(
            f"{name}: is damaged ({_first_line(error)}); copy it from the camera again"
        ) from error


def _check_size(width: int, height: int, name: str) -> None:
    if width * height > MAX_PIXELS:
        raise BadInput(
            f"{name}: {width} x {height} pixels is more than {MAX_PIXELS / 1e6:.0f} megapixels;"
            " reduce the picture"
        )


def _check_kind(picture: Image.Image, name: str) -> None:
    """Refuse before decoding a file without grey levels, or with more than one picture."""
    # a camera's MPO holds a preview or a second view after the photograph itself
    several = picture.format != "MPO" and getattr(picture, "is_animated", False)
    if several and not (picture.format == "TIFF" and _only_thumbnails(picture)):
        raise BadInput(f"{name}: holds several pictures; save the one to read by itself")
    if picture.mode == "1":
        raise BadInput(f"{name}: is black and white without greys; photograph in grey or colour")
    if picture.mode not in ("L", "LA", "RGB", "RGBA", "P", "PA", "I", "F", *_GREY16):
        raise BadInput(
            f"{name}: has the colours of a printer or a painter ({picture.mode}), not of a camera;"
            " export it in grey or RGB"
        )


_GREY16 = ("I;16", "I;16B", "I;16L", "I;16N")


def _only_thumbnails(picture: Image.Image) -> bool:
    """Whether all pictures of a TIFF after the first say that they are reduced copies of it."""
    try:
        for page in range(1, _MAX_THUMBNAILS + 2):
            picture.seek(page)
            if not picture.tag_v2.get(_SUBFILE, 0) & 1:  # type: ignore[attr-defined]
                return False
        return False
    except EOFError:
        return True
    finally:
        picture.seek(0)


def _is_deep_tiff(picture: Image.Image) -> bool:
    """Whether it has more than 8 bits of colour, which Pillow would reduce."""
    if picture.format != "TIFF" or picture.mode not in ("RGB", "RGBA"):
        return False
    return bool(max(picture.tag_v2.get(_BITS, (8,))) > 8)  # type: ignore[attr-defined]


def _plain(data: bytes, name: str, picture: Image.Image) -> Decoded:
    """A picture that Pillow decodes without loss."""
    notes = []
    picture.load()
    colour = picture.mode in ("RGB", "RGBA")
    if picture.format == "PNG" and colour and data[24:25] == b"\x10":
        notes.append("16-bit colour PNG is read at 8 bits; a 16-bit TIFF or grey PNG is read whole")
    if picture.mode in ("LA", "RGBA", "PA") and picture.getextrema()[-1] != (255, 255):
        notes.append("the picture is partly transparent; the transparency is ignored")
    if picture.mode in ("P", "PA"):
        notes.append("the picture has a palette of few colours; save it in grey or full colour")
    upright = _upright(picture)
    if upright.mode in ("LA", "RGBA"):  # without mixing in the transparency
        bands = upright.split()[:-1]
        upright = bands[0] if len(bands) == 1 else _merged(bands)
    elif upright.mode in ("P", "PA"):
        upright = upright.convert("RGBA").convert("RGB")
    elif upright.mode in (*_GREY16, "I", "F"):
        return Decoded(_deep_grey(upright, picture, name)[..., None], notes)
    return Decoded(upright, notes)


def _reduced(data: bytes, name: str, picture: Image.Image, least_px: int) -> Decoded:
    """A JPEG at a fraction of its size, all of its data read and checked."""
    across, down = picture.size
    picture.draft(None, (least_px, least_px))  # type: ignore[arg-type]  # None: the same colours
    small = _plain(data, name, picture)
    on_its_side = small.size == picture.size[::-1]
    return replace(small, whole=(down, across) if on_its_side else (across, down))


def _merged(bands: tuple[Image.Image, ...]) -> Image.Image:
    from PIL import Image

    return Image.merge("RGB", bands)


def _upright(picture: Image.Image) -> Image.Image:
    """Turn a loaded picture by its EXIF orientation, if that is valid."""
    from PIL import Image

    turn = Image.Transpose
    ways = {
        2: turn.FLIP_LEFT_RIGHT,
        3: turn.ROTATE_180,
        4: turn.FLIP_TOP_BOTTOM,
        5: turn.TRANSPOSE,
        6: turn.ROTATE_270,
        7: turn.TRANSVERSE,
        8: turn.ROTATE_90,
    }
    try:
        way = ways.get(picture.getexif().get(_ORIENTATION, 1))
    except Exception:  # garbage in the metadata raises many kinds
        way = None
    return picture if way is None else picture.transpose(way)


def _deep_grey(upright: Image.Image, picture: Image.Image, name: str) -> NDArray[Any]:
    samples = np.asarray(upright)
    if upright.mode == "F":
        return samples
    if upright.mode == "I" and (samples.min() < 0 or samples.max() > 65535):
        raise BadInput(f"{name}: holds 32-bit whole numbers; save with 8 or 16 bits")
    deep = samples.astype(np.uint16)
    tags = getattr(picture, "tag_v2", {})
    if max(tags.get(_BITS, (16,))) == 12 and deep.max() < 4096:
        return (deep << 4 | deep >> 8).astype(np.uint16)  # so that 4095 becomes 65535
    return deep


def _deep_or_not(data: bytes, name: str, picture: Image.Image) -> Decoded:
    """All bits of a deep colour TIFF; the upper 8 where only Pillow can unpack it."""
    if picture.tag_v2.get(_COMPRESSION, 1) in (1, *_DEFLATE):  # type: ignore[attr-defined]
        return _deep_tiff(data, name)
    picture8 = _plain(data, name, picture)
    picture8.notes.append(
        "16-bit colour packed in this way is read at 8 bits; save the TIFF unpacked or with ZIP"
    )
    return picture8


def _deep_tiff(data: bytes, name: str) -> Decoded:
    """Read 16-bit or floating-point colour, which Pillow reduces or does not know."""
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page = file.pages.first
            _check_deep(page, name)
            if page.compression in _DEFLATE:
                _check_packed(data, page, name)
            samples = page.asarray(maxworkers=1)
            turn = page.tags.get(_ORIENTATION)
            orientation = 1 if turn is None else turn.value
    except BadInput:
        raise
    except MemoryError as error:
        raise BadInput(f"{name}: is too large for this machine's memory") from error
    except Exception as error:  # damaged structure raises many kinds
        raise BadInput(
            f"{name}: is damaged or cut short ({_first_line(error)}); copy it again"
        ) from error
    planes = samples.reshape(page.shape)
    if page.axes == "SYX":  # planes stored one after the other
        planes = np.moveaxis(planes, 0, -1)
    elif page.axes == "YX":
        planes = planes[..., None]
    colours = 1 if planes.shape[2] < 3 else 3
    return Decoded(turned(planes[..., :colours], orientation))


def _check_deep(page: Any, name: str) -> None:
    """Refuse before decoding a TIFF that is too large, or of a kind that is not supported."""
    _check_size(page.imagewidth, page.imagelength, name)
    known = (
        page.axes in ("YX", "YXS", "SYX")
        and page.samplesperpixel <= 4
        and str(page.dtype) in _DEEP_KINDS
        and page.compression in (1, *_DEFLATE)
        and page.photometric in (1, 2)
        and page.predictor in (1, 2)
    )
    if not known:
        raise BadInput(
            f"{name}: is a TIFF of a kind that is not read; save it unpacked with 8 or 16 bits"
        )


def _check_packed(data: bytes, page: Any, name: str) -> None:
    """Decompress each strip or tile once without keeping it: none may exceed its stated size."""
    samples = page.samplesperpixel if page.planarconfig == 1 else 1
    pixels = (
        page.tilewidth * page.tilelength
        if page.is_tiled
        else page.imagewidth * min(page.rowsperstrip, page.imagelength)
    )
    _check_size(1, pixels, name)
    limit = pixels * samples * page.dtype.itemsize
    for start, count in zip(page.dataoffsets, page.databytecounts, strict=False):
        packer = zlib.decompressobj()
        unpacked = len(packer.decompress(data[start : start + count], limit + 1))
        if unpacked > limit:
            raise BadInput(f"{name}: unpacks to more than its size says; export it again")


def turned(samples: NDArray[Any], orientation: Any) -> NDArray[Any]:
    """Apply an EXIF orientation (Exif 2.3, tag 0x0112) to an array of shape (M, N, ...)."""
    try:
        value = int(orientation)
    except (TypeError, ValueError):
        return samples
    mirrored = {2: 0, 4: 2, 5: 1, 7: 3}
    if value in mirrored:
        return np.rot90(samples[:, ::-1], mirrored[value])
    quarter_turns = {3: 2, 6: 3, 8: 1}
    return np.rot90(samples, quarter_turns.get(value, 0))


def _first_line(error: Exception) -> str:
    return (" ".join(str(error).split()) or type(error).__name__)[:120]
