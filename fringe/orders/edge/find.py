"""Find the work's edge: where the fringes that fill its middle end.

A rough circle comes from where local frequencies agree on one model, or, with few fringes,
from long circular edges. The fringes of its inner part are then fitted and extrapolated
outward: up to the edge the model explains the light, beyond it does not. The edge is placed
again until it converges; one that does not converge is rejected. The light's step at the rim
gives the last fraction of a pixel and confirms the edge; an edge without a visible step needs
other evidence.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fringe.errors import Refused
from fringe.orders.edge.boundary import BoundaryFit
from fringe.orders.edge.by_rings import edge_by_rings
from fringe.orders.edge.circles import MIDDLE_SHARE, MOST_MISFIT, Circle, Circles
from fringe.orders.edge.going_on import where_rings_go_on
from fringe.orders.edge.rim_contrast import fringed_to_rim
from fringe.orders.edge.step import light_step
from fringe.orders.fit.carry import carried
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.scale import coarsest_scale, enlarged, reduced
from fringe.orders.fit.solve import middle_fit, refit_twice
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

_LONGEST_FRAME = 8.0  # longer side over the shorter; panoramas have 4, and a work is round
_LEAST_SIDE_PX = 700.0  # of the frame, below which edges lose their sharpness
# gain of an edge between fringes and surroundings: least, clear, certain
_LEAST_GAIN, _CLEAR_GAIN, _CERTAIN_GAIN = 0.1, 0.8, 1.2
_NEAR_BEST = 0.5  # share of the best gain, at which a larger edge is taken
_MANY_CYCLES = 10.0  # fringes a radius, so many that a fit does not produce them by chance
_FITTED_SHARE = 0.993  # of a curve's radius, within which the fringes are fitted to judge it
_CLOSER_SHARES = (0.997, 0.997, 0.997)  # once the light's step is known
# gain of a step: visible from some pixels off, of a possible edge, and of a certain one
_SOME_STEP, _LEAST_STEP, _CLEAR_STEP = 0.3, 0.5, 0.7
_CLEAR_STEP_PX = 0.5  # uncertainty of a step that proves an edge by itself
_CONVERGED_PX, _NEAR_PX = 0.7, 1.5  # last move of a converged edge, and of a nearly converged one
_HALF_WIDTHS = (0.05, *[0.03] * 6)  # of the band, as shares of the radius
# shares of the radius: last move of a converged edge, and distance at which two edges agree
_CONVERGED_SHARE, _AGREEING_SHARE = 0.008, 0.004
_WIDER = 1.04
# growth of an edge that never converged, from which it ran away; places in a circle without clear
# fringes
_RAN_AWAY, _FEW_PLACES = 1.2, 3
_BY_RINGS = 6  # places about which rings of light are followed, where no candidate holds
_MOST_DIM = 3  # circles without clear fringes, after which none is expected
# Scatter of found edges about the truth on rendered scenes, as shares of the radius: a
# bevel as bright as the fringes draws a part of the rim outward; a step that explains little
# may be another. An edge that has no step, no certain gain and no other edge that agrees with it
# is doubtful, and `read` warns of it.
_CLEAR_SHARE, _STEP_SHARE, _DOUBTFUL_SHARE = 0.004, 0.003, 0.012
_LEAST_OVAL = 0.66  # axes of an outline that may be a disc's
_ROUND = 1.5  # standard uncertainties by which an oval must differ from a circle


class EdgeCandidate(NamedTuple):
    """An edge with its gain, and the fringes on its unit disc."""

    gain: float
    edge: Edge
    model: OrderModel


@dataclass(frozen=True)
class FoundEdge:
    """An edge that was found, and the fringes within it.

    Attributes
    ----------
    edge : Edge
        With the standard uncertainty of its semi-axes.
    model : OrderModel or None
        Of the fringes on its unit disc, good enough to start from; None of an edge that is given.
    """

    edge: Edge
    model: OrderModel | None = None


def find_edge(photo: Photo) -> FoundEdge:
    """Find the work's edge.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    FoundEdge

    Raises
    ------
    Refused
        If no edge of a fringed area can be found.
    """
    if max(photo.width, photo.height) > _LONGEST_FRAME * min(photo.width, photo.height):
        raise Refused(
            f"{photo.name}: {photo.width} x {photo.height} pixels are a strip in which no edge can"
            " be found; photograph the whole work, or give it with --edge CX,CY,R"
        )
    scale = coarsest_scale(photo, _LEAST_SIDE_PX)
    in_reduced = _find_in_reduced(reduced(photo, scale))
    return replace(in_reduced, edge=enlarged(_circle_unless_oval(in_reduced.edge), scale))


def past_dark_fringe(photo: Photo, edge: Edge, fit: Fit) -> FoundEdge | None:
    """The work's edge, where a dark fringe about its middle was taken for it; else None.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        That was found.
    fit : Fit
        Of all that lies within it, on its unit disc.
    """
    end = where_rings_go_on(photo, edge, fit)
    if end is None:
        return None
    # anywhere between; to fits of few terms the dark fringe was the edge, so these tell no better
    return FoundEdge(replace(end, u_px=(end.a - edge.a) / 2), carried(fit.model, edge, end))


def _circle_unless_oval(edge: Edge) -> Edge:
    """Take a slight oval for a circle: errors make an outline oval, and that adds power.

    It may be one all the same: what the semi-axes are moved by stays in doubt.
    """
    if edge.a - edge.b > 2 * _ROUND * edge.u_px:
        return edge
    radius = float(np.sqrt(edge.a * edge.b))
    u_px = float(np.hypot(edge.u_px, (edge.a - edge.b) / 2))
    return replace(edge, a=radius, b=radius, angle_deg=0.0, u_px=u_px)


def _find_in_reduced(photo: Photo) -> FoundEdge:
    search, circles = _Search(photo), Circles(photo)
    refusal: Refused | None = None
    try:
        search.over(circles)
        if search.result() is None:
            search.over(circles.sharp())
    except Refused as reason:  # the lines are no fringes
        refusal = reason
    found = search.result()
    if found is not None:
        return found
    raise refusal or Refused(
        f"{photo.name}: the work's edge was not found; give it with --edge CX,CY,R,"
        " or --edge none when it is out of view"
    )


class _Search:
    """Candidates that are weighed one after another, and what they tell together."""

    def __init__(self, photo: Photo) -> None:
        self._photo = photo
        self._certain: FoundEdge | None = None
        self._accepted: list[EdgeCandidate] = []
        self._on_steps: list[EdgeCandidate] = []
        self._rejected: list[EdgeCandidate] = []
        self._by_rings: list[Edge] = []
        self._ringed: FoundEdge | None = None

    def over(self, circles: Iterable[Circle]) -> None:
        """Weigh the candidates of circles until they decide, or nothing can.

        Raises
        ------
        Refused
            When the lines turn out to be no fringes.
        """
        dim = 0  # circles without clear fringes, less those with
        for circle in circles:
            if circle.at_end and self._ends_by_rings(circle):
                return
            for candidate in _candidates(self._photo, circle):
                if candidate is None or self._decides(candidate):
                    return
            if self._on_steps:
                continue
            if circle.is_clear and (self._ends_by_rings(circle) or self._is_ringed(circle)):
                return
            dim += -1 if circle.is_clear or self._accepted else 1
            if dim == _MOST_DIM:
                return

    def _decides(self, candidate: EdgeCandidate) -> bool:
        """Weigh a candidate: whether it is certain, or enough of them agree."""
        on_step = _at_light_step(self._photo, candidate.edge, candidate.model)
        if on_step is not None:
            # without convergence the step may be one of dirt or of a textured surround
            stayed = candidate.gain > _LEAST_GAIN or on_step.edge.u_px < _CLEAR_STEP_PX
            if stayed and on_step.gain > _CLEAR_STEP:
                self._certain = FoundEdge(on_step.edge, on_step.model)
                return True
            self._on_steps.append(on_step)
            if _count_agreeing(on_step, self._on_steps) > 2:
                return True
        if candidate.gain <= _LEAST_GAIN:
            self._rejected.append(candidate)
            return False
        # without a step, a certain edge or enough edges that agree
        agree = _count_agreeing(candidate, self._accepted)
        self._accepted.append(candidate)
        return candidate.gain > _CERTAIN_GAIN or agree >= (1 if candidate.gain > _CLEAR_GAIN else 2)

    def _ends_by_rings(self, circle: Circle) -> bool:
        """Whether rings of light about a circle, or a place that is not certain, lead to an edge.

        So do those of a work whose rim is turned so much that no fit follows it to the edge. The
        first that ends where a fit would go on is kept, for when nothing else places it.
        """
        assert circle.middle is not None
        rough = EdgeCandidate(0.0, circle.edge, circle.middle.model)
        for place in (rough, *self._accepted, *self._rejected):
            if len(self._by_rings) == _BY_RINGS:
                break
            if any(
                _distance_px(place.edge, one) < _AGREEING_SHARE * one.a for one in self._by_rings
            ):
                continue
            self._by_rings.append(place.edge)
            with contextlib.suppress(Refused):
                ringed = edge_by_rings(self._photo, place.edge, place.model)
                if ringed is None:
                    continue
                found = self._on_step_near(place, ringed.edge) or FoundEdge(ringed.edge)
                if ringed.is_turned:
                    self._certain = found
                    return True
                self._ringed = self._ringed or found
        return False

    def _is_ringed(self, circle: Circle) -> bool:
        """Whether rings that lie where fringes end are all that tells of the edge."""
        if circle.at_end and self._ringed is not None and self._certain is None:
            self._certain = self._ringed
            return True
        return False

    def _on_step_near(self, place: EdgeCandidate, edge: Edge) -> FoundEdge | None:
        """An edge by rings on the light's step, where that tells its place and oval better.

        Where no fit follows the fringes to it, a step may be that of where they are lost.
        """
        model = carried(place.model, place.edge, edge)
        on_step = _at_light_step(self._photo, edge, model)
        if on_step is None or on_step.gain < _CLEAR_STEP or on_step.edge.u_px > edge.u_px:
            return None
        grown_px = np.sqrt(on_step.edge.a * on_step.edge.b) - np.sqrt(edge.a * edge.b)
        return FoundEdge(on_step.edge, on_step.model) if abs(grown_px) < _NEAR_PX else None

    def result(self) -> FoundEdge | None:
        """The best edge; None where there is none."""
        if self._certain is not None:
            return self._certain
        if self._on_steps:
            best = max(self._on_steps, key=lambda on_step: on_step.gain)
            return _with_uncertainty(best, _STEP_SHARE)
        # a weak gain with few fringes is no evidence, unless other starts lead to the same edge
        accepted = [
            candidate
            for candidate in self._accepted
            if candidate.gain > _CLEAR_GAIN
            or candidate.model.steepest() > _MANY_CYCLES
            or _count_agreeing(candidate, self._accepted) > 2
        ]
        if not accepted:
            return self._ringed
        most = max(candidate.gain for candidate in accepted)
        # fringes end only once, but dirt and a turned edge may interrupt them
        chosen = max(
            (candidate for candidate in accepted if candidate.gain >= _NEAR_BEST * most),
            key=lambda candidate: candidate.edge.a * candidate.edge.b,
        )
        clear = _CLEAR_GAIN if _count_agreeing(chosen, accepted) > 1 else _CERTAIN_GAIN
        return _with_uncertainty(chosen, _CLEAR_SHARE if chosen.gain > clear else _DOUBTFUL_SHARE)


def _count_agreeing(candidate: EdgeCandidate, others: Sequence[EdgeCandidate]) -> int:
    """Number of other candidates at the same place."""
    return sum(
        _distance_px(candidate.edge, other.edge) < _AGREEING_SHARE * other.edge.a
        for other in others
    )


def _with_uncertainty(candidate: EdgeCandidate, share: float) -> FoundEdge:
    """Accept a candidate, its standard uncertainty at least a share of its radius."""
    u_px = max(candidate.edge.u_px, share * candidate.edge.a)
    return FoundEdge(replace(candidate.edge, u_px=u_px), candidate.model)


def _at_light_step(photo: Photo, edge: Edge, model: OrderModel) -> EdgeCandidate | None:
    """Move an edge onto the light's step, fitting fringes up to it, until it converges."""
    step = None
    for share in (_FITTED_SHARE, *_CLOSER_SHARES):
        inner, fits = _fits_within(photo, edge, model, share, fine=share > _FITTED_SHARE)
        start = step if step is not None and step.moved_px < _NEAR_PX else None
        step = None if _lost(fits) else light_step(photo, edge, fits, share, start)
        if step is None or step.gain < _SOME_STEP:
            return None
        edge, model = step.edge, carried(_best_fit(fits).model, inner, step.edge)
        if share > _FITTED_SHARE and step.moved_px < _CONVERGED_PX:
            return EdgeCandidate(step.gain, edge, model) if step.gain > _LEAST_STEP else None
    return None


def _fits_within(
    photo: Photo, curve: Edge, model: OrderModel, share: float, *, fine: bool
) -> tuple[Edge, tuple[Fit, ...]]:
    """Fits of the fringes in a share of a curve, and the edge that they are on."""
    inner = replace(curve, a=share * curve.a, b=share * curve.b)
    return inner, refit_twice(photo, inner, carried(model, curve, inner), fine=fine)


def _candidates(photo: Photo, circle: Circle) -> Iterator[EdgeCandidate | None]:
    """Candidates from a rough circle, each placed when it is requested; None ends the search."""
    if circle.middle is None:
        circle.refuse_no_fringes()
        return
    if circle.at_end:
        yield from _at_end(photo, circle.edge, circle.middle.model)
        return
    if circle.is_sharp:  # its own step may tell where fits follow a form too little to place it
        yield EdgeCandidate(0.0, circle.edge, circle.middle.model)
    placed = None
    for number, placed in enumerate(_iterated(photo, circle.edge, circle.middle.model, circle)):
        yield placed
        # the first place decides for most works, which need no further look
        if number == 0 and circle.leads_nowhere():
            yield None
    if placed is None:
        if circle.leads_nowhere():
            yield None
        return
    ran_away = placed.gain <= 0 and placed.edge.a > _RAN_AWAY * circle.edge.a
    if ran_away or not circle.is_clear:
        return
    # start from outside as well: a turned zone outside the fit is extrapolated wrongly
    wide = replace(placed.edge, a=_WIDER * placed.edge.a, b=_WIDER * placed.edge.b)
    yield from _iterated(photo, wide, carried(placed.model, placed.edge, wide))


def _at_end(photo: Photo, curve: Edge, model: OrderModel) -> Iterator[EdgeCandidate]:
    """Candidates from a curve where fringes end: an edge, or where a turned rim begins.

    So a weak gain is none.
    """
    yield EdgeCandidate(0.0, curve, model)
    for placed in _iterated(photo, curve, model):
        yield placed._replace(gain=placed.gain if placed.gain > _CLEAR_GAIN else 0.0)


def _distance_px(first: Edge, second: Edge) -> float:
    """Distance of two edges, of their centres and radii together [px]."""
    return float(np.hypot(first.cx - second.cx, first.cy - second.cy) + abs(first.a - second.a))


def _iterated(
    photo: Photo, curve: Edge, model: OrderModel, circle: Circle | None = None
) -> Iterator[EdgeCandidate]:
    """Place an edge again until it converges: its first place with any gain, and its last.

    Before convergence, or without it, a place is yielded with gain zero: only a step can
    confirm it. About a turned rim it may go round between places, of which the best is yielded:
    a fit to the whole face follows the turned zone less well than one to its inner part. In a
    `circle` without clear fringes it is not placed more than a few times.
    """
    reported: EdgeCandidate | None = None
    places: list[EdgeCandidate] = []
    for number, band in enumerate(_HALF_WIDTHS):
        if number == _FEW_PLACES and circle is not None and not circle.is_clear:
            break
        try:
            moved = _best_position(photo, curve, model, band)
        except Refused:
            moved = None
        if moved is None:
            break
        if places and _same_place(moved, places[-1]):
            yield moved
            return
        for before, place in enumerate(places):
            if _same_place(moved, place):
                yield max([*places[before:], moved], key=lambda candidate: candidate.gain)
                return
        places.append(moved)
        if reported is None and moved.gain > _LEAST_GAIN:
            reported = moved
            yield moved._replace(gain=0.0)
        curve, model = moved.edge, moved.model
    if places and places[-1] is not reported:
        yield places[-1]._replace(gain=0.0)


def _same_place(moved: EdgeCandidate, place: EdgeCandidate) -> bool:
    """Whether a placed edge is where it was placed before."""
    return _distance_px(place.edge, moved.edge) < _CONVERGED_SHARE * place.edge.a


def _best_position(
    photo: Photo, curve: Edge, model: OrderModel, band: float
) -> EdgeCandidate | None:
    """Place the edge at the boundary between light explained by fringes and by surroundings."""
    inner, fits = _fits_within(photo, curve, model, _FITTED_SHARE, fine=False)
    if _lost(fits):  # the model was extrapolated too far: fit the middle again
        middle = middle_fit(photo, curve, MIDDLE_SHARE)
        if middle is not None:
            inner, fits = _fits_within(photo, curve, middle.model, _FITTED_SHARE, fine=False)
    if _lost(fits) or fits[0].used < 0.6:
        return None
    shapes = [np.array([k, 0, 0, 0, 0]) for k in np.arange(-0.75 * band, 0.8 * band, 0.005)]
    placed = BoundaryFit(photo, curve, fits, _FITTED_SHARE, band).place(shapes)
    edge = placed.edge
    if edge.b < _LEAST_OVAL * edge.a or not fringed_to_rim(fits[0]):
        return None
    # a fit that extends beyond the edge down-weights those pixels as dirt
    gain = placed.gain - 10 * max(0.0, 0.995 - fits[0].used)
    return EdgeCandidate(gain, edge, carried(_best_fit(fits).model, inner, edge))


def _best_fit(fits: tuple[Fit, ...]) -> Fit:
    """The fit to continue from: one bent by light from beyond the edge would stay bent."""
    return min(fits, key=lambda fit: fit.rms)


def _lost(fits: tuple[Fit, ...]) -> bool:
    """Tell whether the fits missed the fringes."""
    return not fits or fits[0].rms > MOST_MISFIT
