"""From the picture inside an aperture to fitted fringe orders: refinement, local form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.form import form_quantities
from fringe.orders.fit.best_start import (
    ALL,
    ALL_SMOOTH,
    FEW_CYCLES,
    FEWEST_PIXELS,
    MOST_PIXELS,
    PLAIN,
    POOR_MISFIT,
    TINY_RADIUS_PX,
    TURNED,
    VERY_FEW_CYCLES,
    best_start,
    first_fit,
    first_prior,
)
from fringe.orders.fit.carry import carried
from fringe.orders.fit.field import Field, cut_field
from fringe.orders.fit.local_form import (
    MOST_AREA,
    Missed,
    Picture,
    missed,
    unexplained,
    with_patches,
    with_zones,
)
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import pixels_of
from fringe.orders.fit.prior import Prior, light_doubt_of
from fringe.orders.fit.refine import Fit, fit_pixels, smooth_terms
from fringe.orders.fit.scale import LEAST_RADIUS_PX, coarsest_scale, level_for, needed_px
from fringe.orders.fit.sharp_fringes import SHARPER
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

# Finest sampling that is worth its time: fringes of the highest readable frequency,
# 150 of power with 30 of tilt, still have two and a half samples each.
_MOST_RADIUS_PX = 800.0
_REDUCED_RADIUS_PX = 160.0  # least radius to which a photograph is reduced before starts are sought
_FEWER_PIXELS = 10_000  # for a fit that only starts the next one
# for the last fit: all 1.7 million pixels under 64 or 128 fringes tell power no better, and take
# twice the time of the whole reading
_LAST_PIXELS = 100_000
# Residuals are correlated farther than a block of the covariance reaches: on rendered pictures
# of perfect spheres coefficients scatter by 1.25 to 1.65 times what it says.
_FIT_VARIANCE = 2.0
_GOOD_MISFIT = 0.1  # residual of a start with many terms, preferred where few terms do not fit
# residual of a start in the search for the edge from which no fit with more terms recovers: of
# noise and walls starts leave 3.8 to 12 times the amplitude, and fits of all terms 2.9 or more
_HOPELESS_MISFIT = 2.0
# share of the pixels used below which, and scale of the symmetric terms above which, the form may
# be one that the terms do not follow
_USED, _STEEP_FORM = 0.994, 1.5
# share of what was unexplained in the missed areas that local terms may leave there, before the
# last fit and after it: of bumps and holes at contrasts of 0.1 to 0.9 it is 0.01 to 0.33 and 0 to
# 0.06, of dirt that patches were bent to 0.17 and more after it; share of the former cost that a
# steep form, or rings, may leave where no missed area is there to be judged by
_PROMISING, _UNEXPLAINED, _CHEAPER = 0.5, 0.1, 0.6
# the same of small areas, a share of the aperture, to which patches bend as well where there is
# dirt: of bumps 0.01 to 0.03, of dirt 0.05 and more
_SMALL, _OF_SMALL = 0.012, 0.04
# forms with local terms that are fitted, by how much their irregularity differs [fringe], and cost
# over the least at which one is as likely
_MOST_MODELS, _DIFFERS, _ALIKE_COST = 3, 0.1, 1.1
# misfit that local terms may still have, as a share of the amplitude, from fit to fit
TOLERATED = (0.4, 0.15, 0.08)


@dataclass(frozen=True)
class Solution:
    """Fitted orders over an aperture.

    Attributes
    ----------
    fit : Fit
        On all pixels.
    field : Field
        The grid that was fitted.
    covered : float
        Share of the aperture's area that has usable pixels.
    cycles : float
        Greatest frequency on the disc [cycles / unit].
    span : float
        Greatest less least order on the disc [fringe].
    form_shift : float
        Change of power when the next larger set of terms is allowed [fringe]; of bursts.
    light_doubt : float
        Standard uncertainty of the power from uneven light that resembles few fringes [fringe].
    unexplained : float
        Largest connected part of the face whose fringes are not those of the fit, as a share of
        it; see `agreement.py`, which is asked when the fit is judged.
    miscounted : bool
        Whether the orders counted in the picture are others; see `continuity.py`.
    odd : bool
        Whether the form is far from a sphere's and dirt hides a part of the face; `checks.py`.
    missed : float
        Share of the aperture whose fringes are not followed, though local terms were tried.
    rival : OrderModel or None
        Another form that explains the light as well.
    rim_errors : ndarray, shape (K, R), or None
        Independent errors of the mean order at the radii of `form_shapes.nodes`, near a rim that
        rings were followed across, each of standard deviation one [fringe].
    fit_variance : float
        How many times the fit's covariance its coefficients really scatter.
    """

    fit: Fit
    field: Field
    covered: float
    cycles: float
    span: float = 0.0
    form_shift: float = 0.0
    light_doubt: float = 0.0
    unexplained: float = 0.0
    miscounted: bool = False
    odd: bool = False
    missed: float = 0.0
    rival: OrderModel | None = None
    rim_errors: NDArray[np.float64] | None = None
    fit_variance: float = _FIT_VARIANCE

    @property
    def rival_shift(self) -> tuple[float, float]:
        """By how much power and irregularity of the rival form differ [fringe]."""
        if self.rival is None:
            return 0.0, 0.0
        power = abs(abs(self.rival.power) - abs(self.fit.model.power))
        return power, abs(_height(self.rival) - _height(self.fit.model))


class _Followed(NamedTuple):
    """A fit, the share of the aperture that it misses, and a form that is as likely."""

    fit: Fit
    missed: float = 0.0
    rival: OrderModel | None = None


def solve(
    photo: Photo,
    edge: Edge,
    rim: float = 1.0,
    seed: int = 1,
    known: OrderModel | None = None,
    judge: Callable[[OrderModel], None] | None = None,
) -> Solution:
    """Fit the fringes inside an aperture.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    rim : float
        Share of the aperture's radius to use.
    seed : int
        For the random sampling of starts; the result hardly depends on it.
    known : OrderModel, optional
        On the unit disc of `edge`; where it fits well no other start is tried.
    judge : callable, optional
        Is told the order on the terms of the whole disc before any others are sought; refuses what
        no two spheres make.

    Returns
    -------
    Solution

    Raises
    ------
    Refused
        If no fringes can be followed.
    """
    radius = float(np.sqrt(edge.a * edge.b))
    if known is None:
        reduction = coarsest_scale(photo, _REDUCED_RADIUS_PX, edge)
    else:
        reduction = int(radius / max(_REDUCED_RADIUS_PX, 2 * needed_px(known.steepest(), 0)))
    field = cut_field(photo, edge, max(_finest(edge), reduction), rim)
    light = field.light[field.weight > 0]
    if light.size < 400:
        raise Refused(
            f"{photo.name}: too few usable pixels inside the edge; give another edge or expose less"
        )
    # any model fits a uniform grey without residual: a cap on the lens, a painted picture
    start = best_start(field, seed, known) if np.ptp(light) else None
    if start is None:
        raise Refused(f"{photo.name}: no fringes found inside the edge; check lamp, focus and edge")
    level, first = _prepared(photo, edge, field, start, rim)
    del field  # free its memory: it may have many more pixels than `level`
    cycles = start.model.steepest()
    scale = max(1, int(radius / LEAST_RADIUS_PX))
    if scale < level.scale:
        solution = _refined(level, first, cycles, rim, judge, coarse=True)
        if not solution.missed:
            return solution
        level = cut_field(photo, edge, scale, rim)  # bumps, and dirt, are finer than the fringes
    return _refined(level, first, cycles, rim, judge)


def middle_fit(
    photo: Photo, edge: Edge, share: float, known: OrderModel | None = None
) -> Fit | None:
    """Fit the middle of an aperture as `solve` does, with few terms, which extrapolate well.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Sets the unit disc of the model.
    share : float
        Radius of the middle, as a share of the edge's.
    known : OrderModel, optional
        On the unit disc of `edge`; where it fits well no other start is tried.

    Returns
    -------
    Fit or None
        None when no fringes can be followed.
    """
    fits = middle_fits(photo, edge, share, known)
    return None if fits is None else fits[0]


def middle_fits(
    photo: Photo, edge: Edge, share: float, known: OrderModel | None = None
) -> tuple[Fit, Fit] | None:
    """The fit of :func:`middle_fit`, and its start, which may have more terms.

    The order of the start is on the unit disc of the middle itself.
    """
    inner = replace(edge, a=edge.a * share, b=edge.b * share)
    reduction = coarsest_scale(photo, _REDUCED_RADIUS_PX, inner)
    field = cut_field(photo, inner, max(_finest(inner), reduction))
    if (field.weight > 0).sum() < 400:
        return None
    if known is not None:
        known = carried(known, edge, inner)
    start = best_start(field, 1, known, _HOPELESS_MISFIT)
    if start is None:
        return None
    fit = first_fit(field, start.model, PLAIN, FEWEST_PIXELS, sharpness=start.sharpness)
    if fit.rms > POOR_MISFIT and start.rms < _GOOD_MISFIT:
        fit = start  # a form that takes more terms
    return replace(fit, model=carried(fit.model, inner, edge)), start


def _finest(edge: Edge) -> int:
    """Scale of a field whose number of fringes is not known yet."""
    return max(1, int(np.sqrt(edge.a * edge.b) / _MOST_RADIUS_PX))


def refit_twice(
    photo: Photo, edge: Edge, model: OrderModel, *, fine: bool = True
) -> tuple[Fit, ...]:
    """Fit an aperture from a model that is nearly right, once with many terms and once with few.

    Parameters
    ----------
    photo, edge
        As for `solve`.
    model : OrderModel
        On the unit disc of `edge`.
    fine : bool
        To as many pixels as many fringes need; else to fewer where fringes are few.

    Returns
    -------
    tuple of Fit
        With terms that follow a turned edge but diverge outside it, and with few terms that do
        not; empty where too few pixels are usable.
    """
    cycles = model.steepest()
    most = _FEWER_PIXELS if fine or cycles > FEW_CYCLES else FEWEST_PIXELS
    pixels = pixels_of(level_for(cut_field(photo, edge, _finest(edge)), cycles), most)
    if len(pixels) < 400:
        return ()
    smooth = smooth_terms(cycles)
    return tuple(fit_pixels(pixels, model.widened(terms), smooth) for terms in (TURNED, PLAIN))


def _prepared(photo: Photo, edge: Edge, field: Field, start: Fit, rim: float) -> tuple[Field, Fit]:
    """Coarsest field that resolves the fringes, and a first fit."""
    cycles = start.model.steepest() * (SHARPER if start.sharpness else 1)
    least_px = TINY_RADIUS_PX if start.model.terms == ALL else LEAST_RADIUS_PX
    level = level_for(field, cycles, least_px)
    first = start
    if start.model.terms == PLAIN:
        first = first_fit(field, start.model, most=_FEWER_PIXELS, sharpness=start.sharpness)
    # a scale between two halvings may resolve the fringes with fewer pixels
    scale = int(level.radius_px * level.scale / needed_px(cycles, least_px))
    if scale >= 1.5 * level.scale:
        level = cut_field(photo, edge, scale, rim)
    return level, first


def _refined(
    level: Field,
    first: Fit,
    cycles: float,
    rim: float,
    judge: Callable[[OrderModel], None] | None,
    *,
    coarse: bool = False,
) -> Solution:
    """Fit all terms to some of the pixels, estimating the prior's scales, then to all, or many.

    No local terms are tried on a `coarse` level: small dirt looks like fringes there.
    """
    clear = cycles > VERY_FEW_CYCLES
    fit = replace(first, model=first.model.widened(ALL))
    final = with_all_terms(level, fit, clear)
    if judge is not None:
        judge(final.model)
    followed = _followed(level, first, final, coarse)
    solution = solution_of(level, followed.fit, cycles, rim)
    return replace(solution, missed=followed.missed, rival=followed.rival)


def solution_of(level: Field, final: Fit, cycles: float, rim: float) -> Solution:
    """The solution of a field that was fitted."""
    covered = float((level.weight > 0).sum()) / float(np.pi * rim**2 * level.radius_px**2)
    span = final.model.span()
    return Solution(
        final, level, covered, cycles, span, light_doubt=light_doubt_of(span, final.prior)
    )


def with_all_terms(
    level: Field,
    fit: Fit,
    clear: bool,
    prior: Prior | None = None,
    tolerated: tuple[float, float, float] = (0.08, 0.08, 0.08),
) -> Fit:
    """Fit a model's terms to some of the pixels, learning the prior, then to all, or many."""
    pixels = pixels_of(level, _FEWER_PIXELS if clear else MOST_PIXELS)
    prior, noise = prior or first_prior(pixels), np.inf
    for most_steps, misfit in zip((12, 4, 4), tolerated, strict=True):
        fit = fit_pixels(
            pixels, fit.model, ALL_SMOOTH, most_steps, fit, misfit, prior=prior, noise=noise
        )
        prior = fit.prior
        if clear:  # with few fringes, robust weights set too early lead to a wrong fit
            noise = fit.noise
    # from a fit to some of the pixels one step on many is enough
    return fit_pixels(
        pixels_of(level, _LAST_PIXELS),
        fit.model,
        ALL_SMOOTH,
        1 if clear else 4,
        known=fit,
        tolerated=0.04,
        prior=prior,
        noise=noise,
    )


def _followed(level: Field, first: Fit, fit: Fit, coarse: bool) -> _Followed:
    """The fit, or one with local terms where these follow what it missed."""
    steep = fit.prior.symmetric > _STEEP_FORM
    if fit.used > _USED and not steep:
        return _Followed(fit)
    picture = Picture.of(level, fit)
    before = missed(picture, fit.model)
    if coarse or (before.share == 0 and not steep):
        return _Followed(fit, before.share or float(steep))
    was = unexplained(picture, fit.model, before)
    prior = first_prior(pixels_of(level, MOST_PIXELS))
    if steep:
        prior = replace(prior, symmetric=1.0, zoned=True)
    # the cost of the whole face counts its noise as well, and that of dirt elsewhere
    cheaper = (1.0 if before.where.any() else _CHEAPER) * fit.cost
    most = (_UNEXPLAINED if before.share > _SMALL else _OF_SMALL) * was
    found = []
    for model in _local_models(picture, first, fit, before):
        if not steep and unexplained(picture, model, before) > _PROMISING * was:
            break
        local = with_all_terms(level, replace(fit, model=model), True, prior, TOLERATED)
        after = Picture.of(level, local)
        left = missed(after, local.model).share
        explains = unexplained(after, local.model, before) <= most
        if explains and left <= before.share and local.cost < cheaper:
            found.append(_Followed(local, left))
    if not found:
        return _Followed(fit, before.share)
    best, *others = sorted(found, key=lambda one: one.fit.cost)
    alike = [one for one in others if one.fit.cost < _ALIKE_COST * best.fit.cost]
    return best._replace(rival=alike[0].fit.model) if alike else best


def _local_models(picture: Picture, first: Fit, fit: Fit, areas: Missed) -> list[OrderModel]:
    """Forms with local terms, the best first, of different irregularity."""
    models = []
    if fit.prior.symmetric > _STEEP_FORM:
        models.append(with_zones(picture, first.model))
    if not models or (areas.where.any() and areas.share < MOST_AREA):
        models += with_patches(picture, fit.model, areas)
    kept: list[OrderModel] = []
    for model in models:
        if all(abs(_height(model) - _height(other)) > _DIFFERS for other in kept):
            kept.append(model)
    return kept[:_MOST_MODELS]


def _height(model: OrderModel) -> float:
    """Peak to valley of a form's irregularity [fringe]."""
    return form_quantities(model.terms, model.values).irregularity_pv
