"""From the picture inside an aperture to fitted fringe orders: starts, choice, refinement."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fringe.errors import Refused
from fringe.optics.form import Term, disc_grid, zernike_matrix, zernike_terms
from fringe.orders.coarse import scale_that_holds
from fringe.orders.demod import OrderModel, model_of, refine
from fringe.orders.fewfringes import few_fringe_starts
from fringe.orders.field import Field, cut_field
from fringe.orders.polish import Fit, Pixels, fit_pixels, misfit, pixels_of, smooth_terms
from fringe.orders.start import quadratic_start
from fringe.orders.tiles import flatten, pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

# Finest sampling that is worth its time: fringes of the highest readable frequency,
# 150 of power with 30 of tilt, still have two and a half samples each.
_MOST_RADIUS_PX = 800.0
_HELD_RADIUS_PX = 160.0  # to which a photograph is reduced at the most before starts are sought
_FREQUENCY_PX = 0.2  # cycles a pixel at the rim of the grid that is fitted
_LEAST_RADIUS_PX = 80.0
_THINNED = 30_000
_FEWER = 10_000  # where a fit only leads to the next one
_FEWEST = 5_000
_FEW_CYCLES = 40.0  # fringes a unit, at their densest, below which all shapes are searched
_GOOD = 0.1  # misfit of a start, as a share of the fringe amplitude, that leaves no other
_POOR = 0.3  # misfit of a start, as a share of the fringe amplitude, that calls for others
_FEW_FRINGES = 2.5

LADDER: tuple[tuple[Term, ...], ...] = (
    zernike_terms(2),
    zernike_terms(4),
    zernike_terms(6),
    # a turned edge is narrow and round: it takes many terms, but only round ones
    (*zernike_terms(6), *((n, 0) for n in range(8, 17, 2))),
    (*zernike_terms(8), *((n, 0) for n in range(10, 25, 2))),
)


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
    form_shift : float
        Change of power when one more rung of terms is allowed [fringe].
    span : float
        Greatest less least order on the disc [fringe].
    light_spread : float
        Spread of the power over descriptions of the light that do as well [fringe];
        matters where fringes are few and light that varies looks like them.
    """

    fit: Fit
    field: Field
    covered: float
    cycles: float
    form_shift: float
    span: float = 0.0
    light_spread: float = 0.0


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
    scale = max(1, int(radius / _MOST_RADIUS_PX), held)
    field = cut_field(photo, edge, scale, rim)
    if (field.weight > 0).sum() < 400:
        raise Refused(
            f"{photo.name}: too few usable pixels inside the edge; "
            "give another edge or expose less"
        )
    start = _best_start(field, np.random.default_rng(seed), known)
    if start is None:
        raise Refused(f"{photo.name}: no fringes found inside the edge; check lamp, focus and edge")
    return _climb(field, _first_fit(field, start), rim)


def grow_fit(
    photo: Photo, edge: Edge, shares: tuple[float, ...], seed: int = 1,
    known: OrderModel | None = None,
) -> list[tuple[float, Fit]]:  # fmt: skip
    """Fit the middle of an aperture, then ever wider parts, each from the fit before.

    The terms stop at degree four: higher ones run away outside what they were fitted to.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Sets the unit disc.
    shares : tuple of float
        Radii of the parts, as shares of the edge's.
    seed : int
    known : OrderModel, optional
        As for `solve`.

    Returns
    -------
    list of (float, Fit)
        Share and fit; empty when no fringes can be followed. It stops before the first
        part in which the fit no longer explains the fringes.
    """
    first = replace(edge, a=edge.a * shares[0], b=edge.b * shares[0])
    radius = float(np.sqrt(first.a * first.b))
    field = cut_field(photo, first, max(1, int(radius / _MOST_RADIUS_PX)))
    if (field.weight > 0).sum() < 400:
        return []
    if known is not None:
        known = carried(known, edge, first)
    start = _best_start(field, np.random.default_rng(seed), known)
    if start is None:
        return []
    fit = _first_fit(field, start, LADDER[1], _FEWER)
    if fit.explained < 0.2:
        return []
    model = carried(fit.model, first, edge)
    found = [(shares[0], replace(fit, model=model))]
    wide = cut_field(photo, edge, max(1, int(edge.a / _MOST_RADIUS_PX)), shares[-1])
    level = level_for(wide, min(model.steepest(), 2.5 * fit.model.steepest()))
    rho2 = level.u**2 + level.v**2
    for share in shares[1:]:
        part = replace(level, weight=np.where(rho2 < share**2, level.weight, np.float32(0)))
        fit = fit_pixels(
            pixels_of(part, _FEWER), found[-1][1].model, smooth_terms(found[-1][1].model.steepest())
        )
        if fit.explained < 0.6 * found[0][1].explained or fit.used < 0.75:
            break
        ring = replace(part, weight=np.where(rho2 > 0.85 * share**2, part.weight, np.float32(0)))
        away, amplitude = misfit(pixels_of(ring, 4000), fit)
        if np.median(np.abs(away)) > 2.5 * found[0][1].noise + 0.55 * np.median(amplitude):
            break
        found.append((share, fit))
    return found


def carried(model: OrderModel, old: Edge, new: Edge) -> OrderModel:
    """Express a model over one aperture on the unit disc of another."""
    u, v, weight = disc_grid(12, 48)
    order = zernike_matrix(model.terms, *old.unit(*new.pixels(u, v))) @ model.values
    rows = zernike_matrix(model.terms, u, v)
    root = np.sqrt(weight + 1e-9)
    design = (rows * root[..., None]).reshape(-1, len(model.terms))
    values = np.linalg.lstsq(design, (order * root).ravel(), rcond=None)[0]
    return OrderModel(model.terms, np.asarray(values, float))


def refit(photo: Photo, edge: Edge, model: OrderModel, most: int = 12_000) -> Fit | None:
    """Fit an aperture from a model that is nearly right, with terms for a turned edge.

    Parameters
    ----------
    photo, edge
        As for `solve`.
    model : OrderModel
        On the unit disc of `edge`.
    most : int
        Number of pixels to use at most.

    Returns
    -------
    Fit or None
        None where too few pixels are usable.
    """
    cycles = model.steepest()
    # more terms would follow a turned edge closer, but run away just outside
    terms = (*LADDER[2], (8, 0), (10, 0), (12, 0)) if cycles > 4 else LADDER[1]
    fits = _refits(photo, edge, model, most, (terms,))
    return fits[0] if fits else None


def refit_twice(photo: Photo, edge: Edge, model: OrderModel) -> tuple[Fit, ...]:
    """Fit an aperture as `refit` does, once supple and once stiff.

    Returns
    -------
    tuple of Fit
        With terms that follow a turned edge but run away outside, and with few that do not;
        empty where too few pixels are usable.
    """
    supple = (*LADDER[2], *((n, 0) for n in range(8, 21, 2)))
    return _refits(photo, edge, model, _FEWER, (supple, LADDER[1]))


def _refits(
    photo: Photo, edge: Edge, model: OrderModel, most: int, ladder: tuple[tuple[Term, ...], ...]
) -> tuple[Fit, ...]:
    cycles = model.steepest()
    field = level_for(cut_field(photo, edge, max(1, int(edge.a / _MOST_RADIUS_PX))), cycles)
    pixels = pixels_of(field, most)
    if len(pixels) < 400:
        return ()
    smooth = smooth_terms(cycles)
    return tuple(fit_pixels(pixels, model.widened(terms), smooth) for terms in ladder)


def _best_start(
    field: Field, rng: np.random.Generator, known: OrderModel | None = None
) -> OrderModel | None:
    """Of several starts, that which fits best after a short fit to a few of the pixels."""
    if known is not None:
        fit = _screened(field, known)
        if fit.rms < _GOOD:
            return fit.model
    models, dense = _start_of_tiles(field, rng)
    fits = [_screened(field, model) for model in models]
    # where tiles agree on many fringes, it is not a few, whatever else these could explain
    if not dense and (
        not fits or fits[0].model.steepest() < _FEW_CYCLES or fits[0].rms > _POOR
    ):
        small = field
        while small.radius_px > 44:
            small = small.half
        few = few_fringe_starts(pixels_of(small, 1500))
        fits += [_screened(field, model) for model, _ in few]
    return min(fits, key=lambda fit: fit.rms).model if fits else None


def _screened(field: Field, model: OrderModel) -> Fit:
    return _first_fit(field, model, most=_FEWEST, rounds=10)


def _start_of_tiles(field: Field, rng: np.random.Generator) -> tuple[list[OrderModel], bool]:
    """Model from local frequencies, refined; none where too few of them agree.

    Also whether most agree on fringes that are many.
    """
    quadratic = quadratic_start(pyramid_tiles(field), rng)
    if quadratic is None or quadratic.support <= 0.2:
        return [], False
    dense = quadratic.support > 0.5 and quadratic.steepest() > _FEW_CYCLES
    level = level_for(field, quadratic.steepest())
    signal = flatten(level, max(level.radius_px / 8, 6))
    model, rms = refine(level, signal, model_of(quadratic))
    return [model] if np.isfinite(rms) and rms < 0.2 else [], dense


def level_for(field: Field, cycles: float) -> Field:
    """Halve a field as far as fringes of `cycles` a unit, at most, stay well sampled."""
    need = max(_LEAST_RADIUS_PX, cycles / _FREQUENCY_PX)
    while field.radius_px >= 2 * need:
        field = field.half
    return field


def _first_fit(
    field: Field,
    model: OrderModel,
    terms: tuple[Term, ...] | None = None,
    most: int = _THINNED,
    rounds: int = 12,
) -> Fit:
    cycles = model.steepest()
    if terms is None:
        terms = LADDER[1] if len(model.terms) <= len(LADDER[1]) else LADDER[2]
    pixels = pixels_of(level_for(field, cycles), most)
    return fit_pixels(pixels, model.widened(terms), smooth_terms(cycles), rounds)


def _climb(field: Field, first: Fit, rim: float) -> Solution:
    """Add terms while the picture supports them, then fit every pixel."""
    cycles = first.model.steepest()
    level = level_for(field, cycles)
    pixels = pixels_of(level, _THINNED)
    smooth = smooth_terms(cycles)
    chosen, best, scores = 0, None, []
    fits: list[Fit] = []
    for rung, terms in enumerate(LADDER):
        fit = fit_pixels(pixels, first.model.widened(terms), smooth, rounds=10)
        fits.append(fit)
        scores.append(_information(fit, pixels))
        if best is None or scores[rung] < scores[chosen]:
            chosen, best = rung, fit
        elif rung >= chosen + 2:
            break
    assert best is not None
    after = fits[min(chosen + 1, len(fits) - 1)]
    shift = abs(after.model.power) - abs(best.model.power)
    whole = pixels_of(level)
    final = fit_pixels(whole, best.model, smooth, rounds=3, known=best, tolerated=0.04)
    area = float(np.pi * rim**2 * level.radius_px**2)
    covered = float((level.weight > 0).sum()) / area
    u, v, _ = disc_grid(16, 48)
    order = final.model.order(u.astype(np.float32), v.astype(np.float32))
    span = float(np.ptp(order))
    spread = _light_spread(pixels, best) if span < _FEW_FRINGES else 0.0
    return Solution(final, level, covered, cycles, shift, span, spread)


def _light_spread(pixels: Pixels, best: Fit) -> float:
    """Half the range of power over other descriptions of light and form that fit as well."""
    powers = [abs(best.model.power)]
    for terms in LADDER[:3]:
        for light, contrast in ((2, 0), (3, 0), (3, 1), (4, 1), (4, 2)):
            smooth = (zernike_terms(light), zernike_terms(contrast))
            fit = fit_pixels(pixels, best.model.widened(terms), smooth, rounds=8)
            if fit.cost < 1.15 * best.cost and abs(fit.mean_contrast) <= 1.1:
                powers.append(abs(fit.model.power))
    return float(np.ptp(powers)) / 2


def _information(fit: Fit, pixels: Pixels) -> float:
    """Bayesian information of a robust fit (Schwarz, Ann. Statist. 6 (1978) 461)."""
    count = len(pixels)
    return float(count * np.log(fit.cost) + len(fit.model.terms) * np.log(count))
