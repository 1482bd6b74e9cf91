"""Form over the unit disc: the quantities of ISO 10110-5 of a sum of Zernike terms or a map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from fringe.errors import BadInput
from fringe.optics.gauss import gauss_legendre
from fringe.optics.iso10110 import FormCode, iso10110_text, parse_iso10110
from fringe.optics.spheres import sphere_form
from fringe.optics.zernike import Term, zernike, zernike_sum_on_rays

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "FormCode",
    "FormQuantities",
    "disc_grid",
    "form_quantities",
    "form_quantities_of_map",
    "iso10110_text",
    "parse_iso10110",
]


@dataclass(frozen=True)
class FormQuantities:
    """Form of a surface in the quantities of ISO 10110-5, all in the unit of the map.

    Attributes
    ----------
    power : float
        Best-fit sphere, rim minus centre; signed.
    tilt : float
        Slope of the best-fit plane, edge to centre along its direction.
    astigmatism_pv : float
        Peak to valley of the astigmatism rho^2 cos 2(theta - theta_0).
    irregularity_pv : float
        Peak to valley once plane and sphere are taken out (B).
    symmetric_irregularity_pv : float
        Peak to valley of the rotationally symmetric part of that (C).
    rms_irregularity : float
        Root mean square once plane and sphere are taken out (RMSi).
    rms_total : float
        Root mean square once the plane is taken out (RMSt).
    rms_asymmetry : float
        Root mean square of what is neither plane, sphere nor rotationally symmetric (RMSa).
    """

    power: float
    tilt: float
    astigmatism_pv: float
    irregularity_pv: float
    symmetric_irregularity_pv: float
    rms_irregularity: float
    rms_total: float = 0.0
    rms_asymmetry: float = 0.0


@lru_cache(16)
def disc_grid(
    rings: int = 65, spokes: int = 240
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Polar points that cover the unit disc, its centre and its rim, with weights of area.

    Returns
    -------
    u, v, weight : ndarray, shape (rings + 2, spokes)
        The weights sum to one; they are Gauss's in rho^2, so that Zernike terms up to degree
        2 `rings` are integrated exactly. Centre and rim have weight zero: they are there for
        peaks and valleys. All are kept for whoever asks next, and cannot be written to.
    """
    import numpy as np

    nodes, gauss = gauss_legendre(rings)
    rho = np.sqrt(np.concatenate([[0.0], (nodes + 1) / 2, [1.0]]))[:, None]
    share = np.concatenate([[0.0], gauss / 2, [0.0]])[:, None] / spokes
    theta = (2 * np.pi / spokes * np.arange(spokes))[None, :]
    grid = rho * np.cos(theta), rho * np.sin(theta), np.repeat(share, spokes, axis=1)
    for one in grid:
        one.flags.writeable = False
    return grid


def form_quantities(
    terms: Sequence[Term],
    values: Sequence[float] | NDArray[np.float64],
    radius_mm: float | None = None,
    diameter_mm: float | None = None,
) -> FormQuantities:
    """Quantities of a form given by Zernike coefficients, over the whole disc.

    Parameters
    ----------
    terms : sequence of (int, int), length T
        Zernike indices (n, m).
    values : sequence of float, length T
        Unnormalised coefficients, any unit.
    radius_mm, diameter_mm : float, optional
        Take out the exact shape of a sphere of this radius over this aperture instead of
        rho^2 [mm].

    Returns
    -------
    FormQuantities
        In the unit of `values`.
    """
    import numpy as np

    coefficients = np.asarray(values, dtype=float)
    if coefficients.shape != (len(terms),):
        raise BadInput(f"{len(terms)} Zernike terms need as many values, not {coefficients.size}")
    u, _, weight = disc_grid()
    spokes = u.shape[1]
    turns = 2 * np.pi / spokes * np.arange(spokes)
    surface = np.ascontiguousarray(zernike_sum_on_rays(terms, coefficients, u[:, 0], turns).T)
    fit = _fit_plane_sphere(_design_on_grid(radius_mm, diameter_mm), surface, weight)
    symmetric = np.broadcast_to(fit.rest.mean(axis=1, keepdims=True), surface.shape)
    return _quantities(fit, symmetric, weight)


def form_quantities_of_map(
    u: ArrayLike,
    v: ArrayLike,
    surface: ArrayLike,
    radius_mm: float | None = None,
    diameter_mm: float | None = None,
    degree: int = 16,
) -> FormQuantities:
    """Quantities of a form given at points of the disc, each standing for the same area.

    Parameters
    ----------
    u, v, surface : array_like, one shape
        Points on the aperture and the height (or gap) there; points that are not finite, or
        lie outside the disc, are left out.
    radius_mm, diameter_mm : float, optional
        As for `form_quantities`.
    degree : int
        Highest power of rho in the rotationally symmetric part, which is fitted as a
        polynomial in rho^2.

    Returns
    -------
    FormQuantities
        In the unit of `surface`. Noise of the map goes into every peak to valley.

    Raises
    ------
    BadInput
        If fewer than 6 points are left.
    """
    import numpy as np

    uu, vv, ss = (np.asarray(x, dtype=float).ravel() for x in (u, v, surface))
    keep = np.isfinite(ss) & (uu**2 + vv**2 <= 1 + 1e-12)
    uu, vv, ss = uu[keep], vv[keep], ss[keep]
    if ss.size < 6:
        raise BadInput(f"the form of a surface needs 6 points or more, not {ss.size}")
    weight = np.full(ss.shape, 1 / ss.size)
    fit = _fit_plane_sphere(_design(uu, vv, radius_mm, diameter_mm), ss, weight)
    symmetric = _symmetric_part(uu**2 + vv**2, fit.rest, degree // 2)
    return _quantities(fit, symmetric, weight)


def _symmetric_part(
    rho2: NDArray[np.float64], rest: NDArray[np.float64], degree: int, bins: int = 256
) -> NDArray[np.float64]:
    """Least-squares polynomial in rho^2 through the means over rings of equal area."""
    import numpy as np
    from numpy.polynomial import legendre

    index = np.minimum((rho2 * bins).astype(int), bins - 1)
    count = np.bincount(index, minlength=bins)
    filled = count > 0
    at, mean = (
        np.bincount(index, weights=values, minlength=bins)[filled] / count[filled]
        for values in (rho2, rest)
    )
    root = np.sqrt(count[filled])
    design = legendre.legvander(2 * at - 1, min(degree, at.size - 1)) * root[:, None]
    series = np.linalg.lstsq(design, mean * root, rcond=None)[0]
    return np.asarray(legendre.legval(2 * rho2 - 1, series))


@dataclass(frozen=True)
class _PlaneSphere:
    """Least-squares plane and sphere of a surface, and what they leave."""

    power: float
    tilt: float
    astigmatism_pv: float
    rms_total: float
    rest: NDArray[np.float64]


def _design(
    u: NDArray[np.float64],
    v: NDArray[np.float64],
    radius_mm: float | None,
    diameter_mm: float | None,
) -> NDArray[np.float64]:
    """Plane, sphere and astigmatism at points of the disc, shape (points, 6)."""
    import numpy as np

    sphere = sphere_form(u, v, radius_mm, diameter_mm)
    columns = [np.ones_like(u), u, v, sphere, zernike(2, 2, u, v), zernike(2, -2, u, v)]
    return np.stack([column.ravel() for column in columns], axis=-1)


@lru_cache(4)
def _design_on_grid(radius_mm: float | None, diameter_mm: float | None) -> NDArray[np.float64]:
    u, v, _ = disc_grid()
    return _design(u, v, radius_mm, diameter_mm)


def _fit_plane_sphere(
    design: NDArray[np.float64], surface: NDArray[np.float64], weight: NDArray[np.float64]
) -> _PlaneSphere:
    import numpy as np

    height, share = surface.ravel(), weight.ravel()
    # six columns that hardly correlate on a disc: normal equations keep their digits
    gram = design.T @ (design * share[:, None])
    side = design.T @ (height * share)

    def solve(count: int) -> NDArray[np.float64]:
        solution = np.linalg.lstsq(gram[:count, :count], side[:count], rcond=None)[0]
        return np.asarray(solution, dtype=float)

    plane, ball, full = solve(3), solve(4), solve(6)
    level = height - design[:, :3] @ plane
    return _PlaneSphere(
        power=float(ball[3]),
        tilt=float(np.hypot(ball[1], ball[2])),
        astigmatism_pv=2 * float(np.hypot(full[4], full[5])),
        rms_total=float(np.sqrt(share @ level**2)),
        rest=(height - design[:, :4] @ ball).reshape(surface.shape),
    )


def _quantities(
    fit: _PlaneSphere, symmetric: NDArray[np.float64], weight: NDArray[np.float64]
) -> FormQuantities:
    import numpy as np

    def rms(values: NDArray[np.float64]) -> float:
        return float(np.sqrt(np.sum(weight * values**2)))

    return FormQuantities(
        power=fit.power,
        tilt=fit.tilt,
        astigmatism_pv=fit.astigmatism_pv,
        irregularity_pv=float(np.ptp(fit.rest)),
        symmetric_irregularity_pv=float(np.ptp(symmetric)),
        rms_irregularity=rms(fit.rest),
        rms_total=fit.rms_total,
        rms_asymmetry=rms(fit.rest - symmetric),
    )
