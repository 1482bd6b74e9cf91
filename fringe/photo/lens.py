"""The lens of a photograph, from the camera's notes: how many pixels its focal length is."""

from __future__ import annotations

import io
import math

from fringe.photo.decode import quiet
from fringe.photo.when import camera_notes

# EXIF 2.32, tags of the sub-IFD
_FOCAL, _FOCAL_35 = 0x920A, 0xA405
_ZOOM = 0xA404
_WIDTH, _HEIGHT = 0xA002, 0xA003
_PLANE_X, _PLANE_UNIT = 0xA20E, 0xA210
_UNIT_MM = {2: 25.4, 3: 10.0}
_DIAGONAL_35_MM = math.hypot(36, 24)  # of a frame of 35 mm film, by which lenses are compared


def focal_px(data: bytes, width: int, height: int) -> float | None:
    """Focal length of the lens in pixels of the picture.

    Parameters
    ----------
    data : bytes
        The picture file.
    width, height : int
        As decoded [px].

    Returns
    -------
    float or None
        None where the camera noted none, where it zoomed by cutting out, or where the picture's
        size is no longer the one that it noted: what was cut down tells nothing of the view.
    """
    try:
        with quiet():
            notes = camera_notes(io.BytesIO(data))
        noted = sorted((int(notes[_WIDTH]), int(notes[_HEIGHT])))
        if noted != sorted((width, height)) or float(notes.get(_ZOOM) or 1) != 1:
            return None
        equivalent_mm = float(notes.get(_FOCAL_35) or 0)
        if equivalent_mm > 0:
            return equivalent_mm / _DIAGONAL_35_MM * math.hypot(width, height)
        pitch_mm = _UNIT_MM[int(notes.get(_PLANE_UNIT, 2))] / float(notes[_PLANE_X])
        focal = float(notes[_FOCAL]) / pitch_mm
    except Exception:  # damaged notes raise many kinds; there is no lens in them
        return None
    return focal if 0 < focal < math.inf else None
