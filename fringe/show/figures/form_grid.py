"""A fitted form laid out over the aperture, for maps, profiles and lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fringe.optics.form import disc_grid
from fringe.optics.spheres import sphere_form
from fringe.optics.zernike import zernike_matrix, zernike_sum, zernike_sum_on_grid
from fringe.orders.reading import FormFit

Array = NDArray[np.float64]
_LEVELLED = ((0, 0), (1, -1), (1, 1))


def form_values(form: FormFit, u: ArrayLike, v: ArrayLike) -> Array:
    """Evaluate a form on the unit disc.

    Parameters
    ----------
    form : FormFit
        Zernike terms and coefficients [fringe].
    u, v : array_like
        Places on the unit disc, any one shape.

    Returns
    -------
    ndarray, shape of `u`
        The sum of the terms [fringe].
    """
    return zernike_sum(form.terms, form.values, u, v)


def form_on_grid(form: FormFit, u: Array, v: Array) -> Array:
    """Evaluate a form over a grid [fringe]; places are linear in row and column."""
    return zernike_sum_on_grid(form.terms, form.values, u, v)


@dataclass(frozen=True)
class Sphere:
    """Piston, tilt and best sphere of a form, by least squares over the disc.

    Height is piston + tilt_u u + tilt_v v + power s(u, v), where s is the sphere's shape,
    0 at the centre and 1 at the rim.

    Attributes
    ----------
    piston, tilt_u, tilt_v, power : float
        [fringe].
    radius_mm, diameter_mm : float or None
        Radius of the sphere and diameter of the aperture [mm]; None for the shape rho^2.
    """

    piston: float
    tilt_u: float
    tilt_v: float
    power: float
    radius_mm: float | None = None
    diameter_mm: float | None = None

    @property
    def tilt_direction_deg(self) -> float:
        """Direction of the tilt from +u toward +v [degree]; 0 without tilt."""
        return float(np.rad2deg(np.arctan2(self.tilt_v, self.tilt_u)))

    def plane(self, u: ArrayLike, v: ArrayLike) -> Array:
        """Evaluate piston and tilt at places on the unit disc [fringe]."""
        return np.asarray(self.piston + self.tilt_u * np.asarray(u) + self.tilt_v * np.asarray(v))

    def shape(self, u: ArrayLike, v: ArrayLike) -> Array:
        """Evaluate the sphere's shape, 0 at the centre and 1 at the rim."""
        return np.asarray(sphere_form(u, v, self.radius_mm, self.diameter_mm))


def best_sphere(
    form: FormFit, radius_mm: float | None = None, diameter_mm: float | None = None
) -> Sphere:
    """Fit piston, tilt and sphere to a form over the whole disc.

    Parameters
    ----------
    form : FormFit
        Coefficients [fringe].
    radius_mm, diameter_mm : float or None
        Take the exact shape of a sphere of this radius over this aperture [mm]; both or
        rho^2 is taken.
    """
    if radius_mm is None or diameter_mm is None:
        radius_mm = diameter_mm = None
    u, v, weight = disc_grid()
    columns = (np.ones_like(u), u, v, sphere_form(u, v, radius_mm, diameter_mm))
    design = np.stack([np.ravel(column) for column in columns], axis=-1)
    root = np.sqrt(weight.ravel())
    height = form_values(form, u, v).ravel()
    solved = np.linalg.lstsq(design * root[:, None], height * root, rcond=None)[0]
    piston, tilt_u, tilt_v, power = (float(one) for one in solved)
    return Sphere(piston, tilt_u, tilt_v, power, radius_mm, diameter_mm)


def rest_u(form: FormFit, u: ArrayLike, v: ArrayLike) -> Array:
    """Standard uncertainty of what the best sphere leaves of a form, as :func:`height_u`.

    Terms above the sphere's are orthogonal to it, so that theirs alone are left.
    """
    kept = [i for i, term in enumerate(form.terms) if term not in (*_LEVELLED, (2, 0))]
    return _u_of(form, kept, zernike_matrix([form.terms[i] for i in kept], u, v))


def height_u(form: FormFit, u: ArrayLike, v: ArrayLike) -> Array:
    """Standard uncertainty of a form's height above its centre, levelled.

    Parameters
    ----------
    form : FormFit
        With its covariance [fringe^2].
    u, v : array_like, shape (K,)
        Places on the unit disc.

    Returns
    -------
    ndarray, shape (K,)
        [fringe]; that of piston and tilt, which are how the piece lay, is left out.
    """
    kept = [i for i, term in enumerate(form.terms) if term not in _LEVELLED]
    terms = [form.terms[i] for i in kept]
    return _u_of(form, kept, zernike_matrix(terms, u, v) - zernike_matrix(terms, 0.0, 0.0))


def _u_of(form: FormFit, kept: list[int], basis: Array) -> Array:
    """Standard uncertainty of a sum of some of a form's terms; `basis` has shape (K, len(kept))."""
    variance = np.einsum("ki,ij,kj->k", basis, form.covariance[np.ix_(kept, kept)], basis)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


@dataclass(frozen=True)
class FormGrid:
    """A form and what its best sphere leaves, on a square grid over the disc.

    Attributes
    ----------
    u, v : ndarray, shape (M, M)
        Places; the grid goes a little past the rim.
    inside : ndarray of bool, shape (M, M)
        True on the disc.
    gap : ndarray, shape (M, M)
        Gap above its smallest value on the disc [fringe].
    rest : ndarray, shape (M, M)
        What piston, tilt and best sphere leave [fringe].
    sphere : Sphere
        The best sphere.
    """

    u: Array
    v: Array
    inside: NDArray[np.bool_]
    gap: Array
    rest: Array
    sphere: Sphere


def form_grid(
    form: FormFit,
    *,
    radius_mm: float | None = None,
    diameter_mm: float | None = None,
    size: int = 401,
) -> FormGrid:
    """Lay a form out on a grid; see `FormGrid` and `best_sphere`."""
    side = np.linspace(-1.02, 1.02, size)
    u, v = np.meshgrid(side, side)
    inside = u * u + v * v <= 1.0
    height = form_on_grid(form, u, v)
    sphere = best_sphere(form, radius_mm, diameter_mm)
    on_disc = np.where(inside, 1.0, np.sqrt(u * u + v * v))  # keeps the exact shape in its domain
    shape = sphere.shape(u / on_disc, v / on_disc)
    rest = height - sphere.plane(u, v) - sphere.power * shape
    return FormGrid(u, v, inside, height - height[inside].min(), rest, sphere)
