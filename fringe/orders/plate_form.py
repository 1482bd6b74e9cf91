"""What of a plate's known form shows in a reading, to be taken out of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.optics.local_terms import broad_places
from fringe.optics.zernike import Term, turn_matrix, zernike_matrix
from fringe.orders.doubts import Doubt, places, projected
from fringe.orders.options import ReadOptions
from fringe.orders.plate_map import PlateMap

Array = NDArray[np.float64]
# Standard uncertainty to which a mark is laid where it was [degree], and how much larger than
# its map an aperture may be said to be (ours, no source)
_LAID_DEG, _LARGER = 1.0, 1e-3


@dataclass(frozen=True)
class PlateForm:
    """A plate's share of a reading's form.

    Attributes
    ----------
    values : ndarray, shape (T,)
        Its coefficients [fringe]; zero where nothing is known or taken out.
    doubt : Doubt
        Its uncertainty, one error in all readings on that plate.
    remark : str or None
        What was taken out, or why nothing was, of a plate that has a map.
    owner : str
        The map that was taken out, whose error it is: plate and date; empty where none was.
    """

    values: Array
    doubt: Doubt
    remark: str | None = None
    owner: str = ""


def plate_form(options: ReadOptions, terms: tuple[Term, ...], sense: str) -> PlateForm:
    """Return what the plate's map says of the gap over a reading's aperture.

    Parameters
    ----------
    options : ReadOptions
        With the plate's map, and how the plate lies.
    terms : tuple of (n, m), length T
        Terms of the reading.
    sense : str
        Where its contact is; without it the sign of the reading's form is not known.
    """
    nothing = np.zeros(len(terms)), Doubt(np.zeros((0, len(terms))))
    known, turned, diameter = options.plate_map, options.plate_turned_deg, options.diameter_mm
    if known is None:
        return PlateForm(*nothing)
    why_not = _why_not(options, known, sense)
    if why_not or turned is None or diameter is None:
        return PlateForm(*nothing, f"{known.plate}: its form was not taken out: {why_not}")
    share = min(1.0, diameter / known.diameter_mm)
    broad = broad_places(terms)
    to_reading = np.zeros((len(terms), len(known.terms)))
    seen = tuple(terms[k] for k in broad)
    to_reading[broad] = _to_smaller_disc(known.terms, seen, share) * 2 / options.lamp.wavelength_nm
    as_marked = np.array(known.values_nm)
    laid, before, after = (
        to_reading @ turn_matrix(known.terms, math.radians(turned + step * _LAID_DEG))
        for step in (0, -1, 1)
    )
    shapes = np.vstack([_root(known.covariance()) @ laid.T, (after - before) @ as_marked / 2])
    remark = f"{known.plate}: its form was taken out, by its map of {known.when}"
    return PlateForm(laid @ as_marked, Doubt(shapes), remark, f"{known.plate}, {known.when}")


def _why_not(options: ReadOptions, known: PlateMap, sense: str) -> str | None:
    """Say why a plate's form cannot be taken out; None if it can."""
    if options.plate_turned_deg is None:
        return "how it lies was not said; with its mark as in the map, --plate-turned 0deg"
    if sense not in ("centre", "edge"):
        return "where the contact is is not known; say it with --sense"
    if options.diameter_mm is None:
        return "the diameter of the aperture is not known"
    if options.diameter_mm > known.diameter_mm * (1 + _LARGER):
        return (
            f"the aperture of {options.diameter_mm:g} mm is larger than its map of "
            f"{known.diameter_mm:g} mm"
        )
    return None


def _to_smaller_disc(old: tuple[Term, ...], new: tuple[Term, ...], share: float) -> Array:
    """Coefficients over the middle of a disc, from those over all of it, shape (new, old)."""
    u, v = places()
    return projected(new, zernike_matrix(old, share * u, share * v).T).T


def _root(covariance: Array) -> Array:
    """Independent errors, one a row, that make up a covariance."""
    variances, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(variances, 0.0))).T)
