"""Load several frames of one contact, all in the same colour channel."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fringe.photo.load import CHANNELS, Photo, decode, load_photo, photo_from_array, read_bytes


def load_frames(paths: Sequence[str | Path]) -> list[Photo]:
    """Load photographs in the channel that is best in the first of them.

    Each photograph alone takes its own best channel; frames that are solved together must
    show the same light.

    Parameters
    ----------
    paths : sequence of str or Path

    Returns
    -------
    list of Photo
        In the order of `paths`.

    Raises
    ------
    BadInput
        As `load_photo`.
    """
    frames: list[Photo] = []
    for path in paths:
        photo = load_photo(path)
        if frames and photo.channel != frames[0].channel and frames[0].channel in CHANNELS:
            photo = _in_channel(path, photo, frames[0].channel)
        frames.append(photo)
    return frames


def _in_channel(path: str | Path, photo: Photo, channel: str) -> Photo:
    """The same photograph in another channel; a grey one stays as it is."""
    data = read_bytes(path)
    samples, notes = decode(data, photo.name)
    if samples.ndim != 3:
        return photo
    plane = samples[..., CHANNELS.index(channel)]
    again = photo_from_array(plane, photo.name, hashlib.sha256(data).hexdigest())
    return replace(again, channel=channel, notes=tuple(notes))
