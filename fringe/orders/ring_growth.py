"""How rings grow outward: as the gap between two spheres makes them, or as something else does.

The gradient of the order between two spheres is linear in position, wherever the rings' centre
lies and whatever the tilt. Marks of a lathe, grooves, printed targets and spirals have one
spacing: their gradient is of one size all round a centre. Both are fitted to the gradient of the
order that was fitted to the light, k = a rho^(n - 1) about a free centre against H x + t. What
polishing does to a sphere can flatten its gradient over most of the face, but smoothly: third
order terms follow that better than a cone does, whose tip they cannot make.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.local_terms import is_local
from fringe.optics.zernike import Term, zernike_gradients, zernike_terms
from fringe.orders.doubts import projected, rows
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.start import agreement, prominence
from fringe.orders.fit.tiles import Tiles
from fringe.photo.filters import median

Vector = NDArray[np.float64]
_REACH = 0.93  # share of the radius: terms bend freely at the rim
_SIDE = 21  # places across the disc
_CLOSE = 0.12  # about the centre, where a cone's tip is rounded by the terms
_ROUNDS = 8
# Of rings of one spacing the exponent is 0.96 to 1.07, of rings at the root 0.5, and the linear law
# misses by 0.19 to 0.29; of 4,000 random works, with turned edges, zones, bumps and holes among
# them, the least exponent is 1.44 (`tests/orders/test_ring_growth.py`).
_EQUAL_STEPS, _STEEP = 1.3, 2.6  # exponents
_MISSED, _BETTER = 0.1, 0.6  # least misfit of the linear law; of the power law, as a share of it
# the latter of marks, targets and grooves, whose fits have only terms of the whole disc
_CLEARLY = 0.2
# Misfit of the power law over that of a form of third order: of rings of one spacing 0.1 to 1.1, of
# works that such a form makes look like them over 2.
_BEYOND_FORM, _THIRD_ORDER = 1.5, 4  # the latter a degree
_FEWEST_RINGS = 3.0
_BROAD = zernike_terms(12)  # of marks the misfits' ratio is 0.2 or less then, of zones 0.6 or more
# Of local frequencies: fields of real rings have exponents of 1.98 to 2.07, marks and targets 1.00
# to 1.07, r^3 and r^4 2.97 to 3.95, all with an agreement of 0.86 or more with their own law.
_AGREEING, _NEAR_TWO, _FEWEST_TILES = 0.6, 0.25, 20
_LEAST_CYCLES = 12  # sigmas of a frequency: three fringes a tile
_FARTHEST = 1.3  # of the centre, in radii: rings about a far one are nearly straight


@dataclass(frozen=True)
class RingGrowth:
    """A power law of the order's gradient about a centre, beside a linear one.

    Attributes
    ----------
    exponent : float
        n of an order that grows as rho^n.
    centre : ndarray, shape (2,)
        On the unit disc.
    power_misfit, linear_misfit : float
        Medians of what either law leaves, as shares of the root mean square gradient; the same
        where the linear one leaves so little that no other was tried.
    form_misfit : float
        The same of a sphere with third order form: spherical, coma, trefoil, astigmatism.
    """

    exponent: float
    centre: Vector
    power_misfit: float
    linear_misfit: float
    form_misfit: float = 0.0

    @property
    def is_no_sphere(self) -> bool:
        """Whether a power law explains clearly more than a sphere would."""
        return (
            self.linear_misfit > _MISSED
            and self.power_misfit < _BETTER * self.linear_misfit
            and float(np.hypot(*self.centre)) < _FARTHEST
        )

    @property
    def is_smooth_form(self) -> bool:
        """Whether rings that seem to have one spacing are followed better by a polished form."""
        return self.exponent < 2 and self.power_misfit > _BEYOND_FORM * self.form_misfit


def growth_warnings(name: str, model: OrderModel, span: float) -> list[str]:
    """Refuse rings of one spacing; warn of rings that crowd outward more than a sphere's.

    Parameters
    ----------
    name : str
        Of the photograph.
    model : OrderModel
        Fitted order.
    span : float
        Greatest less least order on the disc [fringe].

    Raises
    ------
    Refused
        For rings of one spacing.
    """
    if span < _FEWEST_RINGS:
        return []
    growth = ring_growth(model)
    if not growth.is_no_sphere or growth.is_smooth_form:
        return []
    return _judged(name, growth.exponent)


def refuse_clear_marks(name: str, model: OrderModel) -> None:
    """Refuse rings of one spacing that leave no doubt, before more terms are fitted to them."""
    if model.span() >= _FEWEST_RINGS:
        growth = ring_growth(model)
        if growth.is_no_sphere and growth.power_misfit < _CLEARLY * growth.linear_misfit:
            _judged(name, growth.exponent)


def _judged(name: str, exponent: float) -> list[str]:
    """Refuse an exponent of one spacing; warn of one above any sphere's."""
    if exponent < _EQUAL_STEPS:
        raise Refused(
            f"{name}: the rings have one spacing, as marks of turning, grooves and printed targets"
            " have; between two spheres they crowd outward"
        )
    if exponent > _STEEP:
        return [
            f"the rings crowd outward as the power {exponent:.1f} of the radius: check that these"
            " are contact fringes"
        ]
    return []


@dataclass(frozen=True)
class TileGrowth:
    """A power law of local frequencies about a centre.

    Attributes
    ----------
    exponent : float
        n of an order that grows as rho^n.
    agreement : float
        How well the tiles agree with it, 0 to 1; 0 where the centre is far.
    """

    exponent: float
    agreement: float

    @property
    def is_of_spheres(self) -> bool:
        """Whether the tiles agree on rings as those between spheres."""
        return self.agreement > _AGREEING and abs(self.exponent - 2) < _NEAR_TWO

    @property
    def is_of_one_spacing(self) -> bool:
        """Whether the tiles agree on rings of one spacing; those of a deep hole may, too."""
        return self.agreement > _AGREEING and self.exponent < _EQUAL_STEPS

    def warnings(self, name: str) -> list[str]:
        """Refuse rings of one spacing; warn of rings that crowd outward more than a sphere's."""
        if self.agreement < _AGREEING:
            return []
        return _judged(name, self.exponent)


def growth_of_tiles(tiles: Tiles) -> TileGrowth:
    """Fit a power law to local frequencies, whatever their signs.

    Tiles that hold hardly more than the fewest fringes that count are left out: of lower
    frequencies only those are known that noise has raised.
    """
    tiles = tiles.take(np.hypot(*tiles.f.T) > _LEAST_CYCLES * tiles.sigma)
    if len(tiles) < _FEWEST_TILES:
        return TileGrowth(2.0, 0.0)
    places = np.stack([tiles.u, tiles.v], axis=1)
    size = np.hypot(*tiles.f.T)
    direction = tiles.f / size[:, None]
    weight = prominence(tiles)
    centre = _centre(places, direction, weight * size)
    away = places - centre
    rho = np.hypot(*away.T) + 1e-3
    across = np.abs(away[:, 0] * direction[:, 1] - away[:, 1] * direction[:, 0]) / rho
    weight *= (size / tiles.sigma) ** 2 / (1 + (across / 0.1) ** 2) ** 2 * (rho > _CLOSE)
    log_size, exponent = _line(np.log(rho), np.log(size), weight)
    law = (np.exp(log_size) * rho ** (exponent - 1))[:, None] * away / rho[:, None]
    near = float(np.hypot(*centre)) < _FARTHEST
    return TileGrowth(exponent, agreement(law, tiles) if near else 0.0)


def ring_growth(model: OrderModel) -> RingGrowth:
    """Fit both laws to the gradient of an order over the disc.

    Terms of zones and patches can follow a cone, but their gradient is rough all over: of a model
    with such terms the growth is that of its broad terms, fitted to its order.
    """
    if any(is_local(term) for term in model.terms):
        order = rows(model.terms) @ model.values
        model = OrderModel(_BROAD, projected(_BROAD, order[None])[0])
    places, slopes = _slopes(model.terms)
    gradient = np.moveaxis(slopes @ model.values, 0, -1)
    size = np.hypot(*gradient.T) + 1e-9
    scale = float(np.sqrt(np.mean(size**2)))
    linear = _form_misfit(gradient, scale, 2)
    if linear < _MISSED:  # a sphere, which needs no other law
        return RingGrowth(2.0, np.zeros(2), linear, linear, linear)
    centre = _centre(places, gradient / size[:, None], size)
    away = places - centre
    rho = np.hypot(*away.T) + 1e-3
    across = np.abs(away[:, 0] * gradient[:, 1] - away[:, 1] * gradient[:, 0]) / rho / size
    far = rho > _CLOSE
    log_size, exponent = _line(
        np.log(rho[far]), np.log(size[far]), 1 / (1 + (across[far] / 0.1) ** 2) ** 2
    )
    outward = np.sign(median((away * gradient).sum(axis=1) / rho / size))
    law = outward * (np.exp(log_size) * rho ** (exponent - 1))[:, None] * away / rho[:, None]
    power = np.hypot(*(gradient - law).T)
    misfit = float(median(power)) / scale
    return RingGrowth(exponent, centre, misfit, linear, _form_misfit(gradient, scale, _THIRD_ORDER))


@lru_cache(8)
def _slopes(terms: tuple[Term, ...]) -> tuple[Vector, Vector]:
    """Places over the disc, shape (K, 2), and the terms' derivatives there, shape (2, K, T)."""
    side = np.linspace(-_REACH, _REACH, _SIDE)
    u, v = (w.ravel() for w in np.meshgrid(side, side))
    inside = np.hypot(u, v) < _REACH
    places = np.stack([u[inside], v[inside]], axis=1)
    return places, zernike_gradients(terms, places[:, 0], places[:, 1])


def _form_misfit(gradient: Vector, scale: float, degree: int) -> float:
    """Median of what the gradient of terms to a degree leaves, robustly; a share of `scale`.

    To degree two that is the linear law.
    """
    terms = zernike_terms(degree)[1:]
    rows = np.moveaxis(_slopes(terms)[1], 0, 1)
    left: Vector = np.zeros(len(gradient))
    weight: Vector = np.ones(len(gradient))
    for _ in range(_ROUNDS):
        weighted = rows * weight[:, None, None]
        normal = np.einsum("kij,kil->jl", weighted, rows)
        values = np.linalg.solve(normal, np.einsum("kij,ki->j", weighted, gradient))
        left = np.asarray(np.hypot(*(gradient - rows @ values).T), float)
        weight = 1 / (1 + (left / (2 * max(float(median(left)), 0.01 * scale))) ** 2)
    return float(median(left)) / scale


def _centre(places: Vector, direction: Vector, size: Vector) -> Vector:
    """Place that most gradients point to or from, by reweighted least squares."""
    across = np.eye(2) - direction[:, :, None] * direction[:, None, :]
    weight: Vector = size**2
    centre: Vector = np.zeros(2)
    for _ in range(_ROUNDS):
        normal = (weight[:, None, None] * across).sum(axis=0)
        target = (weight[:, None] * np.einsum("kij,kj->ki", across, places)).sum(axis=0)
        normal += 1e-9 * np.trace(normal) * np.eye(2)
        centre = np.asarray(np.linalg.solve(normal, target), float)
        away = places - centre
        rho = np.hypot(*away.T) + 1e-3
        sine = np.abs(away[:, 0] * direction[:, 1] - away[:, 1] * direction[:, 0]) / rho
        weight = size / (rho**2 + 0.01) / (1 + (sine / 0.1) ** 2) ** 2
    return centre


def _line(x: Vector, y: Vector, given: Vector) -> tuple[float, float]:
    """Value at zero, and exponent: slope plus one, by reweighted least squares."""
    rows = np.stack([np.ones_like(x), x], axis=1)
    weight: Vector = given
    values: Vector = np.zeros(2)
    for _ in range(_ROUNDS):
        weighted = rows * weight[:, None]
        normal = weighted.T @ rows + 1e-12 * np.eye(2)
        values = np.asarray(np.linalg.solve(normal, weighted.T @ y), float)
        left = np.abs(y - rows @ values)
        weight = given / (1 + (left / (2 * max(float(median(left)), 0.02))) ** 2) ** 2
    return float(values[0]), float(values[1]) + 1
