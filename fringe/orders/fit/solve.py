"""From the picture inside an aperture to fitted fringe orders: starts, choice, refinement."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.zernike import Term, zernike_terms
from fringe.orders.fit.carry import carried, projection
from fringe.orders.fit.demodulate import model_of, refine
from fringe.orders.fit.few_fringes import few_fringe_starts
from fringe.orders.fit.field import Field, cut_field
from fringe.orders.fit.local_form import (
    Picture,
    missed,
    unexplained,
    with_patches,
    with_zones,
)
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels, pixels_of
from fringe.orders.fit.prior import Prior, light_doubt_of
from fringe.orders.fit.refine import Fit, fit_pixels, smooth_terms
from fringe.orders.fit.scale import LEAST_RADIUS_PX, coarsest_scale, level_for, needed_px
from fringe.orders.fit.sharp_fringes import SHARPER, asks_for_profile, with_profile
from fringe.orders.fit.start import quadratic_start
from fringe.orders.fit.tiles import flatten, pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

# Finest sampling that is worth its time: fringes of the highest readable frequency,
# 150 of power with 30 of tilt, still have two and a half samples each.
_MOST_RADIUS_PX = 800.0
_REDUCED_RADIUS_PX = 160.0  # least radius to which a photograph is reduced before starts are sought
_TINY_RADIUS_PX = 40.0  # least radius of the grid that is fitted, with very few fringes
_MOST_COMPARED = 4  # starts that are compared by their evidence
_NEAR_BEST = 4.0  # times the smallest residual of a start, up to which others are considered
MOST_PIXELS = 30_000
_FEWER_PIXELS = 10_000  # for a fit that only starts the next one
_FEWEST_PIXELS = 5_000
# for the last fit: all 1.7 million pixels under 64 or 128 fringes tell power no better, and take
# twice the time of the whole reading
_LAST_PIXELS = 100_000
_FEW_CYCLES = 40.0  # greatest fringes a unit, below which all shapes are searched
_LEAST_USED = 0.8  # share of the pixels that a start explains, below which others are compared
# share of the pixels that the likeliest start uses, below which starts with a turned edge of
# this depth [fringe] and width [radii] are tried as well
_LEAST_USED_OF_LIKELIEST, _TURNED_DEPTH, _TURNED_WIDTH = 0.85, 0.7, 0.12
# residual of a start of few fringes, as a share of the amplitude, above which starts with coma and
# spherical are tried as well, and the share of what others leave that such a one may leave
_FOLLOWED_MISFIT, _LESS_LEFT = 0.02, 0.8
_VERY_FEW_CYCLES = 8.0  # greatest fringes a unit, below which uneven light can look like fringes
# Residuals are correlated farther than a block of the covariance reaches: on rendered pictures
# of perfect spheres coefficients scatter by 1.25 to 1.65 times what it says.
_FIT_VARIANCE = 2.0
# residual, as a share of the fringe amplitude, below which a start is accepted without trying
# others: of a known start, and of one from tiles with so many fringes a unit
_KNOWN_MISFIT, _TILES_MISFIT, _CLEAR_CYCLES = 0.2, 0.05, 10.0
# the same of a known start with many fringes, which pixels blur and noise drowns, and the share of
# the pixels that it must explain: an order that is off would leave more, and explain fewer
_NOISY_MISFIT, _NOISY_USED = 0.4, 0.98
_LITTLE_FORM = 0.15  # form beyond degree two that does not suggest aliased rings [fringe]
_GOOD_MISFIT = 0.1  # residual of a start with many terms, preferred where few terms do not fit
# share of tiles that agree on a model of degree two: S-shaped fringes have a small one, and the
# refined start shows whether the model holds
_LEAST_SUPPORT = 0.08
# residual of a start in the search for the edge from which no fit with more terms recovers: of
# noise and walls starts leave 3.8 to 12 times the amplitude, and fits of all terms 2.9 or more
_HOPELESS_MISFIT = 2.0
# share of the pixels used below which, and scale of the symmetric terms above which, the form may
# be one that the terms do not follow
_USED, _STEEP_FORM = 0.994, 1.5
# share of what was unexplained in the missed areas that local terms may leave there, before the
# last fit and after it: of bumps and holes at contrasts of 0.1 to 0.9 it is 0.01 to 0.12 and 0.01
# to 0.06, of dirt that patches were bent to 0.17 and more; share of the former cost that a steep
# form, or rings at the rim alone, may leave
_PROMISING, _UNEXPLAINED, _CHEAPER = 0.25, 0.1, 0.6
# misfit that local terms may still have, as a share of the amplitude, from fit to fit
TOLERATED = (0.4, 0.15, 0.08)
_POOR_MISFIT = 0.3  # residual of a start, as a share of the amplitude, above which others are tried
_SAME_ORDER = 0.1  # bound on the difference of two starts that lead to one fit [fringe]

_PLAIN: tuple[Term, ...] = zernike_terms(4)
_WAVY: tuple[Term, ...] = zernike_terms(6)
# a turned edge is narrow and symmetric: it needs many terms, but only symmetric ones
_TURNED: tuple[Term, ...] = (*_WAVY, *((n, 0) for n in range(8, 21, 2)))
_ALL: tuple[Term, ...] = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
# the camera's own dark reflection ends more steeply than degree eight can follow; where contrast
# is low the form would be fitted to it
_ALL_SMOOTH = ((*zernike_terms(8), *((n, 0) for n in range(10, 17, 2))), zernike_terms(6))


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
    rim_errors: NDArray[np.float64] | None = None
    fit_variance: float = _FIT_VARIANCE


def solve(
    photo: Photo, edge: Edge, rim: float = 1.0, seed: int = 1, known: OrderModel | None = None
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
    start = _best_start(field, np.random.default_rng(seed), known) if np.ptp(light) else None
    if start is None:
        raise Refused(f"{photo.name}: no fringes found inside the edge; check lamp, focus and edge")
    level, first = _prepared(photo, edge, field, start, rim)
    del field  # free its memory: it may have many more pixels than `level`
    return _refined(level, first, start.model.steepest(), rim)


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
    inner = replace(edge, a=edge.a * share, b=edge.b * share)
    reduction = coarsest_scale(photo, _REDUCED_RADIUS_PX, inner)
    field = cut_field(photo, inner, max(_finest(inner), reduction))
    if (field.weight > 0).sum() < 400:
        return None
    if known is not None:
        known = carried(known, edge, inner)
    start = _best_start(field, np.random.default_rng(1), known, _HOPELESS_MISFIT)
    if start is None:
        return None
    fit = _first_fit(field, start.model, _PLAIN, _FEWEST_PIXELS, sharpness=start.sharpness)
    if fit.rms > _POOR_MISFIT and start.rms < _GOOD_MISFIT:
        fit = start  # a form that takes more terms
    return replace(fit, model=carried(fit.model, inner, edge))


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
    most = _FEWER_PIXELS if fine or cycles > _FEW_CYCLES else _FEWEST_PIXELS
    pixels = pixels_of(level_for(cut_field(photo, edge, _finest(edge)), cycles), most)
    if len(pixels) < 400:
        return ()
    smooth = smooth_terms(cycles)
    return tuple(fit_pixels(pixels, model.widened(terms), smooth) for terms in (_TURNED, _PLAIN))


def _best_start(
    field: Field,
    rng: np.random.Generator,
    known: OrderModel | None = None,
    hopeless: float = np.inf,
) -> Fit | None:
    """The start, of several, with the best short fit to a few of the pixels.

    None where each leaves more than `hopeless` times the fringes' amplitude.
    """
    if known is not None:
        fit = _screening_fit(field, known)
        if fit.rms < _KNOWN_MISFIT or _is_noisy_but_right(fit):
            return fit
    models, dense = _start_of_tiles(field, rng)
    fits = [_screening_fit(field, model) for model in models]
    if fits and fits[0].rms < _TILES_MISFIT and fits[0].model.steepest() > _CLEAR_CYCLES:
        # a form beyond power and tilt may come from aliased rings
        model = fits[0].model
        form = [x for (n, _), x in zip(model.terms, model.values, strict=True) if n > 2]
        if np.hypot.reduce(form) < _LITTLE_FORM:
            return fits[0]
    # where tiles agree on many fringes, models with few fringes are not tried
    if not dense and (
        not fits or fits[0].model.steepest() < _FEW_CYCLES or fits[0].rms > _POOR_MISFIT
    ):
        fits = _with_few_fringes(field, fits, hopeless)
    if not fits:
        return None
    best = fits[0]
    if asks_for_profile(best):
        finer = pixels_of(level_for(field, SHARPER * best.model.steepest()), _FEWEST_PIXELS)
        fits = sorted((with_profile(finer, fit) for fit in fits), key=lambda fit: fit.rms)
        best = fits[0]
    if best.rms > hopeless:
        return None
    near = [fit for fit in fits if fit.rms < _NEAR_BEST * best.rms]
    very_few = min(fit.model.steepest() for fit in near) <= _VERY_FEW_CYCLES
    if not very_few and best.used > _LEAST_USED:
        return best
    # with so few fringes uneven light may look like them, and a start that leaves out much of the
    # picture may have lost an order there: compare by evidence, prior included
    return _likeliest(field, fits, _VERY_FEW_CYCLES if very_few else best.model.steepest())


def _with_few_fringes(field: Field, fits: list[Fit], hopeless: float) -> list[Fit]:
    """Starts and those of few fringes, the best first; coma and spherical where all leave much."""
    fits = sorted([*fits, *_of_few_fringes(field)], key=lambda fit: fit.rms)
    if not _FOLLOWED_MISFIT < fits[0].rms < hopeless:
        return fits
    # what robust weights leave out of a wrong form is in its cost
    bent = min(_of_few_fringes(field, third_order=True), key=lambda fit: fit.cost)
    better = bent.cost < _LESS_LEFT * min(fit.cost for fit in fits)
    return [bent, *fits] if better else fits


def _of_few_fringes(field: Field, *, third_order: bool = False) -> list[Fit]:
    """Short fits from the shapes of few fringes that explain most of the picture."""
    found = few_fringe_starts(field, keep=3 if third_order else 6, third_order=third_order)
    return [_screening_fit(field, model) for model, _ in found]


def _is_noisy_but_right(fit: Fit) -> bool:
    """Whether many fringes are followed everywhere, so that what is left of them is noise."""
    dense = fit.model.steepest() > _FEW_CYCLES
    return dense and fit.rms < _NOISY_MISFIT and fit.used > _NOISY_USED


def _likeliest(field: Field, fits: list[Fit], cycles: float) -> Fit:
    """The start of the best evidence, of the first few."""
    pixels = pixels_of(level_for(field, cycles, _TINY_RADIUS_PX))
    smallest = fits[:_MOST_COMPARED]
    different = [
        fit
        for k, fit in enumerate(smallest)
        if all(fit.model.apart(other.model) > _SAME_ORDER for other in smallest[:k])
    ]
    likeliest = min(
        (_fit_for_evidence(pixels, fit) for fit in different),
        key=lambda fit: fit.neg_2_log_evidence,
    )
    if likeliest.used > _LEAST_USED_OF_LIKELIEST:
        return likeliest
    turned = _with_turned_edges(field, [smallest[0], likeliest])
    return min(
        (likeliest, *(_fit_for_evidence(pixels, fit) for fit in turned)),
        key=lambda fit: fit.neg_2_log_evidence,
    )


def _with_turned_edges(field: Field, fits: list[Fit]) -> list[Fit]:
    """Starts with a turned edge, up and down, beside those that leave much of the picture out.

    Robust weights take a rim that turns by half a fringe for dirt, and no step leads there.
    """
    u, v, from_order = projection(_TURNED)
    turned = np.maximum(np.hypot(u, v) - (1 - _TURNED_WIDTH), 0) ** 2 / _TURNED_WIDTH**2
    values = from_order @ turned.ravel() * _TURNED_DEPTH
    models = [fit.model.widened(_TURNED) for fit in fits]
    return [
        _first_fit(field, OrderModel(_TURNED, model.values + way * values), _TURNED, _FEWEST_PIXELS)
        for model in models
        for way in (1, -1)
    ]


def _fit_for_evidence(pixels: Pixels, fit: Fit) -> Fit:
    """Fit all terms with pixels per observation fixed, so that the evidences compare."""
    prior = first_prior(pixels)
    fit = replace(fit, model=fit.model.widened(_ALL))
    for most_steps in (10, 4):
        fit = fit_pixels(pixels, fit.model, _ALL_SMOOTH, most_steps, known=fit, prior=prior)
        prior = replace(fit.prior, pixels_per_observation=prior.pixels_per_observation)
    return fit


def _screening_fit(field: Field, model: OrderModel) -> Fit:
    return _first_fit(field, model, most=_FEWEST_PIXELS, most_steps=10)


def _start_of_tiles(field: Field, rng: np.random.Generator) -> tuple[list[OrderModel], bool]:
    """Refined model from local frequencies, or no model where too few of them agree.

    Also whether most agree on many fringes.
    """
    quadratic = quadratic_start(pyramid_tiles(field), rng)
    if quadratic is None or quadratic.support < _LEAST_SUPPORT:
        return [], False
    dense = quadratic.support > 0.5 and quadratic.steepest() > _FEW_CYCLES
    level = level_for(field, quadratic.steepest())
    signal = flatten(level, max(level.radius_px / 8, 6))
    model, rms = refine(level, signal, model_of(quadratic))
    return [model] if np.isfinite(rms) and rms < 0.2 else [], dense


def first_prior(pixels: Pixels) -> Prior:
    """Prior of a first fit: the finer the pixels, the more of them make one observation.

    The symmetric terms start narrow, or the many terms of a turned edge fit a wrong order.
    """
    return Prior(
        pixels_per_observation=Prior.pixels_per_observation * len(pixels) / _FEWEST_PIXELS,
        symmetric=0.3,
    )


def _first_fit(
    field: Field,
    model: OrderModel,
    terms: tuple[Term, ...] | None = None,
    most: int = MOST_PIXELS,
    most_steps: int = 12,
    sharpness: float = 0.0,
) -> Fit:
    cycles = model.steepest()
    if terms is None:
        terms = _PLAIN if len(model.terms) <= len(_PLAIN) else _WAVY
    pixels = pixels_of(level_for(field, cycles * (SHARPER if sharpness else 1)), most)
    smooth = smooth_terms(cycles)
    return fit_pixels(pixels, model.widened(terms), smooth, most_steps, sharpness=sharpness)


def _prepared(photo: Photo, edge: Edge, field: Field, start: Fit, rim: float) -> tuple[Field, Fit]:
    """Coarsest field that resolves the fringes, and a first fit."""
    cycles = start.model.steepest() * (SHARPER if start.sharpness else 1)
    least_px = _TINY_RADIUS_PX if start.model.terms == _ALL else LEAST_RADIUS_PX
    level = level_for(field, cycles, least_px)
    first = start
    if start.model.terms == _PLAIN:
        first = _first_fit(field, start.model, most=_FEWER_PIXELS, sharpness=start.sharpness)
    # a scale between two halvings may resolve the fringes with fewer pixels
    scale = int(level.radius_px * level.scale / needed_px(cycles, least_px))
    if scale >= 1.5 * level.scale:
        level = cut_field(photo, edge, scale, rim)
    return level, first


def _refined(level: Field, first: Fit, cycles: float, rim: float) -> Solution:
    """Fit all terms to some of the pixels, estimating the prior's scales, then to all, or many."""
    clear = cycles > _VERY_FEW_CYCLES
    fit = replace(first, model=first.model.widened(_ALL))
    final = with_all_terms(level, fit, clear)
    return solution_of(level, _followed(level, first, final), cycles, rim)


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
            pixels, fit.model, _ALL_SMOOTH, most_steps, fit, misfit, prior=prior, noise=noise
        )
        prior = fit.prior
        if clear:  # with few fringes, robust weights set too early lead to a wrong fit
            noise = fit.noise
    # from a fit to some of the pixels one step on many is enough
    return fit_pixels(
        pixels_of(level, _LAST_PIXELS),
        fit.model,
        _ALL_SMOOTH,
        1 if clear else 4,
        known=fit,
        tolerated=0.04,
        prior=prior,
        noise=noise,
    )


def _followed(level: Field, first: Fit, fit: Fit) -> Fit:
    """The fit, or one with local terms where these follow what it missed."""
    steep = fit.prior.symmetric > _STEEP_FORM
    if fit.used > _USED and not steep:
        return fit
    picture = Picture.of(level, fit)
    before = missed(picture, fit.model)
    if before.share == 0 and not steep:
        return fit
    model = with_zones(picture, first.model) if steep else with_patches(picture, fit.model, before)
    was = unexplained(picture, fit.model, before)
    if not steep and unexplained(picture, model, before) > _PROMISING * was:
        return fit
    pixels = pixels_of(level, MOST_PIXELS)
    prior = first_prior(pixels)
    if steep:
        prior = replace(prior, symmetric=1.0, zoned=True)
    found = with_all_terms(level, replace(fit, model=model), True, prior, TOLERATED)
    after = Picture.of(level, found)
    left = missed(after, found.model).share
    # the cost of the whole face would count its noise as well, and that of dirt elsewhere
    good = left <= before.share and unexplained(after, found.model, before) <= _UNEXPLAINED * was
    if steep or not before.where.any():
        good &= found.cost < _CHEAPER * fit.cost
    return found if good else fit
