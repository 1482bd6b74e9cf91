"""Doubts of a reading that its fit does not know, as errors of the form over the disc.

Light, edge, view and the gap at the contact each err in a way of their own: an error has a shape,
which is a vector of changes of the Zernike coefficients. Standard uncertainties of power follow
from the shapes, and so does the covariance of the whole form, so that irregularity and power are
never surer than each other of the same light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.form_shapes import projection
from fringe.optics.local_terms import BROAD_DEGREE
from fringe.optics.patches import is_patch
from fringe.optics.view import lost_through_flat_back
from fringe.optics.zernike import Term, zernike_matrix
from fringe.orders.fit.carry import carried
from fringe.orders.fit.model import OrderModel
from fringe.photo.ellipse import Edge

Array = NDArray[np.float64]
# Share of the power that block averages, filters and single precision may move; seen on
# rendered pictures without noise, where nothing else is left.
_GRID_SHARE, _GRID_FRINGES = 1e-4, 3e-4
# Uneven light that is taken for form, by degree, over what it does to power; on rendered works
# of few fringes, `tests/benchmarks/coverage.py`
_LIGHT_BY_DEGREE = {2: 0.7, 3: 1.2, 4: 0.8, 5: 0.5, 6: 0.3}
# Error of power a share of the pixels that dirt covers, beyond what clean pictures leave out
# [fringe]; on rendered dirty works, the same study
_DIRT, _USUALLY_USED = 0.06, 0.98
# Largest connected part of the face that dirt makes look like other fringes: of 54 rendered works
# without narrow form 0 to 2.1 %, of zones and bumps that were misread 1.2 to 19 %. And what a
# larger one costs: B of those was off by 0.4 to 1.1 and power by up to 1.4 fringe.
MOST_UNEXPLAINED, _UNEXPLAINED = 0.024, 0.3
# What an order too many or too few costs: of turned edges and bumps that were misread by one B was
# off by 0.8 to 1.4 and power by up to 0.34 fringe (`tests/benchmarks/forms.py`)
_MISCOUNTED = 0.4
# What a form far from a sphere's costs on a dirty face: of 16 whose fringes agree with their fit,
# three were off, by 0.1 to 0.24 fringe of power and 1.1 to 1.2 of B
_ODD = 0.3
# Height of a bump that is missed, or taken for dirt: of such ones B was off by 0.3 to 0.9 [fringe].
# And what it does to power, over its share of the face: by its volume, 0.4 of height times area.
MISSED_HEIGHT = 0.35
_MISSED_POWER = 6 * 0.4 * MISSED_HEIGHT
# Error of power of fringes between coated faces, by R / (1 - R) [fringe]; B errs by up to four
# times as much: of 24 rendered ones of R up to 0.8 by up to 0.07
_SHARP = 0.006
# of a bump's or a zone's height, that its terms may be off; on rendered ones,
# `tests/benchmarks/forms.py`
_PATCH_SHARE, _ZONE_SHARE = 0.035, 0.02
_BUMP_IN_POWER = 0.04  # standard uncertainty of power over a bump's height: what its flanks take
# degree and coefficient [fringe] of symmetric terms from which a form has narrow zones, or a hole
_NARROW_DEGREE, _NARROW_HEIGHT = 12, 0.03


@dataclass(frozen=True)
class Doubt:
    """One error of the form: independent shapes, each of standard deviation one.

    Attributes
    ----------
    shapes : ndarray, shape (K, T)
        Changes of the coefficients [fringe].
    """

    shapes: Array

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients that it makes, shape (T, T) [fringe^2]."""
        return np.asarray(self.shapes.T @ self.shapes)

    def at(self, places: list[int], count: int) -> Doubt:
        """The same at some places among so many coefficients."""
        shapes = np.zeros((len(self.shapes), count))
        shapes[:, places] = self.shapes
        return Doubt(shapes)

    def of_power(self, place: int) -> float:
        """Standard uncertainty of power, twice the coefficient at a place [fringe]."""
        return 2 * float(np.linalg.norm(self.shapes[:, place]))


def projected(terms: tuple[Term, ...], fields: Array) -> Array:
    """Zernike coefficients of fields over the disc of :func:`places`, shapes (K, P) to (K, T)."""
    return np.asarray(fields @ _projection(terms).T)


@lru_cache(1)
def places() -> tuple[Array, Array]:
    """Places over the disc that fields are given at, each of shape (P,)."""
    u, v, _ = disc_grid(33, 96)
    return u.ravel(), v.ravel()


@lru_cache(4)
def rows(terms: tuple[Term, ...]) -> Array:
    """Values of the terms at :func:`places`, shape (P, T)."""
    return zernike_matrix(terms, *places())


@lru_cache(4)
def _projection(terms: tuple[Term, ...]) -> Array:
    """Least-squares projection from fields at :func:`places` to coefficients, shape (T, P)."""
    weight = disc_grid(33, 96)[2].ravel() + 1e-9
    weighted = rows(terms) * weight[:, None]
    return np.asarray(np.linalg.solve(weighted.T @ rows(terms), weighted.T))


def dirt_doubt(
    terms: tuple[Term, ...],
    used: float,
    unexplained: float = 0.0,
    missed: float = 0.0,
    *,
    miscounted: bool = False,
    odd: bool = False,
) -> Doubt:
    """Dirt that the robust weights leave out in part: its margins pass for form.

    `used` is the share of the pixels that kept their weight, `unexplained` the largest connected
    part of the face whose fringes are not those of the fit, as a share: it may be form. So may
    be what leads to `miscounted` orders, and a share that is `missed`. An `odd` form may be another
    where dirt hides the face.
    """
    margins = light_doubt(
        terms, math.hypot(_DIRT * max(0.0, _USUALLY_USED - used), _MISSED_POWER * missed)
    )
    lost = max(
        _UNEXPLAINED if unexplained > MOST_UNEXPLAINED else 0.0,
        _ODD if odd else 0.0,
        _MISCOUNTED if miscounted else 0.0,
    )
    if lost == 0:
        return margins
    return Doubt(np.concatenate([margins.shapes, light_doubt(terms, lost).shapes]))


def local_doubt(model: OrderModel) -> Doubt:
    """Bumps between the nodes of their patches, and crests of narrow zones and holes: shares."""
    zoned = any(
        n > BROAD_DEGREE or (m == 0 and n > _NARROW_DEGREE and abs(value) > _NARROW_HEIGHT)
        for (n, m), value in zip(model.terms, model.values, strict=True)
    )
    shares = [
        _PATCH_SHARE if is_patch((n, m)) else _ZONE_SHARE if zoned and m == 0 and n > 2 else 0.0
        for n, m in model.terms
    ]
    shapes = np.zeros((2, len(model.terms)))
    shapes[0] = np.array(shares) * model.values
    bumps = [
        abs(value) for term, value in zip(model.terms, model.values, strict=True) if is_patch(term)
    ]
    shapes[1, model.terms.index((2, 0))] = _BUMP_IN_POWER / 2 * max(bumps, default=0.0)
    return Doubt(shapes)


def light_doubt(terms: tuple[Term, ...], u_power: float) -> Doubt:
    """Light that the terms cannot follow, taken for form; `u_power` of the power [fringe]."""
    widths = np.array([u_power * _LIGHT_BY_DEGREE.get(n, 0.0) for n, _ in terms])
    widths[terms.index((2, 0))] = u_power / 2
    return Doubt(np.diag(widths)[widths > 0])


def profile_doubt(sharpness: float) -> float:
    """Standard uncertainty of power from fringes sharper than the fit's field shows [fringe]."""
    return _SHARP * abs(sharpness) / (1 - abs(sharpness))


def grid_doubt(terms: tuple[Term, ...], power: float) -> Doubt:
    """Averages over blocks of pixels, filters, and single precision."""
    shape = np.zeros((1, len(terms)))
    shape[0, terms.index((2, 0))] = math.hypot(_GRID_SHARE * power, _GRID_FRINGES) / 2
    return Doubt(shape)


def form_doubt(terms: tuple[Term, ...], change: float) -> Doubt:
    """Change of power when the next larger set of terms is allowed [fringe]; of bursts."""
    shape = np.zeros((1, len(terms)))
    shape[0, terms.index((2, 0))] = abs(change) / 4
    return Doubt(shape)


def edge_doubt(model: OrderModel, edge: Edge, rim_errors: Array | None = None) -> Doubt:
    """Error of the edge's size and of its oval, along its axes and at 45 degrees to them.

    `rim_errors` are those of the mean order near a turned rim, see `Solution`: of the last pixels,
    which the lens mixes with the light beyond.

    A larger disc takes in more of the form, and an oval passes for a view from aside. Of a
    sphere the size makes 2 u / r of its power; the oval's strength as much astigmatism, and its
    direction as much again, for what is hardly oval may point anywhere.
    """
    terms = model.terms
    rim = np.zeros((0, len(terms))) if rim_errors is None else _rim_shapes(terms, rim_errors)
    if edge.u_px == 0:
        return Doubt(rim)
    share = edge.u_px / math.sqrt(2 * edge.a * edge.b)
    smaller = replace(edge, a=edge.a * (1 - share), b=edge.b * (1 - share))
    size = carried(model, edge, smaller).values - model.values
    if rim_errors is not None:  # what is narrow there is of the place, not of the disc
        u, v = places()
        order = zernike_matrix(terms, (1 - share) * u, (1 - share) * v) @ model.values
        size = projected(terms, (order - rows(terms) @ model.values)[None])[0]
    ovals = np.zeros((2, len(terms)))
    ovals[0, terms.index((2, 0))] = share * model.power
    angle = 2 * math.radians(edge.angle_deg)
    along = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    for term, parts in (((2, 2), along[:, 0]), ((2, -2), along[:, 1])):
        if term in terms:
            ovals[:, terms.index(term)] = share * model.power * parts
    return Doubt(np.concatenate([np.stack([size, *ovals]), rim]))


def _rim_shapes(terms: tuple[Term, ...], errors: Array) -> Array:
    """Errors of the mean order at radii over the disc, on the round terms, shape (K, T)."""
    shapes = np.zeros((len(errors), len(terms)))
    rounds = [k for k, (n, m) in enumerate(terms) if m == 0 and n >= 0]
    shapes[:, rounds] = errors @ projection(terms).T
    return shapes


def flat_back_doubt(
    terms: tuple[Term, ...], gap: Array, semi_diameter_mm: float, radius_mm: float
) -> Doubt:
    """A steep plate with a flat back, through which the view in the gap is oblique.

    What it hides is not added, for it hangs on where the camera stands: it counts in full.

    Parameters
    ----------
    terms : tuple of (n, m)
    gap : ndarray, shape (P,)
        Gap at :func:`places` [fringe].
    semi_diameter_mm, radius_mm : float
        Of the aperture and of the plate's face [mm].
    """
    rho = np.hypot(*places())
    lost = [lost_through_flat_back(semi_diameter_mm * float(r), radius_mm) for r in rho]
    return Doubt(projected(terms, (gap * np.array(lost))[None]))
