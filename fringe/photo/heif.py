"""HEIC and HEIF, what many telephones take; the decoder is imported for such files only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.srgb import linear_to_srgb

if TYPE_CHECKING:
    from PIL import Image

# Transfer characteristics (ITU-T H.273, from memory): of HDR, the others go by sRGB's curve here
_PQ, _HLG = 16, 18
_HLG_A = 0.17883277  # ITU-R BT.2100, table 5, from memory


def opened(data: bytes, name: str) -> Any:
    """The file with its size known and no pixel decoded; raises `BadInput` for a damaged one."""
    import pi_heif

    try:
        return pi_heif.open_heif(data, convert_hdr_to_8bit=False)
    except Exception as error:  # a damaged or unknown structure raises many kinds
        raise not_decoded(name) from error


def not_decoded(name: str) -> BadInput:
    """The one line for a file that the decoder does not take."""
    return BadInput(
        f"{name}: is a HEIC picture that cannot be decoded; copy it again, or export it as JPEG"
    )


def samples_of(file: Any, name: str) -> NDArray[Any]:
    """Decode the primary picture.

    The decoder turns it upright by the file's own boxes, so that the EXIF orientation says no more.

    Returns
    -------
    ndarray of uint8 or uint16, shape (M, N, 1) or (M, N, 3)
        By sRGB's curve, which Display P3 shares; more than 8 bits fill 16.
    """
    try:
        # a copy: the decoder's memory goes with the file, and an array that only views it does not
        # keep it
        samples = np.array(file)
    except Exception as error:  # damaged pixels raise many kinds
        raise not_decoded(name) from error
    planes = samples[..., None] if samples.ndim == 2 else samples
    planes = planes[..., : 1 if planes.shape[2] < 3 else 3]
    curve = (file.info.get("nclx_profile") or {}).get("transfer_characteristics")
    if curve == _PQ:
        raise BadInput(f"{name}: is coded for HDR screens (PQ); export it as JPEG")
    if curve == _HLG:
        top = np.iinfo(planes.dtype).max
        table = srgb_of_hlg(np.arange(int(top) + 1) / float(top))
        return np.asarray(np.rint(65535 * table).astype(np.uint16)[planes])
    return np.asarray(planes)


def srgb_of_hlg(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take a value 0 to 1 by the hybrid log-gamma curve to the same light by sRGB's.

    Inverse OETF of ITU-R BT.2100 and the sRGB transfer function of IEC 61966-2-1, from memory.
    """
    b = 1 - 4 * _HLG_A
    c = 0.5 - _HLG_A * np.log(4 * _HLG_A)
    light = np.where(value <= 0.5, value**2 / 3, (np.exp((value - c) / _HLG_A) + b) / 12)
    return np.asarray(linear_to_srgb(np.clip(light, 0, 1)))


def exif_of(data: bytes, name: str) -> Image.Exif:
    """The camera's notes; empty where the file has none."""
    from PIL import Image

    notes = Image.Exif()
    written = opened(data, name).info.get("exif")
    if written:
        notes.load(written)
    return notes
