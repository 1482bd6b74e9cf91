"""The lamp that was named, held against the colour of the fringes.

How much each channel of the camera swings with the fringes is the colour of the light that makes
them; room light, which makes none, does not count. White balance shifts colours, so only one that
clearly belongs to another lamp is asked about.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.optics.lamps import Lamp
from fringe.orders.fit.robust import robust_sigma
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_CLEARLY = 1.7  # times a channel's swing over another's that no usual white balance turns round
_LEAST_SWING = 0.01  # of full scale, in the strongest channel
_FEWEST = 400  # pixels
# Wavelengths that no camera shows as the other of red and green, or of blue and the rest [nm]
_RED_FROM, _GREEN = 585.0, (505.0, 562.0)
_BLUE_TO = 480.0


def lamp_warnings(photo: Photo, lamp: Lamp, edge: Edge | None = None) -> list[str]:
    """Ask whether the lamp is right where the fringes have the colour of another.

    Parameters
    ----------
    photo : Photo
    lamp : Lamp
        As it was named.
    edge : Edge, optional
        Of the work; without it the whole picture counts.

    Returns
    -------
    list of str
        One line, or none where the picture has no colour, or one that the lamp may have.
    """
    swing = fringe_colour(photo, edge)
    if swing is None:
        return []
    seen, meant = _seen(swing), _meant(lamp.wavelength_nm)
    if seen is None or meant is None or seen == meant or {seen, meant} == {"red", "orange"}:
        return []
    if lamp.is_mixed and seen in ("green", "blue"):
        return []
    return [
        f"the fringes look {seen}, and {lamp.name} ({lamp.wavelength_nm:.1f} nm) is {meant}:"
        " is the lamp right?"
    ]


def fringe_colour(photo: Photo, edge: Edge | None) -> NDArray[np.float64] | None:
    """How far red, green and blue swing with the fringes, the greatest 1, shape (3,).

    None where the picture has no colour, or too little of it is usable.
    """
    thin = photo.thin_light()
    if thin is None:
        return None
    light, clipped = thin
    rows, columns = np.ogrid[: clipped.shape[0], : clipped.shape[1]]
    inside = ~clipped
    if edge is not None:
        middle = (photo.thin_step - 1) / 2
        x, y = (place * photo.thin_step + middle for place in (columns, rows))
        inside &= np.hypot(*edge.unit(x, y)) < 0.95
    if inside.sum() < _FEWEST:
        return None
    centred = np.ascontiguousarray(light[inside].T)
    centred -= centred.mean(axis=1, keepdims=True)
    spread = [robust_sigma(channel) for channel in centred]
    strongest = int(np.argmax(spread))
    lead = centred[strongest]
    square = float(lead @ lead)
    if spread[strongest] < _LEAST_SWING or square == 0:
        return None
    swing = np.maximum(centred @ lead / square, 0.0)
    return np.asarray(swing / swing.max())


def _seen(swing: NDArray[np.float64]) -> str | None:
    """Name of a clear colour; None where white balance may have made it."""
    red, green, blue = (float(value) for value in swing)
    if blue > _CLEARLY * max(red, green):
        return "blue"
    if green > _CLEARLY * red and green > _CLEARLY * blue:
        return "green"
    if red > _CLEARLY * green and red > _CLEARLY * blue:
        return "orange" if green > 0.12 * red else "red"
    return None


def _meant(wavelength_nm: float) -> str | None:
    """Name of a lamp's colour; None of those between two."""
    if wavelength_nm < _BLUE_TO:
        return "blue"
    if _GREEN[0] < wavelength_nm < _GREEN[1]:
        return "green"
    if wavelength_nm > _RED_FROM:
        return "orange" if wavelength_nm < 610 else "red"
    return None
