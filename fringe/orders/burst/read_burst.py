"""Read several frames of one contact, taken with unknown steps, as one gap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput, Refused
from fringe.optics.zernike import zernike_rows, zernike_terms
from fringe.orders.burst.checks import (
    LEAST_CONDITIONING,
    form_change,
    too_alike,
    too_few_fringes,
)
from fringe.orders.burst.drift import check_still, left_shifts, moved_back, steadied
from fringe.orders.burst.form import FittedForm, PhaseMap, edge_of_amplitude, fit_form
from fringe.orders.burst.frames import Burst, Maps, cut_burst, maps_of, solve_steps
from fringe.orders.burst.pixels import Stack, Steps, solve_pixels
from fringe.orders.burst.steps import improve
from fringe.orders.checks import with_form_warnings
from fringe.orders.edge.find import FoundEdge, find_edge
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.refine import Fit
from fringe.orders.fit.robust import cauchy_squared, robust_fit, robust_sigma
from fringe.orders.fit.scale import coarsest_scale, enlarged, reduced, shrunk
from fringe.orders.fit.solve import Solution, solve
from fringe.orders.from_fit import reading_of
from fringe.orders.lamp_colour import lamp_warnings
from fringe.orders.mixed_lamp import in_one_line
from fringe.orders.options import ReadOptions, check_edge
from fringe.orders.reading import Reading
from fringe.photo.ellipse import Edge
from fringe.photo.frames import check_alike
from fringe.photo.load import Photo
from fringe.threads import one_thread

LEAST_FRAMES = 5  # with fewer, steps and gains are not determined
_LEAST_SPAN = 0.8  # fringes in view in one frame at least; with less, bursts read 0.1 fringe off
_CLEAR_SPAN = 5.0  # fringes in view, from which one frame alone tells the power
_ROOM_FOUND, _ROOM_GIVEN = 1.22, 1.1  # radius of what is cut out, edge found and given
_LEFT_OUT = 5000  # pixels for the jackknife
# pixels along the rim that are left out: for the camera's blur, in its own pixels, and for blocks
# that lie across the rim
_RIM_PX, _BLOCK_RIM_PX = 3.0, 0.75
_REDUCED_RADIUS_PX = 225.0  # least radius to which frames are reduced
_FREQUENCY_PX = 0.2  # cycles a pixel at the rim of the reduced frames, at most
_MUCH_DRIFT = (
    0.35  # of a frame, from which it is taken out and the steps are solved again [field px]
)
_SOME_CHANGE = 0.04  # of the form within a burst [fringe]


@one_thread()
def read_burst(photos: Sequence[Photo], options: ReadOptions) -> Reading:
    """Read several frames of one contact.

    What the camera drifts by is taken out; between frames the gap shifts by an unknown amount, by
    pressing or settling, and may lean a little. The steps do not determine the sense: their
    direction is unknown.

    Parameters
    ----------
    photos : sequence of Photo
        Five or more frames; eight serve well.
    options : ReadOptions
        As for one photograph; an edge that is not given is found.

    Returns
    -------
    Reading
        Its tilt and dark fringes are those of the first frame; `frames` and
        `steps_fringes` tell of the burst.

    Raises
    ------
    BadInput
        If the frames are too few, or differ in size or colour.
    Refused
        If the steps are too alike, the camera moved, or the gap changed its form.
    """
    _check_frames(photos, options)
    photos, options = _in_one_line(photos, options)
    first, name = photos[0], f"{photos[0].name} and {len(photos) - 1} more"
    if isinstance(options.edge, Edge):
        found, edge_source = FoundEdge(options.edge), "given"
        check_edge(first, found.edge)
    else:
        found, edge_source = find_edge(first), "found"
    room = _ROOM_GIVEN if edge_source == "given" else _ROOM_FOUND
    rng = np.random.default_rng(1)
    scale = _scale_of(first, found)
    small = steadied([reduced(photo, scale) for photo in photos], scale)
    burst, steps, maps = _solved(small, (shrunk(found.edge, scale), options, room), name, rng)
    if edge_source == "found":
        burst = _with_better_edge(burst, maps, name)
    maps, doubt = _even_light(burst, steps, maps)
    form = fit_form(_phase_map(burst, maps, scale), name)
    _check_span(burst, steps, form, name)
    _check_frame(small[0], burst, form, found.model, name)
    frames = _jackknife(burst, steps, form, rng)
    spreads = (frames, _gauge_spread(burst, maps, doubt))
    solution = _as_solution(small[0], burst, maps, form, spreads)
    edge = enlarged(burst.edge, scale)
    reading = _as_reading(photos, options, edge, edge_source, solution, steps, small[0].notes)
    return with_form_warnings(first, reading)


def _scale_of(photo: Photo, found: FoundEdge) -> int:
    """Side of the blocks [px] that frames are averaged over before anything else is done.

    Fringes stay well sampled, and the rim is some hundred pixels away from the middle: more
    pixels would only be averaged later, by the fit.
    """
    radius = math.sqrt(found.edge.a * found.edge.b)
    if found.model is None:
        scale = coarsest_scale(photo, _REDUCED_RADIUS_PX, found.edge)
    else:
        scale = int(radius / max(_REDUCED_RADIUS_PX, found.model.steepest() / _FREQUENCY_PX))
    return max(1, scale)


def _in_one_line(
    photos: Sequence[Photo], options: ReadOptions
) -> tuple[Sequence[Photo], ReadOptions]:
    """All frames in the channel of the first, as of one photograph."""
    first, told = in_one_line(photos[0], options)
    return [first, *(photo.in_channel(first.channel) for photo in photos[1:])], told


def _check_frames(photos: Sequence[Photo], options: ReadOptions) -> None:
    if options.edge == "none":
        raise BadInput("--burst: needs the edge in view; --edge none does not go with it")
    if len(photos) < LEAST_FRAMES:
        raise BadInput(
            f"--burst: {len(photos)} frames are too few for unknown steps; take"
            f" {LEAST_FRAMES} or more, eight serve well"
        )
    check_alike(photos)


def _solved(
    photos: Sequence[Photo],
    cut: tuple[Edge, ReadOptions, float],
    name: str,
    rng: np.random.Generator,
) -> tuple[Burst, Steps, Maps]:
    """Cut out and solve, again where the camera is seen to have drifted once the steps are known.

    Raises
    ------
    Refused
        If frames are still shifted against one another then, or the steps are not to be solved.
    """
    known = None
    for again in range(2):
        burst = cut_burst(photos, *cut)
        known = steps = solve_steps(burst, name, rng, known)
        maps = maps_of(burst, steps)
        shifts = left_shifts(burst, maps)
        if float(np.hypot(shifts[:, 0], shifts[:, 1]).max()) < _MUCH_DRIFT:
            return burst, steps, maps
        if not again:
            photos = moved_back(photos, burst.first.scale * shifts)
    check_still(burst, shifts, name)
    return burst, steps, maps


def _check_span(burst: Burst, steps: Steps, form: FittedForm, name: str) -> None:
    """Refuse frames none of which shows enough of a fringe to tell steps from changing light.

    Where all pixels are at like phase, a step makes all of them brighter or darker at once.
    """
    stack = burst.stack(np.flatnonzero(burst.inside(0.98))[::29])
    order = form.model.order(stack.columns[1], stack.columns[2])
    orders = order + (steps.values - steps.values[0]) @ stack.columns
    if float(np.ptp(orders, axis=1).max()) < _LEAST_SPAN:
        raise too_few_fringes(name)


def _check_frame(
    photo: Photo, burst: Burst, form: FittedForm, known: OrderModel | None, name: str
) -> None:
    """Refuse a form that is not that of a frame alone, where a frame alone is clear.

    Frames that hardly differ can be explained by steps over a sliver of a fringe, and then
    make any form.
    """
    try:
        alone = solve(photo, burst.edge, known=known)
    except Refused:
        return
    clear = alone.span > _CLEAR_SPAN and alone.fit.explained > 0.8 and alone.fit.used > 0.8
    power = abs(alone.fit.model.power)
    if clear and abs(power - abs(form.model.power)) > 0.25 + 0.02 * power:
        raise too_alike(name)


def _with_better_edge(burst: Burst, maps: Maps, name: str) -> Burst:
    """Take the edge from where the fringes end, which several frames show without rings."""
    first = burst.first
    known = (maps.conditioning > 0.2 * np.median(maps.conditioning)).astype(np.float32)
    edge = edge_of_amplitude(maps.amplitude, known, burst.edge, (first.x0, first.y0), first.scale)
    if edge is None:
        return burst
    apart = math.hypot(edge.cx - burst.edge.cx, edge.cy - burst.edge.cy)
    apart += abs(edge.a - burst.edge.a) + abs(edge.b - burst.edge.b)
    if edge.u_px > burst.edge.u_px and apart < 6 * edge.u_px:
        return burst
    x = first.x0 + first.scale * np.arange(burst.u.shape[1])
    y = first.y0 + first.scale * np.arange(burst.u.shape[0])
    u, v = edge.unit(x[None, :], y[:, None])
    return replace(burst, u=u.astype(np.float32), v=v.astype(np.float32), edge=edge)


def _even_light(burst: Burst, steps: Steps, maps: Maps) -> tuple[Maps, NDArray[np.float64]]:
    """Settle what frames alone leave open: whether gains or the mean light follow the steps.

    Gains g_k (1 + b cos d_k) with a mean light A - b C show the same frames. A mean light
    without fringes is wanted, and gains that vary no more with the steps than otherwise; each
    by its own variance.

    Returns
    -------
    maps : Maps
    doubt : ndarray, shape (2, 2)
        Covariance of b along cos and sin.
    """
    frames = len(steps.log_gain)
    phase = 2 * np.pi * steps.values[:, 0]
    turn = np.stack([np.cos(phase), np.sin(phase)], axis=1)
    gain_u2 = float((steps.log_gain**2).sum()) / max(frames - 3, 1) + 1e-7
    prior = turn.T @ (turn - turn.mean(axis=0)) / gain_u2
    where = np.flatnonzero(burst.inside(0.97))[::7]
    mean, cos, sin = (x.ravel()[where].astype(float) for x in (maps.mean, maps.cos, maps.sin))
    u, v = burst.u.ravel()[where], burst.v.ravel()[where]

    smooth = zernike_rows(zernike_terms(4), u, v).astype(float)
    design = np.concatenate([np.stack([cos, sin]), smooth])

    def tolerance(residual: NDArray[np.float64]) -> float:
        return 3 * (robust_sigma(residual) + 1e-9)

    fit = robust_fit(design.T, mean, cauchy_squared, tolerance, ridge=1e-12, rounds=6)
    values, sigma = fit.values, tolerance(fit.residual) / 3
    normal = (design * fit.robust) @ design.T
    # what the smooth terms cannot imitate; texture of the light goes in clumps of pixels
    schur = normal[:2, :2] - normal[:2, 2:] @ np.linalg.solve(normal[2:, 2:], normal[2:, :2])
    seen = schur / sigma**2 / 9
    doubt = np.linalg.inv(seen + prior)
    lean = doubt @ (seen @ values[:2])
    size = float(np.hypot(*lean))
    if size < 1e-9:
        return maps, doubt
    # exact form of the change: a boost in (A; C, S), which keeps frames on their cone
    size = min(size, 0.5)
    along = lean / np.hypot(*lean)
    forward = maps.cos * along[0] + maps.sin * along[1]
    across = maps.sin * along[0] - maps.cos * along[1]
    stretch = 1 / math.sqrt(1 - size**2)
    mean_map = stretch * (maps.mean - size * forward)
    forward = stretch * (forward - size * maps.mean)
    along = along.astype(np.float32)
    return replace(
        maps,
        mean=np.asarray(mean_map, np.float32),
        cos=np.asarray(forward * along[0] - across * along[1], np.float32),
        sin=np.asarray(forward * along[1] + across * along[0], np.float32),
    ), doubt


def _phase_map(burst: Burst, maps: Maps, scale: int) -> PhaseMap:
    """Orders of the first frame, and how far each pixel is to be believed."""
    # where blur reaches over the rim, it brings only the inner neighbours' phase
    rim_px = _RIM_PX / scale + (_BLOCK_RIM_PX if scale > 1 else 0)
    inside = burst.inside(1.0 - rim_px * burst.first.scale / burst.edge.b)
    amplitude = maps.amplitude
    usual = float(np.median(amplitude[inside]))
    noise = float(np.median(maps.scatter[inside]))
    good = inside & (amplitude > max(0.1 * usual, 1.5 * noise))
    good &= maps.conditioning > 0.5 * LEAST_CONDITIONING
    dirt = 1 + (maps.scatter / (3 * noise)) ** 4
    weight = np.minimum(amplitude / usual, 2.0) ** 2 * maps.conditioning / dirt
    order = np.arctan2(maps.sin, -maps.cos) / np.float32(2 * np.pi) + maps.first_phase
    weight = np.where(good, weight, 0).astype(np.float32)
    return PhaseMap((order - np.round(order)).astype(np.float32), weight, burst.u, burst.v)


def _jackknife(burst: Burst, steps: Steps, form: FittedForm, rng: np.random.Generator) -> float:
    """Standard uncertainty of the power from leaving out each frame in turn [fringe].

    The jackknife (Quenouille, Biometrika 43 (1956) 353; from memory), steps solved anew.
    """
    where = np.flatnonzero(burst.inside(0.98))
    stack = burst.stack(rng.choice(where, min(_LEFT_OUT, len(where)), replace=False))
    whole = solve_pixels(stack, steps)
    terms = form.model.terms[:15]
    rows = zernike_rows(terms, stack.columns[1], stack.columns[2]).astype(float)
    frames = stack.frames
    powers = []
    for k in range(frames):
        kept = np.arange(frames) != k
        part = Stack(stack.light[kept], stack.good[kept], stack.columns)
        start = Steps(steps.log_gain[kept], steps.values[kept], steps.overtone)
        again, _ = improve(part, start, 3)
        fit = solve_pixels(part, again)
        change = fit.order - whole.order
        change -= np.angle(np.mean(np.exp(2j * np.pi * change))) / (2 * np.pi)
        change -= np.round(change)
        weight = np.minimum(whole.amplitude, 2 * np.median(whole.amplitude)) ** 2
        weight = weight / (1 + (whole.scatter / (3 * np.median(whole.scatter))) ** 4)
        weighted = rows * weight
        values = np.linalg.solve(weighted @ rows.T, weighted @ change)
        powers.append(2 * values[terms.index((2, 0))])
    return math.sqrt((frames - 1) / frames * float(np.sum((powers - np.mean(powers)) ** 2)))


def _gauge_spread(burst: Burst, maps: Maps, doubt: NDArray[np.float64]) -> float:
    """Standard uncertainty of the power from what `_even_light` leaves in doubt [fringe]."""
    where = np.flatnonzero(burst.inside(0.98))[::7]
    mean, cos, sin = (x.ravel()[where].astype(float) for x in (maps.mean, maps.cos, maps.sin))
    square = cos**2 + sin**2
    weight = np.minimum(square, 4 * np.median(square))
    square = np.maximum(square, 0.05 * np.median(square))

    terms = zernike_terms(4)
    rows = zernike_rows(terms, burst.u.ravel()[where], burst.v.ravel()[where]).astype(float)
    weighted = rows * weight
    moves = np.stack([-mean * sin / square, mean * cos / square], axis=1) / (2 * np.pi)
    values = np.linalg.solve(weighted @ rows.T, weighted @ moves)
    slope = 2 * values[terms.index((2, 0))]
    return math.sqrt(float(slope @ doubt @ slope))


def _as_solution(
    first: Photo, burst: Burst, maps: Maps, form: FittedForm, spreads: tuple[float, float]
) -> Solution:
    """The form in the shape of a single photograph's solution."""
    inside = burst.inside(1.0)
    amplitude, mean = maps.amplitude[inside], np.maximum(maps.mean[inside], 1e-6)
    place = form.model.terms.index((2, 0))
    plain = 2 * math.sqrt(max(form.covariance[place, place], 0.0))
    extra = math.hypot(math.sqrt(max(spreads[0] ** 2 - plain**2, 0.0)), spreads[1])
    # carried where `fit` is: in the covariance of the power's own term
    covariance = form.covariance.copy()
    covariance[place, place] += (extra / 2) ** 2
    fit = Fit(
        model=form.model,
        covariance=covariance,
        light_terms=((0, 0),),
        light=np.array([math.log(float(np.median(mean)))]),
        contrast_terms=((0, 0),),
        contrast=np.array([float(np.median(amplitude / mean))]),
        rms=float(np.median(maps.scatter[inside]) / np.median(amplitude)),
        noise=float(np.median(maps.scatter[inside])),
        cost=float(np.median(maps.scatter[inside]) ** 2),
        mean_contrast=float(np.median(amplitude / mean)),
        explained=1.0,
        used=form.used,
    )
    area = math.pi * burst.edge.a * burst.edge.b / burst.first.scale**2
    return Solution(
        fit=fit,
        field=cut_field(first, burst.edge, burst.first.scale),
        covered=min(1.0, float(inside.sum()) / area),
        cycles=form.model.steepest(),
        form_shift=form.shift,
        fit_variance=1.0,
    )


def _as_reading(
    photos: Sequence[Photo],
    options: ReadOptions,
    edge: Edge,
    edge_source: str,
    solution: Solution,
    steps: Steps,
    notes: tuple[str, ...],
) -> Reading:
    """The reading of what was solved, over the edge in the first photograph."""
    # of a burst the first frame keeps its colours
    asked = lamp_warnings(photos[0], options.lamp, edge)
    warnings = [*notes, *asked, *_warnings(steps, solution)]
    name = f"{photos[0].sha256 or photos[0].name} and {len(photos) - 1} more frames"
    reading = reading_of(
        options, edge, edge_source, solution, warnings, reading_id=name, focal_px=photos[0].focal_px
    )
    turned = np.sign(solution.fit.model.power or 1.0) * (-1 if reading.sense == "edge" else 1)
    signed_steps = turned * (steps.values[:, 0] - steps.values[0, 0])
    steps_told = tuple(float(step - round(step)) for step in signed_steps)
    return replace(reading, frames=len(photos), steps_fringes=steps_told)


def _warnings(steps: Steps, solution: Solution) -> list[str]:
    warnings = []
    change = form_change(steps)
    if change > _SOME_CHANGE:
        warnings.append(
            f"the form of the gap changed by {change:.2f} fringe between frames; this is its mean"
        )
    used = solution.covered * solution.fit.used
    if used < 0.6:
        warnings.append(f"only {100 * used:.0f} % of the aperture was used")
    return warnings
