"""The gap of a reading over its aperture, as a map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.orders.reading import Reading

GAP_MAP_SIDE = 256  # places along each side of the map that a record keeps


@dataclass(frozen=True)
class GapMap:
    """Air gap over the aperture.

    Attributes
    ----------
    x : ndarray, shape (N,)
        Places across, as in the photograph [unit].
    y : ndarray, shape (M,)
        Places down, as in the photograph [unit].
    gap_nm : ndarray of float32, shape (M, N)
        Gap from its lowest place [nm]; NaN outside the aperture.
    unit : {'mm', '1'}
        Unit of the places; `1` for semi-diameters.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    gap_nm: NDArray[np.float32]
    unit: str = "1"


def gap_map(reading: Reading, diameter_mm: float | None, side: int = GAP_MAP_SIDE) -> GapMap:
    """Evaluate a reading's form on a grid, as air gap from its lowest place.

    Parameters
    ----------
    reading : Reading
        With its form.
    diameter_mm : float or None
        Diameter of the aperture [mm]; None gives places in semi-diameters.
    side : int
        Places along each side of the grid.

    Returns
    -------
    GapMap
        x to the right and y down, as in the photograph.

    Raises
    ------
    BadInput
        If the reading has no form.
    """
    from fringe.optics.zernike import zernike_sum

    if reading.form is None:
        raise BadInput("gap map: the reading has no form over its aperture")
    places = np.linspace(-1.0, 1.0, side)
    u, v = np.meshgrid(places, places)
    inside = u**2 + v**2 <= 1.0
    fringes = zernike_sum(reading.form.terms, reading.form.values, u[inside], v[inside])
    gap = np.full(u.shape, np.nan, np.float32)
    gap[inside] = (fringes - fringes.min()) * reading.wavelength_nm / 2
    scale, unit = (1.0, "1") if diameter_mm is None else (diameter_mm / 2, "mm")
    return GapMap(places * scale, places * scale, gap, unit)
