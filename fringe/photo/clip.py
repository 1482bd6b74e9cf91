"""A film clip of one contact: the frames that are read, each as samples or as a picture file.

The decoder comes with the extra `video` and is imported for clips only.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.clip_frames import choose_frames
from fringe.photo.heif import srgb_of_hlg
from fringe.photo.kinds import is_clip
from fringe.photo.load import MAX_BYTES, MAX_PIXELS
from fringe.photo.srgb import linear_to_srgb

FRAMES = 8  # that are chosen; eight serve a burst well
MAX_SECONDS = 60.0
_MOST_SEEN = 600  # frames that are looked at: twenty seconds of thirty a second
_MANY = 48  # frames of a clip, from which those are skipped that no other is decoded from
_HELD_BYTES = 160e6  # of decoded frames, up to which a clip need not be decoded again
_LOOK_PX = 320  # longer side of a frame when frames are chosen
# Transfer characteristics (ITU-T H.273, from memory)
_SRGB, _PQ, _HLG = 13, 16, 18


@dataclass(frozen=True)
class ClipFrame:
    """A frame, and the picture file that it is kept as.

    Attributes
    ----------
    name : str
        Of the clip and the frame's time in it.
    samples : ndarray of uint8 or uint16, shape (M, N, 3)
        sRGB-encoded.
    time_s : float
        From the clip's start.
    taken : datetime or None
        When, as the camera noted it.
    """

    name: str
    samples: NDArray[Any]
    time_s: float
    taken: datetime | None = None

    @cached_property
    def data(self) -> bytes:
        """The frame as a PNG, or a TIFF where it has more than 8 bits; made when asked for."""
        if self.samples.dtype == np.uint16:
            return _tiff(self.samples)
        return _png(self.samples, self.taken)


def is_clip_file(path: Path) -> bool:
    """Tell a film clip by its file; False for one that cannot be opened."""
    try:
        with path.open("rb") as file:
            return is_clip(file.read(12))
    except OSError:
        return False


def frames_of_clip(path: Path, count: int = FRAMES) -> list[ClipFrame]:
    """Choose and decode the frames of a clip that are sharp, still and spread over the fringes.

    Parameters
    ----------
    path : Path
        The clip, of at most `MAX_SECONDS`.
    count : int
        Frames that are wanted.

    Returns
    -------
    list of ClipFrame
        In their order in time, upright, sRGB-encoded.

    Raises
    ------
    BadInput
        If the decoder is not installed, or the clip is damaged, too long, too large, or coded for
        HDR screens (PQ).
    """
    times: list[float] = []
    thumbnails: list[NDArray[np.float32]] = []
    held: list[Any] | None = []
    for frame in _frames(path):
        if len(thumbnails) == _MOST_SEEN:
            break
        times.append(float(frame.time or 0.0))
        thumbnails.append(_thumbnail(frame))
        if held is not None:
            held.append(frame)
            held = held if len(held) * _bytes_of(frame) < _HELD_BYTES else None
    if not thumbnails:
        raise _damaged(path)
    chosen = choose_frames(np.stack(thumbnails), count)
    taken = _taken(path)
    wanted = set(chosen)
    return [
        _as_file(path, frame, times[k], taken)
        for k, frame in enumerate(_frames(path, last=chosen[-1]) if held is None else held)
        if k in wanted
    ]


def _bytes_of(frame: Any) -> float:
    """Memory of a decoded frame, its colours at half the resolution."""
    return 1.5 * float(frame.width * frame.height) * (2 if _is_deep(frame) else 1)


def _is_deep(frame: Any) -> bool:
    return bool(frame.format.components[0].bits > 8)


def _frames(path: Path, last: int | None = None) -> Iterator[Any]:
    """Decoded frames in their order, up to the one numbered `last`."""
    av = _decoder()
    try:
        if path.stat().st_size > MAX_BYTES:
            raise BadInput(f"{path.name}: more than {MAX_BYTES / 1e6:.0f} MB; film a few seconds")
        with av.open(str(path), metadata_errors="ignore") as film:
            if not film.streams.video:
                raise BadInput(f"{path.name}: has no picture in it; film the fringes again")
            stream = film.streams.video[0]
            _check(path, film, stream)
            stream.thread_type = "AUTO"
            if _frame_count(film, stream) >= _MANY:
                # of many codecs every other frame, or more: enough to choose from, in half the time
                stream.codec_context.skip_frame = "NONREF"
            for k, frame in enumerate(film.decode(stream)):
                yield frame
                if k == last:
                    return
    except (av.error.FFmpegError, ValueError) as error:
        raise _damaged(path) from error
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error})") from error


def _frame_count(film: Any, stream: Any) -> float:
    """Count of a clip's frames, by what the file says of itself; 0 where it does not."""
    if stream.frames:
        return float(stream.frames)
    return float(stream.average_rate or 0) * (film.duration or 0) / 1e6


def _decoder() -> Any:
    try:
        import av
    except ImportError as error:
        raise BadInput(
            "a clip is read with the extra `video`, which is not installed:"
            " pip install -e '.[video]' where fringe lies; or give single frames"
        ) from error
    av.logging.set_level(None)
    return av


def _damaged(path: Path) -> BadInput:
    return BadInput(f"{path.name}: is a clip that cannot be decoded; copy it from the camera again")


def _check(path: Path, film: Any, stream: Any) -> None:
    """Refuse what is too long or too large before a frame is decoded."""
    seconds = (film.duration or 0) / 1e6
    if seconds > MAX_SECONDS:
        raise BadInput(
            f"{path.name}: lasts {seconds:.0f} s; film three to ten seconds while you press gently"
        )
    if stream.width * stream.height > MAX_PIXELS:
        raise BadInput(f"{path.name}: has frames of more than {MAX_PIXELS / 1e6:.0f} megapixels")


def _thumbnail(frame: Any) -> NDArray[np.float32]:
    """Light of a frame at a reduced size, shape (M, N); only to tell frames apart."""
    step = max(1, max(frame.width, frame.height) // _LOOK_PX)
    small = frame.reformat(frame.width // step, frame.height // step, "gray", interpolation="AREA")
    return np.asarray(small.to_ndarray(), np.float32)


def _as_file(path: Path, frame: Any, time_s: float, taken: datetime | None) -> ClipFrame:
    deep = _is_deep(frame)
    samples = frame.to_ndarray(format="rgb48le" if deep else "rgb24")
    samples = _srgb(samples, int(frame.color_trc), path)
    samples = np.ascontiguousarray(np.rot90(samples, round(frame.rotation / 90) % 4))
    when = None if taken is None else taken + timedelta(seconds=time_s)
    ending = "tif" if deep else "png"
    return ClipFrame(f"{path.stem}-{1000 * time_s:05.0f}ms.{ending}", samples, time_s, when)


def _srgb(samples: NDArray[Any], curve: int, path: Path) -> NDArray[Any]:
    """Samples by sRGB's curve, from that of the clip."""
    if curve == _PQ:
        raise BadInput(f"{path.name}: is coded for HDR screens (PQ); film without HDR")
    if curve == _SRGB:
        return samples
    top = int(np.iinfo(samples.dtype).max)
    value = np.arange(top + 1) / top
    table = srgb_of_hlg(value) if curve == _HLG else linear_to_srgb(_light_of_video(value))
    return np.asarray(np.rint(top * table).astype(samples.dtype)[samples])


def _light_of_video(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Undo the camera's curve of ITU-R BT.709 (and BT.601, BT.2020), 0 to 1; from memory."""
    return np.where(value < 0.081, value / 4.5, ((value + 0.099) / 1.099) ** (1 / 0.45))


def _png(samples: NDArray[np.uint8], when: datetime | None) -> bytes:
    from PIL import Image

    from fringe.photo.when import notes_of_time

    file = io.BytesIO()
    notes = {} if when is None else {"exif": notes_of_time(when)}
    # by runs alone, which of photographs is as small, and quicker
    Image.fromarray(samples).save(file, "PNG", compress_level=1, compress_type=zlib.Z_RLE, **notes)
    return file.getvalue()


def _tiff(samples: NDArray[np.uint16]) -> bytes:
    import tifffile

    file = io.BytesIO()
    tifffile.imwrite(file, samples, photometric="rgb", compression="zlib", metadata=None)
    return file.getvalue()


def _taken(path: Path) -> datetime | None:
    """When the clip was begun, as the camera noted it."""
    av = _decoder()
    try:
        with av.open(str(path), metadata_errors="ignore") as film:
            return datetime.fromisoformat(film.metadata.get("creation_time", ""))
    except (av.error.FFmpegError, ValueError, OSError):
        return None
