"""Doubts of a reading that its fit does not know, as errors of the form over the disc.

Light, edge, view and the gap at the contact each err in a way of their own: an error has a shape,
which is a vector of changes of the Zernike coefficients. Standard uncertainties of power follow
from the shapes, and so does the covariance of the whole form, so that irregularity and power are
never surer than each other of the same light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.view import lost_through_flat_back
from fringe.optics.zernike import Term, zernike_matrix
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import carried
from fringe.photo.ellipse import Edge

Array = NDArray[np.float64]
# Share of the power that block averages, filters and single precision may move; seen on
# rendered pictures without noise, where nothing else is left.
_GRID_SHARE, _GRID_FRINGES = 1e-4, 3e-4
# A camera at an unknown distance stands anywhere from far off to three diameters away:
# r/L is uniform up to a sixth. Root mean squares of (r/L)^2 / 2 and of r/L.
_NEAR_SHARE = (1 / 6) ** 2 / 2 / math.sqrt(5)
_NEAR_RATIO = (1 / 6) / math.sqrt(3)
# Uneven light that is taken for form, by degree, over what it does to power; on rendered works
# of few fringes, `tests/benchmarks/coverage.py`
_LIGHT_BY_DEGREE = {2: 0.7, 3: 1.2, 4: 0.8, 5: 0.5, 6: 0.3}
# Error of power a share of the pixels that dirt covers, beyond what clean pictures leave out
# [fringe]; on rendered dirty works, the same study
_DIRT, _USUALLY_USED = 0.06, 0.98


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

    def of_power(self, place: int) -> float:
        """Standard uncertainty of power, twice the coefficient at a place [fringe]."""
        return 2 * float(np.linalg.norm(self.shapes[:, place]))


def projected(terms: tuple[Term, ...], fields: Array) -> Array:
    """Zernike coefficients of fields over the disc of :func:`places`, shapes (K, P) to (K, T)."""
    rows, weight = _rows(terms)
    weighted = rows * weight[:, None]
    return np.asarray(np.linalg.solve(weighted.T @ rows, weighted.T @ fields.T).T)


def places() -> tuple[Array, Array]:
    """Places over the disc that fields are given at, each of shape (P,)."""
    u, v, _ = disc_grid(33, 96)
    return u.ravel(), v.ravel()


def _rows(terms: tuple[Term, ...]) -> tuple[Array, Array]:
    u, v, weight = disc_grid(33, 96)
    return zernike_matrix(terms, u, v).reshape(-1, len(terms)), weight.ravel() + 1e-9


def dirt_doubt(terms: tuple[Term, ...], used: float) -> Doubt:
    """Dirt that the robust weights leave out in part: its margins pass for form.

    `used` is the share of the pixels that kept their weight.
    """
    return light_doubt(terms, _DIRT * max(0.0, _USUALLY_USED - used))


def light_doubt(terms: tuple[Term, ...], u_power: float) -> Doubt:
    """Light that the terms cannot follow, taken for form; `u_power` of the power [fringe]."""
    widths = np.array([u_power * _LIGHT_BY_DEGREE.get(n, 0.0) for n, _ in terms])
    widths[terms.index((2, 0))] = u_power / 2
    return Doubt(np.diag(widths)[widths > 0])


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


def edge_doubt(model: OrderModel, edge: Edge) -> Doubt:
    """Error of the edge's two semi-axes, independent of each other.

    A larger disc takes in more of the form, and an oval passes for a view from aside. Of a
    sphere it is 2 u / r of its power, and the same of astigmatism for the difference of the axes.
    """
    terms = model.terms
    if edge.u_px == 0:
        return Doubt(np.zeros((0, len(terms))))
    share = edge.u_px / math.sqrt(2 * edge.a * edge.b)
    smaller = replace(edge, a=edge.a * (1 - share), b=edge.b * (1 - share))
    size = carried(model, edge, smaller).values - model.values
    oval = np.zeros(len(terms))
    oval[terms.index((2, 0))] = share * model.power
    angle = 2 * math.radians(edge.angle_deg)
    for term, part in (((2, 2), math.cos(angle)), ((2, -2), math.sin(angle))):
        if term in terms:
            oval[terms.index(term)] = share * model.power * part
    return Doubt(np.stack([size, oval]))


def untold_view_doubt(terms: tuple[Term, ...], gap: Array, u_gap: float, edge: Edge) -> Doubt:
    """A camera at an unknown distance: the view's angle changes over the aperture.

    The order falls short by gap (r/L)^2 rho^2 / 2, of the whole gap, tilt and the least gap at
    the contact included; seen aslant also by gap tan(theta) (r/L) w, w along the view.

    Parameters
    ----------
    terms : tuple of (n, m)
    gap : ndarray, shape (P,)
        Gap at :func:`places` [fringe].
    u_gap : float
        Standard uncertainty of the gap at the contact [fringe].
    edge : Edge
        An oval is a view from aside.
    """
    u, v = places()
    rho2 = u**2 + v**2
    fields = [_NEAR_SHARE * gap * rho2, _NEAR_SHARE * u_gap * rho2]
    sine = math.sqrt(max(0.0, 1 - edge.cos_view**2))
    if sine > 0:
        across = math.radians(edge.angle_deg + 90)
        along = u * math.cos(across) + v * math.sin(across)
        fields.append(_NEAR_RATIO * sine / edge.cos_view * gap * along)
    return Doubt(projected(terms, np.stack(fields)))


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
