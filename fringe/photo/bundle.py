"""Frames that a live view took one after the other, in one file on their way to the bench.

The file is a line of letters, then each frame: its length in four bytes, the first the greatest,
and a JPEG. Frames stay the bytes that the camera's page made of them.
"""

from __future__ import annotations

import io
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.clip import FRAMES
from fringe.photo.clip_frames import choose_frames
from fringe.photo.frames import FrameFile
from fringe.photo.load import MAX_PIXELS

MARK = b"fringe frames 1\n"
MOST_FRAMES = 60
_LENGTH = 4
_LOOK_PX = 320  # longer side of a frame when frames are chosen


def is_bundle(head: bytes) -> bool:
    """Tell such a file by its first bytes."""
    return head.startswith(MARK)


def bundled(frames: list[bytes]) -> bytes:
    """Put frames into one file."""
    return MARK + b"".join(len(one).to_bytes(_LENGTH, "big") + one for one in frames)


def frames_of_bundle(data: bytes, name: str, count: int = FRAMES) -> list[FrameFile]:
    """Choose the frames that are sharp, still and spread over what the fringes did.

    Parameters
    ----------
    data : bytes
    name : str
        Of the file, for messages and for the frames' names.
    count : int
        Frames that are wanted.

    Raises
    ------
    BadInput
        If the file is cut short, holds too many frames, or one that is no JPEG or of another size.
    """
    frames = _parts(data, name)
    thumbnails = [_thumbnail(one, name) for one in frames]
    if len({one.shape for one in thumbnails}) > 1:
        raise BadInput(f"{name}: its frames differ in size; hold the camera one way, and again")
    stem = PurePath(name).stem
    chosen = choose_frames(np.stack(thumbnails), count)
    return [FrameFile(f"{stem}-{k + 1:02d}.jpg", frames[k]) for k in chosen]


def _parts(data: bytes, name: str) -> list[bytes]:
    place, found = len(MARK), list[bytes]()
    while place < len(data):
        size = int.from_bytes(data[place : place + _LENGTH], "big")
        place += _LENGTH
        found.append(data[place : place + size])
        if not size or len(found[-1]) < size or len(found) > MOST_FRAMES:
            raise BadInput(f"{name}: is no whole burst; take it again")
        place += size
    if not found:
        raise BadInput(f"{name}: is no whole burst; take it again")
    return found


def _thumbnail(frame: bytes, name: str) -> NDArray[np.float32]:
    """Light of a frame at a reduced size; only to tell frames apart."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(frame), formats=["JPEG"]) as picture:
            if picture.width * picture.height > MAX_PIXELS:
                raise BadInput(f"{name}: has frames of more than {MAX_PIXELS / 1e6:.0f} megapixels")
            picture.draft("L", (2 * _LOOK_PX, 2 * _LOOK_PX))
            small = picture.convert("L")
            small.thumbnail((_LOOK_PX, _LOOK_PX))
            return np.asarray(small, np.float32)
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        raise BadInput(f"{name}: holds a frame that cannot be decoded; take it again") from error
