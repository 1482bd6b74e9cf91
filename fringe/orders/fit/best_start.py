"""The first fit of an aperture's fringes: starts from tiles and from shapes, and their choice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fringe.optics.zernike import Term, zernike_terms
from fringe.orders.fit.carry import projection
from fringe.orders.fit.demodulate import model_of, refine
from fringe.orders.fit.few_fringes import few_fringe_starts
from fringe.orders.fit.field import Field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels, pixels_of
from fringe.orders.fit.prior import Prior
from fringe.orders.fit.refine import Fit, fit_pixels, smooth_terms
from fringe.orders.fit.scale import level_for
from fringe.orders.fit.sharp_fringes import SHARPER, asks_for_profile, with_profile
from fringe.orders.fit.start import quadratic_start
from fringe.orders.fit.tiles import flatten, pyramid_tiles

TINY_RADIUS_PX = 40.0  # least radius of the grid that is fitted, with very few fringes
_MOST_COMPARED = 4  # starts that are compared by their evidence
_NEAR_BEST = 4.0  # times the smallest residual of a start, up to which others are considered
MOST_PIXELS = 30_000
FEWEST_PIXELS = 5_000  # for a fit that only starts the next one
FEW_CYCLES = 40.0  # greatest fringes a unit, below which all shapes are searched
_LEAST_USED = 0.8  # share of the pixels that a start explains, below which others are compared
# share of the pixels that the likeliest start uses, below which starts with a turned edge of
# this depth [fringe] and width [radii] are tried as well
_LEAST_USED_OF_LIKELIEST, _TURNED_DEPTH, _TURNED_WIDTH = 0.85, 0.7, 0.12
# residual of a start of few fringes, as a share of the amplitude, above which starts with coma and
# spherical are tried as well, and the share of what others leave that such a one may leave
_FOLLOWED_MISFIT, _LESS_LEFT = 0.02, 0.8
# share of the variation that the best shape of few fringes explains, below which it does so by
# chance: of noise up to 0.02; fringes that are half of what is left beside them make 0.11
_BY_CHANCE = 0.03
VERY_FEW_CYCLES = 8.0  # greatest fringes a unit, below which uneven light can look like fringes
# residual, as a share of the fringe amplitude, below which a start is accepted without trying
# others: of a known start, and of one from tiles with so many fringes a unit
_KNOWN_MISFIT, _TILES_MISFIT, _CLEAR_CYCLES = 0.2, 0.05, 10.0
# the same of a known start with many fringes, which pixels blur and noise drowns, and the share of
# the pixels that it must explain: an order that is off would leave more, and explain fewer
_NOISY_MISFIT, _NOISY_USED = 0.4, 0.98
_LITTLE_FORM = 0.15  # form beyond degree two that does not suggest aliased rings [fringe]
# share of tiles that agree on a model of degree two: S-shaped fringes have a small one, and the
# refined start shows whether the model holds
_LEAST_SUPPORT = 0.08
POOR_MISFIT = 0.3  # residual of a start, as a share of the amplitude, above which others are tried
_SAME_ORDER = 0.1  # bound on the difference of two starts that lead to one fit [fringe]

PLAIN: tuple[Term, ...] = zernike_terms(4)
WAVY: tuple[Term, ...] = zernike_terms(6)
# a turned edge is narrow and symmetric: it needs many terms, but only symmetric ones
TURNED: tuple[Term, ...] = (*WAVY, *((n, 0) for n in range(8, 21, 2)))
ALL: tuple[Term, ...] = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
# the camera's own dark reflection ends more steeply than degree eight can follow; where contrast
# is low the form would be fitted to it
ALL_SMOOTH = ((*zernike_terms(8), *((n, 0) for n in range(10, 17, 2))), zernike_terms(6))


def best_start(
    field: Field,
    seed: int,
    known: OrderModel | None = None,
    hopeless: float = np.inf,
) -> Fit | None:
    """The start, of several, with the best short fit to a few of the pixels.

    None where each leaves more than `hopeless` times the fringes' amplitude.
    """
    if known is not None:
        fit = _screening_fit(field, known)
        if fit.rms < _KNOWN_MISFIT or is_noisy_but_right(fit):
            return fit
    models, dense = _start_of_tiles(field, seed)
    fits = [_screening_fit(field, model) for model in models]
    if fits and fits[0].rms < _TILES_MISFIT and fits[0].model.steepest() > _CLEAR_CYCLES:
        # a form beyond power and tilt may come from aliased rings
        model = fits[0].model
        form = [x for (n, _), x in zip(model.terms, model.values, strict=True) if n > 2]
        if np.hypot.reduce(form) < _LITTLE_FORM:
            return fits[0]
    # where tiles agree on many fringes, models with few fringes are not tried
    if not dense and (
        not fits or fits[0].model.steepest() < FEW_CYCLES or fits[0].rms > POOR_MISFIT
    ):
        fits = _with_few_fringes(field, fits, hopeless)
    if not fits:
        return None
    best = fits[0]
    # of sharp fringes a cosine leaves no more than their own amplitude
    if best.rms > hopeless:
        return None
    if asks_for_profile(best):
        finer = pixels_of(level_for(field, SHARPER * best.model.steepest()), FEWEST_PIXELS)
        fits = sorted((with_profile(finer, fit) for fit in fits), key=lambda fit: fit.rms)
        best = fits[0]
    near = [fit for fit in fits if fit.rms < _NEAR_BEST * best.rms]
    very_few = min(fit.model.steepest() for fit in near) <= VERY_FEW_CYCLES
    if not very_few and best.used > _LEAST_USED:
        return best
    # with so few fringes uneven light may look like them, and a start that leaves out much of the
    # picture may have lost an order there: compare by evidence, prior included
    most = FEWEST_PIXELS if np.isfinite(hopeless) else None  # enough to look for an edge by
    return _likeliest(field, fits, VERY_FEW_CYCLES if very_few else best.model.steepest(), most)


def _with_few_fringes(field: Field, fits: list[Fit], hopeless: float) -> list[Fit]:
    """Starts and those of few fringes, the best first; coma and spherical where all leave much."""
    found = few_fringe_starts(field)
    many = bool(fits) and fits[0].rms <= hopeless
    if np.isfinite(hopeless) and not many and found[0][1] < _BY_CHANCE:
        return []  # neither many fringes are there nor few
    fits += [_screening_fit(field, model) for model, _ in found]
    fits = sorted(fits, key=lambda fit: fit.rms)
    if not _FOLLOWED_MISFIT < fits[0].rms < hopeless:
        return fits
    # what robust weights leave out of a wrong form is in its cost
    bent_starts = few_fringe_starts(field, keep=3, third_order=True)
    bent = min((_screening_fit(field, model) for model, _ in bent_starts), key=lambda f: f.cost)
    better = bent.cost < _LESS_LEFT * min(fit.cost for fit in fits)
    return [bent, *fits] if better else fits


def is_noisy_but_right(fit: Fit) -> bool:
    """Whether many fringes are followed everywhere, so that what is left of them is noise."""
    dense = fit.model.steepest() > FEW_CYCLES
    return dense and fit.rms < _NOISY_MISFIT and fit.used > _NOISY_USED


def _likeliest(field: Field, fits: list[Fit], cycles: float, most: int | None) -> Fit:
    """The start of the best evidence, of the first few."""
    pixels = pixels_of(level_for(field, cycles, TINY_RADIUS_PX), most)
    smallest = fits[:_MOST_COMPARED]
    different = [
        fit
        for k, fit in enumerate(smallest)
        if all(fit.model.apart(other.model) > _SAME_ORDER for other in smallest[:k])
    ]
    likeliest = min(
        (fit_for_evidence(pixels, fit) for fit in different),
        key=lambda fit: fit.neg_2_log_evidence,
    )
    if likeliest.used > _LEAST_USED_OF_LIKELIEST:
        return likeliest
    turned = _with_turned_edges(field, [smallest[0], likeliest])
    return min(
        (likeliest, *(fit_for_evidence(pixels, fit) for fit in turned)),
        key=lambda fit: fit.neg_2_log_evidence,
    )


def _with_turned_edges(field: Field, fits: list[Fit]) -> list[Fit]:
    """Starts with a turned edge, up and down, beside those that leave much of the picture out.

    Robust weights take a rim that turns by half a fringe for dirt, and no step leads there.
    """
    u, v, from_order = projection(TURNED)
    turned = np.maximum(np.hypot(u, v) - (1 - _TURNED_WIDTH), 0) ** 2 / _TURNED_WIDTH**2
    values = from_order @ turned.ravel() * _TURNED_DEPTH
    models = [fit.model.widened(TURNED) for fit in fits]
    return [
        first_fit(field, OrderModel(TURNED, model.values + way * values), TURNED, FEWEST_PIXELS)
        for model in models
        for way in (1, -1)
    ]


def fit_for_evidence(pixels: Pixels, fit: Fit) -> Fit:
    """Fit all terms with pixels per observation fixed, so that the evidences compare."""
    prior = first_prior(pixels)
    fit = replace(fit, model=fit.model.widened(ALL))
    for most_steps in (10, 4):
        fit = fit_pixels(pixels, fit.model, ALL_SMOOTH, most_steps, known=fit, prior=prior)
        prior = replace(fit.prior, pixels_per_observation=prior.pixels_per_observation)
    return fit


def _screening_fit(field: Field, model: OrderModel) -> Fit:
    return first_fit(field, model, most=FEWEST_PIXELS, most_steps=10)


def _start_of_tiles(field: Field, seed: int) -> tuple[list[OrderModel], bool]:
    """Refined model from local frequencies, or no model where too few of them agree.

    Also whether most agree on many fringes.
    """
    quadratic = quadratic_start(pyramid_tiles(field), seed)
    if quadratic is None or quadratic.support < _LEAST_SUPPORT:
        return [], False
    dense = quadratic.support > 0.5 and quadratic.steepest() > FEW_CYCLES
    level = level_for(field, quadratic.steepest())
    signal = flatten(level, max(level.radius_px / 8, 6))
    model, rms = refine(level, signal, model_of(quadratic))
    return [model] if np.isfinite(rms) and rms < 0.2 else [], dense


def first_prior(pixels: Pixels) -> Prior:
    """Prior of a first fit: the finer the pixels, the more of them make one observation.

    The symmetric terms start narrow, or the many terms of a turned edge fit a wrong order.
    """
    return Prior(
        pixels_per_observation=Prior.pixels_per_observation * len(pixels) / FEWEST_PIXELS,
        symmetric=0.3,
    )


def first_fit(
    field: Field,
    model: OrderModel,
    terms: tuple[Term, ...] | None = None,
    most: int = MOST_PIXELS,
    most_steps: int = 12,
    sharpness: float = 0.0,
) -> Fit:
    """Short fit of a model to a field at the scale that it asks for, without what is known.

    Of degree four, or six where the model has more terms, unless `terms` are given.
    """
    cycles = model.steepest()
    if terms is None:
        terms = PLAIN if len(model.terms) <= len(PLAIN) else WAVY
    pixels = pixels_of(level_for(field, cycles * (SHARPER if sharpness else 1)), most)
    smooth = smooth_terms(cycles)
    return fit_pixels(pixels, model.widened(terms), smooth, most_steps, sharpness=sharpness)
