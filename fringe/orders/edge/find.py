"""Find the work's edge: where the fringes that fill its middle come to an end.

A rough circle comes from where local frequencies agree on one model, or, with few fringes,
from long circular edges. The fringes of its inner part are then fitted and continued
outward: up to the edge the continued model explains the light, beyond it does not. An edge
that is placed so is fitted and placed again, until it stays; one that wanders is none. The
light's step at the rim gives the last fraction of a pixel, and proves the edge: one that is
placed where no step is to be seen needs more to be believed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fringe.errors import Refused
from fringe.orders.edge.boundary import Contest
from fringe.orders.edge.candidates import rough_circles
from fringe.orders.edge.step import stepped
from fringe.orders.fit.demodulate import OrderModel
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.scale import enlarged, reduced, scale_that_holds
from fringe.orders.fit.solve import carried, middle_fit, refit_twice
from fringe.orders.fit.zernike import basis
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_LEAST_SIDE_PX = 700.0  # of the frame, below which edges lose their sharpness
# how well fringes and surroundings part at an edge: from hardly to beyond question
_LEAST_GAIN, _CLEAR_GAIN, _PLAIN_GAIN = 0.1, 0.8, 1.2
_NEAR_BEST = 0.5  # share of the best gain, at which a larger edge is taken
_MIDDLE_SHARE = 0.96  # of a rough circle, within which there is nothing but fringes
_LEAST_EXPLAINED = 0.6  # of the fringes' variance, in a circle that is worth a closer look
_MOST_MISFIT = 0.7  # of the fringes' amplitude, likewise
# fringes a radius, over which no lamp's contrast falls much, and of which none are invented
_FEW_CYCLES, _MANY_CYCLES = 5.0, 10.0
_LEAST_RIM = -0.2  # contrast at the rim beside the usual: none, but for what terms overshoot
_FITTED_SHARE = 0.993  # of a curve's radius, within which the fringes are fitted to judge it
_CLOSER = (0.997, 0.997, 0.997)  # once the light's step is known
# gain of a step: seen from afar, of one that may be an edge, and of one that is beyond question
_SOME_STEP, _LEAST_STEP, _CLEAR_STEP = 0.3, 0.5, 0.7
_CLEAR_STEP_PX = 0.5  # uncertainty of one that proves an edge without more
_STILL_PX, _NEAR_PX = 0.7, 1.5  # that the next step moves an edge, when it stays or nearly so
_BANDS = (0.05, *[0.03] * 6)  # half widths of the band that is looked at
# shares of the radius within which a placing stays, and two of different circles agree
_STAYS, _AGREES = 0.008, 0.004
_WIDER = 1.04
# Scatter of found edges about the truth on rendered scenes, as shares of the radius: a
# bevel as bright as the fringes draws a part of the rim outward; a step that explains little
# may be another. An edge without a step that does not part fringes from the rest beyond question,
# nor agrees with another, is doubted, and `read` says so.
_PLACED_SHARE, _SEEMING_SHARE, _DOUBTED_SHARE = 0.004, 0.003, 0.012
_ROUND = 1.5  # standard uncertainties by which an oval must differ from a circle


class Placing(NamedTuple):
    """How clear an edge is, the edge, and the fringes on its unit disc."""

    gain: float
    edge: Edge
    model: OrderModel


@dataclass(frozen=True)
class Found:
    """An edge that was found, and the fringes within it.

    Attributes
    ----------
    edge : Edge
        With the standard uncertainty of its semi-axes.
    model : OrderModel
        Of the fringes on its unit disc, good enough to start from.
    """

    edge: Edge
    model: OrderModel


def find_edge(photo: Photo) -> Found:
    """Find the work's edge.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Found

    Raises
    ------
    Refused
        If no edge of a fringed area can be found.
    """
    scale = scale_that_holds(photo, _LEAST_SIDE_PX)
    found = _found(reduced(photo, scale))
    return replace(found, edge=enlarged(_rounded(found.edge), scale))


def _rounded(edge: Edge) -> Edge:
    """Take for a circle what may be one: an error of any kind makes an oval, which adds power."""
    if edge.a - edge.b > 2 * _ROUND * edge.u_px:
        return edge
    radius = float(np.sqrt(edge.a * edge.b))
    return replace(edge, a=radius, b=radius, angle_deg=0.0)


def _found(photo: Photo) -> Found:
    placed: list[Placing] = []
    seeming: list[Placing] = []
    for placing in _placings(photo, rough_circles(photo)):
        proven = _on_the_step(photo, placing.edge, placing.model)
        if proven is not None:
            # one that wandered may have come upon a step of dirt or of a textured surround
            stayed = placing.gain > _LEAST_GAIN or proven.edge.u_px < _CLEAR_STEP_PX
            if stayed and proven.gain > _CLEAR_STEP:
                return Found(proven.edge, proven.model)
            seeming.append(proven)
            if _agreeing(proven, seeming) > 2:
                break
        if placing.gain <= _LEAST_GAIN:
            continue
        # with no step of light to see, one that is beyond question or enough that agree
        agree = _agreeing(placing, placed)
        placed.append(placing)
        if placing.gain > _PLAIN_GAIN or agree >= (1 if placing.gain > _CLEAR_GAIN else 2):
            break
    if seeming:
        best = max(seeming, key=lambda proven: proven.gain)
        return _doubted(best, _SEEMING_SHARE)
    # what parts a few fringes from the rest in part may be anything, unless others come to it, too
    placed = [
        placing
        for placing in placed
        if placing.gain > _CLEAR_GAIN
        or placing.model.steepest() > _MANY_CYCLES
        or _agreeing(placing, placed) > 2
    ]
    if not placed:
        raise Refused(
            f"{photo.name}: the work's edge was not found; give it with --edge CX,CY,R,"
            " or --edge none when it is out of view"
        )
    most = max(placing.gain for placing in placed)
    # fringes end only once, but dirt and a turned edge may part them, too
    chosen = max(
        (placing for placing in placed if placing.gain >= _NEAR_BEST * most),
        key=lambda placing: placing.edge.a * placing.edge.b,
    )
    clear = chosen.gain > (_CLEAR_GAIN if _agreeing(chosen, placed) > 1 else _PLAIN_GAIN)
    return _doubted(chosen, _PLACED_SHARE if clear else _DOUBTED_SHARE)


def _agreeing(placing: Placing, others: Sequence[Placing]) -> int:
    """How many of others lie where an edge does."""
    return sum(_away(placing.edge, other.edge) < _AGREES * other.edge.a for other in others)


def _doubted(placing: Placing, share: float) -> Found:
    """Take an edge as it was placed, with a standard uncertainty of a share of it at least."""
    u_px = max(placing.edge.u_px, share * placing.edge.a)
    return Found(replace(placing.edge, u_px=u_px), placing.model)


def _on_the_step(photo: Photo, edge: Edge, model: OrderModel) -> Placing | None:
    """Move an edge onto the light's step, fitting fringes up to it, until it stays."""
    step = None
    for share in (_FITTED_SHARE, *_CLOSER):
        inner, fits = _fits_within(photo, edge, model, share, fine=share > _FITTED_SHARE)
        start = step if step is not None and step.moved_px < _NEAR_PX else None
        step = None if _lost(fits) else stepped(photo, edge, fits, share, start)
        if step is None or step.gain < _SOME_STEP:
            return None
        edge, model = step.edge, carried(_closest(fits).model, inner, step.edge)
        if share > _FITTED_SHARE and step.moved_px < _STILL_PX:
            return Placing(step.gain, edge, model) if step.gain > _LEAST_STEP else None
    return None


def _fits_within(
    photo: Photo, curve: Edge, model: OrderModel, share: float, *, fine: bool
) -> tuple[Edge, tuple[Fit, ...]]:
    """Fits of the fringes in a share of a curve, and the edge that they are on."""
    inner = replace(curve, a=share * curve.a, b=share * curve.b)
    return inner, refit_twice(photo, inner, carried(model, curve, inner), fine=fine)


def _placings(photo: Photo, circles: Iterable[Edge]) -> Iterator[Placing]:
    """Edges that rough circles lead to, each placed when it is asked for."""
    for circle in circles:
        try:
            middle = middle_fit(photo, circle, _MIDDLE_SHARE)
        except Refused:  # too little light there: no reason to give up on the other circles
            continue
        if middle is None or middle.explained < _LEAST_EXPLAINED or middle.rms > _MOST_MISFIT:
            continue
        placed = None
        for placed in _settled(photo, circle, middle.model):
            yield placed
        if placed is None:
            continue
        # from beyond, too: a turned zone that is left out of a fit is continued wrongly
        wide = replace(placed.edge, a=_WIDER * placed.edge.a, b=_WIDER * placed.edge.b)
        yield from _settled(photo, wide, carried(placed.model, placed.edge, wide))


def _away(one: Edge, other: Edge) -> float:
    """How far two edges lie apart [px]."""
    return float(np.hypot(one.cx - other.cx, one.cy - other.cy) + abs(one.a - other.a))


def _settled(photo: Photo, curve: Edge, model: OrderModel) -> Iterator[Placing]:
    """Place an edge again and again until it stays: where it parts anything, and where it stays.

    Of the first such place, and of an edge that wanders, it is told where it came to, with no
    gain: only a step can prove it.
    """
    told = last = None
    for band in _BANDS:
        try:
            placed = _placed(photo, curve, model, band)
        except Refused:
            placed = None
        if placed is None:
            break
        if last is not None and _away(curve, placed.edge) < _STAYS * curve.a:
            yield placed
            return
        wandering = placed._replace(gain=0.0)
        if told is None and placed.gain > _LEAST_GAIN:
            told = wandering
            yield told
        last = wandering
        curve, model = placed.edge, placed.model
    if last is not None and last is not told:
        yield last


def _placed(photo: Photo, curve: Edge, model: OrderModel, band: float) -> Placing | None:
    """Place the edge where what the fringes explain and what surroundings explain meet."""
    inner, fits = _fits_within(photo, curve, model, _FITTED_SHARE, fine=False)
    if _lost(fits):  # a model that was carried too far: look afresh
        middle = middle_fit(photo, curve, _MIDDLE_SHARE)
        if middle is not None:
            inner, fits = _fits_within(photo, curve, middle.model, _FITTED_SHARE, fine=False)
    if _lost(fits) or fits[0].used < 0.6:
        return None
    shapes = [np.array([k, 0, 0, 0, 0]) for k in np.arange(-0.75 * band, 0.8 * band, 0.005)]
    placed = Contest(photo, curve, fits, _FITTED_SHARE, band).place(shapes)
    edge = placed.edge
    if edge.b < 0.8 * edge.a or not _fringed_to_rim(fits[0]):
        return None
    # what lies beyond the edge looks like dirt to a fit that reaches too far
    gain = placed.gain - 10 * max(0.0, 0.995 - fits[0].used)
    return Placing(gain, edge, carried(_closest(fits).model, inner, edge))


def _closest(fits: tuple[Fit, ...]) -> Fit:
    """The fit to go on from: one that bends to what lies beyond an edge would stay bent."""
    return min(fits, key=lambda fit: fit.rms)


def _lost(fits: tuple[Fit, ...]) -> bool:
    """Tell whether what was fitted is not the fringes."""
    return not fits or fits[0].rms > _MOST_MISFIT


def _fringed_to_rim(fit: Fit) -> bool:
    """Tell whether fringes reach the rim all round: on a plate beyond the work there are none.

    Over many fringes a lamp may lose all of its contrast, over a few none does.
    """
    return _rim_contrast(fit) > (0.5 if fit.model.steepest() < _FEW_CYCLES else _LEAST_RIM)


def _rim_contrast(fit: Fit) -> float:
    """Contrast at the rim, where it is low, as a share of the usual."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    u, v = (0.98 * f(angle).astype(np.float32) for f in (np.cos, np.sin))
    contrast = fit.contrast.astype(np.float32) @ basis(fit.contrast_terms, u, v)
    return float(np.percentile(contrast, 15)) / max(fit.mean_contrast, 1e-6)
