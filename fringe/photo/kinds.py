"""Kinds of files that a camera makes, told by their first bytes."""

from __future__ import annotations

import struct

# Brands of still pictures coded by HEVC, in the file's first box (ISO/IEC 23008-12, from memory)
_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_DNG_VERSION = 50706
_MATROSKA, _RIFF = b"\x1aE\xdf\xa3", b"RIFF"


def is_dng(data: bytes) -> bool:
    """Tell a DNG file: a TIFF whose first directory has the tag of its version (DNG 1.4).

    Its first picture is often a small preview, which must not be taken for the photograph.
    """
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(data[:4])
    if order is None:
        return False
    try:
        (start,) = struct.unpack_from(f"{order}I", data, 4)
        (count,) = struct.unpack_from(f"{order}H", data, start)
        tags = [struct.unpack_from(f"{order}H", data, start + 2 + 12 * k)[0] for k in range(count)]
    except struct.error:
        return False
    return _DNG_VERSION in tags


def is_heif(data: bytes) -> bool:
    """Tell a HEIC or HEIF file by its first bytes."""
    return data[4:8] == b"ftyp" and data[8:12] in _BRANDS


def is_clip(start: bytes) -> bool:
    """Tell a film clip (MP4, MOV, 3GP, Matroska, WebM, AVI) by its first 12 bytes."""
    if start[4:8] == b"ftyp":
        return not is_heif(start) and start[8:12] != b"avif"
    return start[:4] == _MATROSKA or (start[:4] == _RIFF and start[8:12] == b"AVI ")
