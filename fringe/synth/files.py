"""Write a rendered photograph and the truth beside it."""

from __future__ import annotations

import io
import json
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from fringe.errors import BadInput
from fringe.files import check_file, write_whole
from fringe.synth.rendering import Rendered

Samples = NDArray[np.uint8] | NDArray[np.uint16]
FORMATS = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG", ".tif": "TIFF", ".tiff": "TIFF"}
_ORIENTATION_TAG = 0x0112


def truth_path(path: str | Path) -> Path:
    """Where the truth of a photograph stands: the same name with `.json`."""
    return Path(path).with_suffix(".json")


def with_ending(path: str | Path, ending: str) -> Path:
    """Path of one picture of a series: the ending stands before the suffix."""
    target = Path(path)
    return target.with_name(f"{target.stem}{ending}{target.suffix}") if ending else target


def check_target(
    path: str | Path, bits: int, *, force: bool = False, option: str | None = None
) -> Path:
    """Say whether a photograph can be written there, before the work of rendering it.

    Raises
    ------
    BadInput
        For an ending that is not a picture's, bits that the format has not, what
        :func:`fringe.files.check_file` finds of photograph and truth, or a file that is
        already there unless `force`. The line begins with `option` where it is given.
    """
    target = check_file(Path(path), endings=FORMATS, option=option)
    check_file(truth_path(target), option=option)
    where = f"{option}: " if option else ""
    if FORMATS[target.suffix.lower()] == "JPEG" and bits == 16:
        raise BadInput(f"{where}{target}: JPEG holds 8 bits; the name must end in .png or .tif")
    for file in (target, truth_path(target)):
        if file.exists() and not force:
            raise BadInput(f"{file}: is there already; choose another name or give --force")
    return target


def save(rendered: Rendered, path: str | Path, *, force: bool = True) -> Path:
    """Write photograph and truth, each whole or not at all.

    Parameters
    ----------
    rendered : Rendered
    path : str or Path
        Ends in .jpg, .png or .tif; the truth goes to the same name with .json.
    force : bool
        Write over what is there.

    Returns
    -------
    Path
        Of the photograph.

    Raises
    ------
    BadInput
        As `check_target`, or when the disk refuses.
    """
    target = check_target(path, rendered.scene.camera.bits, force=force)
    camera = rendered.scene.camera
    kind = FORMATS[target.suffix.lower()]
    picture = encode(rendered.image, kind, camera.quality, camera.orientation)
    truth = json.dumps(rendered.truth, indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(truth_path(target), truth.encode())
    return write_whole(target, picture)


def save_all(
    series: Sequence[tuple[str, Rendered]], path: str | Path, *, force: bool
) -> list[tuple[Path, Rendered]]:
    """Write a series under one name and its endings; every name is checked before the first."""
    for ending, shot in series:
        check_target(with_ending(path, ending), shot.scene.camera.bits, force=force)
    return [(save(shot, with_ending(path, ending), force=force), shot) for ending, shot in series]


def save_picture(image: Samples, path: str | Path, quality: int = 92) -> Path:
    """Write samples alone, whole or not at all; raises `BadInput` as `save`."""
    target = check_target(path, image.dtype.itemsize * 8, force=True)
    return write_whole(target, encode(image, FORMATS[target.suffix.lower()], quality))


def encode(image: Samples, kind: str, quality: int = 92, orientation: int = 1) -> bytes:
    """Encode an upright picture.

    Parameters
    ----------
    image : ndarray of uint8 or uint16, shape (M, N) or (M, N, 3)
    kind : str
        `JPEG` (4:2:0), `PNG` or `TIFF`.
    quality : int
        Of JPEG.
    orientation : int
        EXIF orientation; the samples are stored turned so that a reader turns them upright.
    """
    stored: Samples = np.ascontiguousarray(_stored(image, orientation))  # type: ignore[assignment]
    if stored.dtype == np.uint16 and stored.ndim == 3:
        exif_free = orientation == 1
        if not exif_free:
            raise BadInput("16 bit colour is written without EXIF; use orientation 1 or 8 bit")
        return _png16(stored) if kind == "PNG" else _tiff16(stored)
    picture = Image.fromarray(stored)
    options: dict[str, Any] = {}
    if orientation != 1:
        exif = Image.Exif()
        exif[_ORIENTATION_TAG] = orientation
        options["exif"] = exif
    if kind == "JPEG":
        options |= {"quality": quality, "subsampling": "4:2:0"}
    if kind == "PNG":
        options |= {"compress_level": 3}
    buffer = io.BytesIO()
    picture.save(buffer, format=kind, **options)
    return buffer.getvalue()


def _stored(image: Samples, orientation: int) -> Samples:
    """Samples as a camera held that way would store them: the inverse of EXIF's turn."""
    turns: dict[int, Any] = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }
    turned: Samples = turns[orientation](image)
    return turned


def _png16(image: Samples) -> bytes:
    """PNG with 16 bits a sample, which Pillow cannot write in colour (PNG specification)."""
    rows, columns, _ = image.shape
    lines = np.zeros((rows, 1 + columns * 6), np.uint8)  # filter type 0 before each row
    lines[:, 1:] = image.astype(">u2").view(np.uint8).reshape(rows, columns * 6)

    def chunk(tag: bytes, body: bytes) -> bytes:
        check = zlib.crc32(tag + body)
        return struct.pack(">I", len(body)) + tag + body + struct.pack(">I", check)

    header = struct.pack(">IIBBBBB", columns, rows, 16, 2, 0, 0, 0)
    body = zlib.compress(lines.tobytes(), 3)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


def _tiff16(image: Samples) -> bytes:
    import tifffile

    buffer = io.BytesIO()
    tifffile.imwrite(buffer, image, photometric="rgb", metadata=None)
    return buffer.getvalue()
