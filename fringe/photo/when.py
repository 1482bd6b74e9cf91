"""Time of a photograph: from the camera's EXIF data, else from the file's date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any, BinaryIO

from fringe.errors import BadInput
from fringe.photo.heif import exif_of
from fringe.photo.kinds import is_heif

# EXIF 2.32, tags of the sub-IFD
_EXIF_IFD = 0x8769
_TAKEN, _SUBSECOND, _OFFSET = 0x9003, 0x9291, 0x9011


def times_min(paths: Sequence[Path]) -> tuple[list[float], str]:
    """Minutes from the first photograph, all by one clock.

    Parameters
    ----------
    paths : sequence of Path
        At least one photograph.

    Returns
    -------
    minutes : list of float
        In the order of the paths; the earliest is zero.
    source : {'camera', 'file'}
        Whose clock it was.

    Raises
    ------
    BadInput
        If a file cannot be opened.
    """
    taken = [camera_time(path) for path in paths]
    camera_times = [time for time in taken if time is not None]
    if len(camera_times) == len(paths) and len({time.tzinfo is None for time in camera_times}) == 1:
        first = min(camera_times)
        return [(time - first).total_seconds() / 60 for time in camera_times], "camera"
    file_times = [file_time(path) for path in paths]
    return [(time - min(file_times)) / 60 for time in file_times], "file"


def camera_time(path: Path | BinaryIO) -> datetime | None:
    """Time recorded by the camera (EXIF DateTimeOriginal), with its zone if that is recorded.

    Returns
    -------
    datetime or None
        None where it is not recorded, or not valid.

    Raises
    ------
    BadInput
        If the file cannot be opened.
    """
    try:
        notes = camera_notes(path)
    except FileNotFoundError as error:
        raise BadInput(f"{path}: there is no such photograph") from error
    except Exception:  # damaged metadata raise many kinds; there is no time in them
        return None
    return _parsed(notes)


def camera_notes(path: Path | BinaryIO) -> Any:
    """What the camera noted of a photograph: the EXIF sub-IFD, its values by their tags.

    Damaged notes raise many kinds of errors.
    """
    from PIL import Image

    heic = _heic_bytes(path)
    if heic is not None:
        return exif_of(heic, "photograph").get_ifd(_EXIF_IFD)
    with Image.open(path) as image:
        return image.getexif().get_ifd(_EXIF_IFD)


def _heic_bytes(path: Path | BinaryIO) -> bytes | None:
    """All bytes of a HEIC file; None of another, which is left at its start."""
    if isinstance(path, Path):
        with path.open("rb") as file:
            return _heic_bytes(file)
    start = path.read(12)
    path.seek(0)
    return path.read() if is_heif(start) else None


def taken_text(path: Path) -> str:
    """Say when a photograph was taken: by the camera's note, else since when the file is there.

    Returns
    -------
    str
        For example ``2026-03-14 09:30``, or ``file of 2026-03-14 09:30``.

    Raises
    ------
    BadInput
        If the file cannot be opened.
    """
    noted = camera_time(path)
    if noted is not None:
        return f"{noted:%Y-%m-%d %H:%M}"
    return f"file of {datetime.fromtimestamp(file_time(path)):%Y-%m-%d %H:%M}"


def notes_of_time(when: datetime) -> bytes:
    """EXIF data that say when a picture was taken, by the clock here, for a file to be written."""
    from PIL import Image

    local = when.astimezone()
    notes = Image.Exif()
    written = notes.get_ifd(_EXIF_IFD)
    written[_TAKEN] = f"{local:%Y:%m:%d %H:%M:%S}"
    written[_SUBSECOND] = f"{local.microsecond // 1000:03d}"
    offset = f"{local:%z}"
    written[_OFFSET] = f"{offset[:3]}:{offset[3:5]}"
    return notes.tobytes()


def _parsed(notes: Any) -> datetime | None:
    try:
        time = datetime.strptime(str(notes[_TAKEN]).strip("\0 "), "%Y:%m:%d %H:%M:%S")
        part = str(notes.get(_SUBSECOND, "")).strip("\0 ")
        if part.isdigit():
            time += timedelta(seconds=float(f"0.{part}"))
        offset = str(notes.get(_OFFSET, "")).strip("\0 ")
        if offset:
            hours, minutes = int(offset[:3]), int(offset[0] + offset[4:6])
            time = time.replace(tzinfo=timezone(timedelta(hours=hours, minutes=minutes)))
    except (KeyError, ValueError, IndexError, OverflowError, TypeError):
        return None
    return time


def file_time(path: Path) -> float:
    """When a file was written last, in seconds since 1970; `BadInput` if it cannot be read."""
    try:
        return path.stat().st_mtime
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
