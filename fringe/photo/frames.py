"""Load several frames of one contact, all in the same colour channel."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.errors import BadInput
from fringe.photo.clip import ClipFrame, frames_of_clip, is_clip_file
from fringe.photo.load import (
    CHANNELS,
    Photo,
    decode,
    photo_from_array,
    photo_from_bytes,
    read_bytes,
)


def load_frames(paths: Sequence[str | Path], *, keep_samples: bool = False) -> list[Photo]:
    """Load photographs, or a film clip, in the channel that is best in the first frame.

    Each photograph alone takes its own best channel; frames that are solved together must
    show the same light.

    Parameters
    ----------
    paths : sequence of str or Path
    keep_samples : bool
        Keep all channels of the first frame as well, so that it can be shown.

    Returns
    -------
    list of Photo
        In the order of `paths`, or in time.

    Raises
    ------
    BadInput
        As `load_photo`.
    """
    clip = _only_clip(paths)
    if clip is not None:
        return _frames_of(frames_of_clip(clip), keep_samples=keep_samples)
    files = frame_files(paths)
    frames = frames_from_bytes([(one.data, one.name) for one in files])
    if not keep_samples:
        return frames
    samples, _ = decode(files[0].data, files[0].name)
    return [replace(frames[0], samples=samples), *frames[1:]]


@dataclass(frozen=True)
class FrameFile:
    """A frame's name and bytes."""

    name: str
    data: bytes


def frame_files(paths: Sequence[str | Path]) -> list[FrameFile]:
    """Read the files of frames; the chosen frames of a film clip take its place.

    Raises
    ------
    BadInput
        As `load_photo` and :func:`fringe.photo.clip.frames_of_clip`; or for a clip and something
        else beside it.
    """
    clip = _only_clip(paths)
    if clip is not None:
        return [FrameFile(one.name, one.data) for one in frames_of_clip(clip)]
    return [FrameFile(Path(path).name, read_bytes(path)) for path in paths]


def _only_clip(paths: Sequence[str | Path]) -> Path | None:
    """The clip that is given, which must be by itself; None where there is none."""
    files = [Path(path) for path in paths]
    clips = [path for path in files if is_clip_file(path)]
    if clips and len(files) > 1:
        raise BadInput(f"{clips[0].name}: is a clip; give one clip by itself, or photographs")
    return clips[0] if clips else None


def _frames_of(frames: Sequence[ClipFrame], *, keep_samples: bool) -> list[Photo]:
    """Frames of a clip without the way through files; their digests are of the samples."""
    photos: list[Photo] = []
    for frame in frames:
        digest = hashlib.sha256(frame.samples.tobytes()).hexdigest()
        photo = photo_from_array(frame.samples, frame.name, digest)
        if photos and photo.channel != photos[0].channel:
            photo = photo.in_channel(photos[0].channel)
        photos.append(photo)
    if keep_samples:
        photos[0] = replace(photos[0], samples=frames[0].samples)
    return photos


def frames_from_bytes(
    files: Sequence[tuple[bytes, str] | tuple[bytes, str, str]],
) -> list[Photo]:
    """Decode frames in memory, each with its name and digest if known; see `load_frames`."""
    frames: list[Photo] = []
    for data, *known in files:
        photo = photo_from_bytes(data, *known)
        if frames and frames[0].channel in CHANNELS:
            photo = photo.in_channel(frames[0].channel)
        frames.append(photo)
    return frames


def check_alike(photos: Sequence[Photo]) -> None:
    """Raise BadInput unless frames are of one size and colour, and each another photograph."""
    first, seen = photos[0], dict[str, str]()
    for photo in photos:
        if (photo.width, photo.height) != (first.width, first.height):
            raise BadInput(
                f"{photo.name}: {photo.width} x {photo.height} pixels, but {first.name} has"
                f" {first.width} x {first.height}; frames of a burst are of one size"
            )
        if photo.channel != first.channel:
            raise BadInput(
                f"{photo.name}: its fringes are clearest in {photo.channel}, those of {first.name}"
                f" in {first.channel}; keep the camera's exposure and white balance fixed"
            )
        if photo.sha256 and photo.sha256 in seen:
            raise BadInput(
                f"{photo.name}: is the same photograph as {seen[photo.sha256]}; give each once"
            )
        seen[photo.sha256] = photo.name
