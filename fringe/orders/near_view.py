"""The gap as at normal view, from orders that a camera saw from near by or from aside.

The order falls short of the gap by the cosine of the view. What of the view is not known (toward
which end of an oval the camera stood, how near it stood where nobody said, where the contact is)
is tried in turn: each view makes another form of the same orders, and polished surfaces are
nearly spheres. So rings over a wide field, or an oval edge, tell the view themselves; where they
do not, the views that are left are the doubt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.optics.local_terms import broad_places
from fringe.optics.view import cos_view
from fringe.optics.zernike import Term
from fringe.orders.doubts import Doubt, flat_back_doubt, places, projected, rows
from fringe.orders.fit.model import OrderModel
from fringe.orders.options import ContactGap, ReadOptions
from fringe.photo.ellipse import Edge
from fringe.student_t import student_quantile

Array = NDArray[np.float64]
# A camera at an unknown distance stands anywhere from far off to three diameters away: r/L is
# uniform up to a sixth (ours, no source). So many of them are tried.
_NEAREST_RATIO, _RATIOS = 1 / 6, 24
# Of a focal length as cameras note it: rounded to whole millimetres, with the lens focused near by
# and the picture cut at its rim for steadiness (ours, no source)
_U_LENS = 0.08
# Low terms of the form of polished surfaces, which a view makes or takes away, those of one
# kind together, and their usual size [fringe]; common practice, no source
_BENT: tuple[tuple[Term, ...], ...] = (((2, -2), (2, 2)), ((3, -1), (3, 1)), ((4, 0),))
_USUAL_BEND = 0.03
# Least order at the contact [fringe]: in a true contact it is zero but for noise
_LEAST_ORDER = -0.25
# A contact that so small a share of the likelihood speaks for is left out
_LEAST_SHARE = 0.02


@dataclass(frozen=True)
class NormalView:
    """The gap as at normal view.

    Attributes
    ----------
    values : ndarray, shape (T,)
        Coefficients of the terms [fringe].
    view, gap : Doubt
        Of the camera's place, and of the gap at the contact.
    back : dict of Doubt
        `plate_back`, of a plate whose back is flat.
    """

    values: Array
    view: Doubt
    gap: Doubt
    back: dict[str, Doubt]

    def beside(self, values: Array, places: list[int]) -> NormalView:
        """The same at some places among more coefficients, of which nothing is in doubt."""
        count = len(values)
        made = values.copy()
        made[places] = self.values
        back = {name: one.at(places, count) for name, one in self.back.items()}
        return NormalView(made, self.view.at(places, count), self.gap.at(places, count), back)


def as_normal(
    model: OrderModel,
    edge: Edge,
    options: ReadOptions,
    sense: str,
    covariance: Array,
    focal_px: float | None = None,
) -> NormalView:
    """Divide the order by the cosine of the view, which needs the order's own zero.

    Parameters
    ----------
    model : OrderModel
        Of a power that is not negative.
    edge : Edge
        An oval is a view from aside.
    options : ReadOptions
        With the camera's distance and the diameter, where they are known.
    sense : str
        Where the contact is; `unknown` tries both.
    covariance : ndarray, shape (T, T)
        Of the coefficients, but for what the view may do [fringe^2].
    focal_px : float, optional
        Focal length of the lens, which tells how near the camera stood where nobody said it.
    """
    broad = broad_places(model.terms)
    if len(broad) < len(model.terms):
        narrow = OrderModel(tuple(model.terms[k] for k in broad), model.values[broad])
        doubt = covariance[np.ix_(broad, broad)]
        seen = as_normal(narrow, edge, options, sense, doubt, focal_px)
        # of a bend of a fringe or two a view changes no more than a hundredth
        return seen.beside(model.values / edge.cos_view, broad)
    terms = model.terms
    contact = options.contact_gap.fringes(options.lamp.wavelength_nm)
    order = rows(terms) @ model.values
    gaps = _gaps(order, sense, contact)
    told = options.camera_distance_mm is not None and options.diameter_mm is not None
    ratios = _ratios_untold() if focal_px is None else _ratios_of_lens(edge, focal_px)
    cosines = _cosines(edge, options) if told else _possible_cosines(edge, ratios)
    # the gap at the contact is never negative, so that dust lifts it on the average
    lift, u_lift = (0.0, contact.u) if told else _lifted(contact, options)
    towards = np.array([1.0, -1.0] if len(gaps) == 2 else [-1.0 if sense == "edge" else 1.0])
    raised = [gap + toward * lift for gap, toward in zip(gaps, towards, strict=True)]
    # shape (contacts, views, terms)
    fits = np.array([projected(terms, gap / cosines) for gap in raised])
    chance = _chances(terms, fits, covariance)
    mean = np.einsum("cv,cvt->t", chance, fits)
    far = model.values / edge.cos_view
    by_lens = focal_px is not None
    share = 1.0 if told or by_lens else _share_of_mean(chance, len(_ends(edge)))
    values = far + share * (mean - far)
    # the mean of two contacts may put the order's zero between two: dark fringes stay at whole ones
    counted = [float(gap[0] - order[0]) for gap in raised]
    zero = share * float(chance.sum(axis=1) @ counted)
    values[terms.index((0, 0))] += round(zero) - zero
    return NormalView(
        values,
        _view_doubt(terms, fits, chance, values),
        Doubt(u_lift * _lift_shapes(terms, cosines, chance, told)),
        _back(terms, gaps, options),
    )


def _gaps(order: Array, sense: str, contact: ContactGap) -> list[Array]:
    """Gap at :func:`places` as seen, of each contact that there may be; of the edge negative.

    Orders are counted from the contact: a whole number, so that dark fringes stay at whole ones.
    """
    lifted = round(contact.value)
    counted = {
        "centre": order - np.floor(order.min() - _LEAST_ORDER) + lifted,
        "edge": order - np.ceil(order.max() + _LEAST_ORDER) - lifted,
    }
    return [counted[sense]] if sense in counted else list(counted.values())


def _lifted(contact: ContactGap, options: ReadOptions) -> tuple[float, float]:
    """Mean and standard deviation of what dust lifts the contact by [fringe]: half a normal."""
    if options.gap_um is not None:
        return 0.0, contact.u
    return contact.u * math.sqrt(2 / math.pi), contact.u * math.sqrt(1 - 2 / math.pi)


def _ends(edge: Edge) -> tuple[float, ...]:
    """Where the camera's foot may lie, from the oval's long axis [degree]: along the short one."""
    return (90.0,) if edge.a - edge.b < 1e-6 * edge.a else (90.0, -90.0)


def _cosines(edge: Edge, options: ReadOptions) -> Array:
    """Cosines of the views at :func:`places`, of a camera whose distance was said, (views, P)."""
    assert options.diameter_mm is not None
    semi, distance = options.diameter_mm / 2, options.camera_distance_mm
    return np.stack([_cosine(edge, semi, distance, end) for end in _ends(edge)])


def _ratios_untold() -> Array:
    """Radius of the work over the camera's distance, r/L, equally likely from far off to near."""
    return np.asarray(_NEAREST_RATIO * (np.arange(_RATIOS) + 0.5) / _RATIOS)


def _ratios_of_lens(edge: Edge, focal_px: float) -> Array:
    """The same where the lens is known: the work's radius in the picture over the focal length."""
    share = np.array([student_quantile((k + 0.5) / _RATIOS) for k in range(_RATIOS)])
    return np.asarray(edge.a / focal_px * (1 + _U_LENS * share))


def _possible_cosines(edge: Edge, ratios: Array) -> Array:
    """Cosines of the views at :func:`places`, of cameras at several r/L, (views, P)."""
    return np.stack(
        [_cosine(edge, float(ratio), 1.0, end) for ratio in ratios for end in _ends(edge)]
    )


def _cosine(edge: Edge, semi: float, distance: float | None, end: float) -> Array:
    return cos_view(*places(), semi, distance, edge.cos_view, edge.angle_deg + end)


def _chances(terms: tuple[Term, ...], fits: Array, covariance: Array) -> Array:
    """Probability of each contact and view, from how bent they make the surface.

    Astigmatism, coma and the rest follow Cauchy's distribution, each by itself: mostly there is
    little of them, but one that is large may be so of any size, and then tells little.
    """
    log = np.zeros(fits.shape[:2])
    variance = np.diag(covariance)
    for kind in _BENT:
        bent = [terms.index(term) for term in kind if term in terms]
        usual = _USUAL_BEND**2 + variance[bent].mean()
        log -= (len(bent) + 1) / 2 * np.log1p((fits[:, :, bent] ** 2).sum(axis=2) / usual)
    chance = np.exp(log - log.max())
    return np.asarray(chance / chance.sum())


def _share_of_mean(chance: Array, ends: int) -> float:
    """Share of the views' mean in the reading, beside that of a far camera.

    The far camera's is kept where the farthest of the views is as likely as they are on the
    average, and given up for their mean where it is ten times less likely.
    """
    farthest = float(chance[:, :ends].sum()) * chance.shape[1] / ends
    return min(1.0, max(0.0, -math.log10(max(farthest, 1e-9))))


def _view_doubt(terms: tuple[Term, ...], fits: Array, chance: Array, values: Array) -> Doubt:
    """Spread of the views about the values, of the contact that leaves the most of power.

    Where each view puts the order's zero is no part of the form.
    """
    place, shapes = terms.index((2, 0)), []
    for fit, weight in zip(fits, chance, strict=True):
        if weight.sum() >= _LEAST_SHARE:
            off = fit - values
            off[:, terms.index((0, 0))] = 0.0
            shapes.append(np.sqrt(weight / weight.sum())[:, None] * off)
    return max((Doubt(one) for one in shapes), key=lambda doubt: doubt.of_power(place))


def _lift_shapes(terms: tuple[Term, ...], cosines: Array, chance: Array, told: bool) -> Array:
    """What a fringe of gap at the contact makes of the form, beyond moving all of it."""
    if told:
        shapes = projected(terms, 1 / cosines[:1])
    else:
        shapes = np.sqrt(chance.sum(axis=0))[:, None] * projected(terms, 1 / cosines)
    # moving all of it is no error: dark fringes stay at whole orders
    shapes[:, terms.index((0, 0))] = 0.0
    return np.asarray(shapes)


def _back(terms: tuple[Term, ...], gaps: list[Array], options: ReadOptions) -> dict[str, Doubt]:
    """What a flat back may hide, where the plate is known to have one; of either contact."""
    if options.plate_back != "flat" or None in (options.diameter_mm, options.plate_radius_mm):
        return {}
    assert options.diameter_mm is not None
    assert options.plate_radius_mm is not None
    size = (options.diameter_mm / 2, options.plate_radius_mm)
    backs = [flat_back_doubt(terms, gap, *size) for gap in gaps]
    return {"plate_back": max(backs, key=lambda doubt: doubt.of_power(terms.index((2, 0))))}
