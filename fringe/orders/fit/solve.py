"""From the picture inside an aperture to fitted fringe orders: starts, choice, refinement."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.form import Term, disc_grid, zernike_matrix, zernike_terms
from fringe.orders.fit.demodulate import OrderModel, model_of, refine
from fringe.orders.fit.few_fringes import few_fringe_starts
from fringe.orders.fit.field import Field, cut_field
from fringe.orders.fit.pixels import Pixels, pixels_of
from fringe.orders.fit.prior import Likely
from fringe.orders.fit.refine import Fit, fit_pixels, smooth_terms
from fringe.orders.fit.scale import scale_that_holds
from fringe.orders.fit.start import quadratic_start
from fringe.orders.fit.tiles import flatten, pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

# Finest sampling that is worth its time: fringes of the highest readable frequency,
# 150 of power with 30 of tilt, still have two and a half samples each.
_MOST_RADIUS_PX = 800.0
_HELD_RADIUS_PX = 160.0  # to which a photograph is reduced at the most before starts are sought
_FREQUENCY_PX = 0.2  # cycles a pixel at the rim of the grid that is fitted
_LEAST_RADIUS_PX = 80.0
_TINY_RADIUS_PX = 40.0  # where fringes are hardly any
_WEIGHED = 4  # starts whose evidence is worth its time
_NEAR_BEST = 4.0  # times the best misfit of a start, up to which others count
_THINNED = 30_000
_FEWER = 10_000  # where a fit only leads to the next one
_FEWEST = 5_000
_FEW_CYCLES = 40.0  # fringes a unit, at their densest, below which all shapes are searched
_HARDLY_ANY = 8.0  # fringes a unit, at their densest, below which light can pass for them
_FEW_DOUBT, _FEWER_DOUBT, _UNEVEN_DOUBT = 0.006, 0.05, 0.1  # [fringe]
# misfit of a start, as a share of the fringe amplitude, that leaves no other: when the start is
# known, and when it comes from tiles and has so many fringes a unit
_KNOWN, _BEST, _SOME_CYCLES = 0.2, 0.05, 10.0
_LITTLE_FORM = 0.15  # fringes beyond power, tilt and astigmatism, that nothing else explains
_GOOD = 0.1  # of one that takes many terms, where few do not fit
# share of tiles that agree on two degrees: of S-shaped fringes it is small; the refined start
# shows whether it is one
_LEAST_SUPPORT = 0.08
_POOR = 0.3  # misfit of a start, as a share of the fringe amplitude, that calls for others

_PLAIN: tuple[Term, ...] = zernike_terms(4)
_WAVY: tuple[Term, ...] = zernike_terms(6)
# a turned edge is narrow and round: it takes many terms, but only round ones
_TURNED: tuple[Term, ...] = (*_WAVY, *((n, 0) for n in range(8, 21, 2)))
_ALL: tuple[Term, ...] = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
# the camera's own dark reflection ends more steeply than degree eight can: where contrast is low
# a form would take its part
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
        Change of power when one more rung of terms is allowed [fringe]; of bursts.
    light_doubt : float
        Standard uncertainty of the power from light whose shapes look like the few fringes
        there are [fringe].
    """

    fit: Fit
    field: Field
    covered: float
    cycles: float
    span: float = 0.0
    form_shift: float = 0.0
    light_doubt: float = 0.0


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
        On the unit disc of `edge`; where it fits well no other start is looked for.

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
        held = scale_that_holds(photo, _HELD_RADIUS_PX, edge)
    else:
        held = int(radius / max(_HELD_RADIUS_PX, 2 * known.steepest() / _FREQUENCY_PX))
    field = cut_field(photo, edge, max(_finest(edge), held), rim)
    light = field.light[field.weight > 0]
    if light.size < 400:
        raise Refused(
            f"{photo.name}: too few usable pixels inside the edge; give another edge or expose less"
        )
    # any fringes fit one even grey, a cap on the lens or a painted picture, and leave nothing
    start = _best_start(field, np.random.default_rng(seed), known) if np.ptp(light) else None
    if start is None:
        raise Refused(f"{photo.name}: no fringes found inside the edge; check lamp, focus and edge")
    level, first = _ready(photo, edge, field, start, rim)
    del field  # in which there may be many more pixels
    return _refined(level, first, start.model.steepest(), rim)


def middle_fit(photo: Photo, edge: Edge, share: float) -> Fit | None:
    """Fit the middle of an aperture; as for `solve`, but with few terms, which continue well.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Sets the unit disc of the model.
    share : float
        Radius of the middle, as a share of the edge's.

    Returns
    -------
    Fit or None
        None when no fringes can be followed.
    """
    inner = replace(edge, a=edge.a * share, b=edge.b * share)
    held = scale_that_holds(photo, _HELD_RADIUS_PX, inner)
    field = cut_field(photo, inner, max(_finest(inner), held))
    if (field.weight > 0).sum() < 400:
        return None
    start = _best_start(field, np.random.default_rng(1))
    if start is None:
        return None
    fit = _first_fit(field, start.model, _PLAIN, _FEWEST)
    if fit.rms > _POOR and start.rms < _GOOD:
        fit = start  # a form that takes more terms
    return replace(fit, model=carried(fit.model, inner, edge))


def _finest(edge: Edge) -> int:
    """Scale to cut a field at whose fringes may be of any number."""
    return max(1, int(np.sqrt(edge.a * edge.b) / _MOST_RADIUS_PX))


def carried(model: OrderModel, old: Edge, new: Edge) -> OrderModel:
    """Express a model over one aperture on the unit disc of another."""
    u, v, from_order = _retold(model.terms)
    order = zernike_matrix(model.terms, *old.unit(*new.pixels(u, v))) @ model.values
    return OrderModel(model.terms, from_order @ order.ravel())


@lru_cache(8)
def _retold(
    terms: tuple[Term, ...],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Places on the unit disc, and the matrix from orders there to coefficients."""
    u, v, weight = disc_grid(24, 48)
    rows = zernike_matrix(terms, u, v).reshape(-1, len(terms))
    weighted = rows * (weight + 1e-9).reshape(-1, 1)
    # terms are all but orthogonal over the disc: normal equations lose nothing
    return u, v, np.asarray(np.linalg.solve(weighted.T @ rows, weighted.T), float)


def refit_twice(
    photo: Photo, edge: Edge, model: OrderModel, *, fine: bool = True
) -> tuple[Fit, ...]:
    """Fit an aperture from a model that is nearly right, once supple and once stiff.

    Parameters
    ----------
    photo, edge
        As for `solve`.
    model : OrderModel
        On the unit disc of `edge`.
    fine : bool
        To as many pixels as many fringes take; else to fewer, where fringes are few.

    Returns
    -------
    tuple of Fit
        With terms that follow a turned edge but run away outside, and with few that do not;
        empty where too few pixels are usable.
    """
    cycles = model.steepest()
    most = _FEWER if fine or cycles > _FEW_CYCLES else _FEWEST
    pixels = pixels_of(level_for(cut_field(photo, edge, _finest(edge)), cycles), most)
    if len(pixels) < 400:
        return ()
    smooth = smooth_terms(cycles)
    return tuple(fit_pixels(pixels, model.widened(terms), smooth) for terms in (_TURNED, _PLAIN))


def _best_start(
    field: Field, rng: np.random.Generator, known: OrderModel | None = None
) -> Fit | None:
    """Of several starts, that which fits best after a short fit to a few of the pixels."""
    if known is not None:
        fit = _screened(field, known)
        if fit.rms < _KNOWN:
            return fit
    models, dense = _start_of_tiles(field, rng)
    fits = [_screened(field, model) for model in models]
    if fits and fits[0].rms < _BEST and fits[0].model.steepest() > _SOME_CYCLES:
        # a form beyond power and tilt may be rings folded over where they are widest
        model = fits[0].model
        form = [x for (n, _), x in zip(model.terms, model.values, strict=True) if n > 2]
        if np.hypot.reduce(form) < _LITTLE_FORM:
            return fits[0]
    # where tiles agree on many fringes, it is not a few, whatever else these could explain
    if not dense and (not fits or fits[0].model.steepest() < _FEW_CYCLES or fits[0].rms > _POOR):
        small = field
        while small.radius_px > 44:
            small = small.half
        few = few_fringe_starts(pixels_of(small, 1500))
        fits += [_screened(field, model) for model, _ in few]
    if not fits:
        return None
    best = min(fits, key=lambda fit: fit.rms)
    near = [fit for fit in fits if fit.rms < _NEAR_BEST * best.rms]
    if min(fit.model.steepest() for fit in near) > _HARDLY_ANY:
        return best
    # so few fringes that light may pass for them: what is likely has a say
    pixels = pixels_of(level_for(field, _HARDLY_ANY, _TINY_RADIUS_PX))
    likeliest = sorted(fits, key=lambda fit: fit.rms)[:_WEIGHED]
    return min((_weighed(pixels, fit) for fit in likeliest), key=lambda fit: fit.surprise)


def _weighed(pixels: Pixels, fit: Fit) -> Fit:
    """Fit all terms, at a fixed worth of a pixel, so that several can be compared."""
    likely = _likely_of(pixels)
    fit = replace(fit, model=fit.model.widened(_ALL))
    for rounds in (10, 4):
        fit = fit_pixels(pixels, fit.model, _ALL_SMOOTH, rounds, known=fit, likely=likely)
        likely = replace(fit.likely, alike=likely.alike)
    return fit


def _screened(field: Field, model: OrderModel) -> Fit:
    return _first_fit(field, model, most=_FEWEST, rounds=10)


def _start_of_tiles(field: Field, rng: np.random.Generator) -> tuple[list[OrderModel], bool]:
    """Model from local frequencies, refined; none where too few of them agree.

    Also whether most agree on fringes that are many.
    """
    quadratic = quadratic_start(pyramid_tiles(field), rng)
    if quadratic is None or quadratic.support < _LEAST_SUPPORT:
        return [], False
    dense = quadratic.support > 0.5 and quadratic.steepest() > _FEW_CYCLES
    level = level_for(field, quadratic.steepest())
    signal = flatten(level, max(level.radius_px / 8, 6))
    model, rms = refine(level, signal, model_of(quadratic))
    return [model] if np.isfinite(rms) and rms < 0.2 else [], dense


def _likely_of(pixels: Pixels) -> Likely:
    """What is likely before a first fit: the finer the pixels, the more of them are alike.

    A turned edge is let in little by little, or its many terms close on a wrong order.
    """
    return Likely(alike=Likely.alike * len(pixels) / _FEWEST, round=0.3)


def level_for(field: Field, cycles: float, least_px: float = _LEAST_RADIUS_PX) -> Field:
    """Halve a field as far as fringes of `cycles` a unit, at most, stay well sampled."""
    while field.radius_px >= 2 * _needed_px(cycles, least_px):
        field = field.half
    return field


def _needed_px(cycles: float, least_px: float) -> float:
    """Radius at which fringes of `cycles` a unit, at most, are well sampled [px]."""
    return max(least_px, cycles / _FREQUENCY_PX)


def _first_fit(
    field: Field,
    model: OrderModel,
    terms: tuple[Term, ...] | None = None,
    most: int = _THINNED,
    rounds: int = 12,
) -> Fit:
    cycles = model.steepest()
    if terms is None:
        terms = _PLAIN if len(model.terms) <= len(_PLAIN) else _WAVY
    pixels = pixels_of(level_for(field, cycles), most)
    return fit_pixels(pixels, model.widened(terms), smooth_terms(cycles), rounds)


def _ready(photo: Photo, edge: Edge, field: Field, start: Fit, rim: float) -> tuple[Field, Fit]:
    """Smallest field that holds the fringes, and a first fit."""
    cycles = start.model.steepest()
    least_px = _TINY_RADIUS_PX if start.model.terms == _ALL else _LEAST_RADIUS_PX
    level = level_for(field, cycles, least_px)
    first = start
    if start.model.terms == _PLAIN:
        first = _first_fit(field, start.model, most=_FEWER)
    # between two halvings lies what holds the fringes with fewer pixels
    scale = int(level.radius_px * level.scale / _needed_px(cycles, least_px))
    if scale >= 1.5 * level.scale:
        level = cut_field(photo, edge, scale, rim)
    return level, first


def _refined(level: Field, first: Fit, cycles: float, rim: float) -> Solution:
    """Fit all terms to some of the pixels, learning what is likely, then to every pixel."""
    sure = cycles > _HARDLY_ANY
    pixels = pixels_of(level, _FEWER if sure else _THINNED)
    fit = replace(first, model=first.model.widened(_ALL))
    likely, noise = _likely_of(pixels), np.inf
    for rounds in (12, 4, 4):
        fit = fit_pixels(
            pixels, fit.model, _ALL_SMOOTH, rounds, known=fit, likely=likely, noise=noise
        )
        likely = fit.likely
        if sure:  # few fringes are led astray by what is taken for dirt too early
            noise = fit.noise
    # one step from what some of the pixels say is as good as any number of them
    final = fit_pixels(
        pixels_of(level),
        fit.model,
        _ALL_SMOOTH,
        1 if sure else 4,
        known=fit,
        tolerated=0.04,
        likely=likely,
        noise=noise,
    )
    covered = float((level.weight > 0).sum()) / float(np.pi * rim**2 * level.radius_px**2)
    u, v, _ = disc_grid(16, 48)
    order = final.model.order(u.astype(np.float32), v.astype(np.float32))
    span = float(np.ptp(order))
    return Solution(
        final, level, covered, cycles, span, light_doubt=_light_doubt(span, final.likely)
    )


def _light_doubt(span: float, likely: Likely) -> float:
    """Standard uncertainty of the power from light that no terms follow [fringe].

    From rendered works of hardly any fringes under light with shadows, blotches and the
    camera's own reflection (`tests/benchmarks/fewfringes.py`): the fewer fringes and the more
    uneven the light, the further power may be off.
    """
    usual = _FEW_DOUBT * (4 / max(span, 4.0)) ** 2 + _FEWER_DOUBT * max(0.0, 2 - span)
    uneven = max(likely.light, likely.contrast)
    return float(np.hypot(usual, _UNEVEN_DOUBT * uneven if span < 6 and uneven > 1 else 0.0))
