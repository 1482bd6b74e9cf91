"""Rings about their own centre, in a field without an edge: step of r^2, pressed disc, count."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.rings import effective_radius_from_step_mm
from fringe.orders.count import fringe_centre
from fringe.orders.edge.candidates import whole_frame
from fringe.orders.fit.demodulate import demodulate, model_of, refine
from fringe.orders.fit.field import Array, Field, cut_field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.robust import robust_fit, robust_sigma, tukey
from fringe.orders.fit.scale import level_for
from fringe.orders.fit.start import quadratic_start
from fringe.orders.fit.tiles import flatten, pyramid_tiles
from fringe.orders.lamp_colour import lamp_warnings
from fringe.orders.mixed_lamp import with_lines
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Quality, Reading, RingFit
from fringe.orders.ring_growth import TileGrowth, growth_of_tiles
from fringe.orders.winding import refuse_arms, turns
from fringe.photo.ellipse import Edge
from fringe.photo.filters import bilinear, median
from fringe.photo.load import Photo
from fringe.quantity import half_width

Vector = NDArray[np.float64]
_SECTORS = 36
_MOST_SIDE_PX = 2000
# Ovalness beyond this is no longer a view from above, and r^2 means little.
_MOST_OVAL = 0.12
# Scatter of the order about r^2 [rad]: of rendered fields, pressed ones among them, 0.05 to 0.5; of
# marks, targets and grooves that few terms follow in part 0.6 to 2.5. Surfaces that bend outward
# scatter as much, but their local frequencies grow as those between spheres.
_MOST_SCATTER = 0.63


@dataclass(frozen=True)
class _Polar:
    """Order and amplitude on a polar grid: rows are sectors, columns equal steps of r^2."""

    r2: Vector
    order: NDArray[np.float64]
    amplitude: NDArray[np.float64]


def read_rings(photo: Photo, options: ReadOptions) -> Reading:
    """Read rings in a field in which no edge of the work is visible.

    Dark rings lie at r^2 = intercept + step * order: the step follows from a line through
    order against r^2 in each sector about the centre, and its uncertainty from the scatter
    of the sectors (an outer bend of the surfaces, or a press, differs between them).

    Parameters
    ----------
    photo : Photo
    options : ReadOptions
        `scale_px_per_mm` turns the step into an effective radius.

    Returns
    -------
    Reading

    Raises
    ------
    Refused
        When there are no rings about a centre in the field.
    """
    frame = whole_frame(photo)
    side = max(photo.width, photo.height)
    field = cut_field(photo, frame, max(1, math.ceil(side / _MOST_SIDE_PX)))
    field, signal, model, growth = _model(photo, field)
    centre = fringe_centre(model)
    if centre is None:
        raise _no_centre(photo)
    x, y = frame.pixels(*centre)
    cx, cy = float(x), float(y)
    if not _framed(photo, cx, cy):
        raise _no_centre(photo)
    oval = 2 * math.hypot(model.value(2, 2), model.value(2, -2)) / abs(model.power)
    polar = _polar(field, signal, model, frame, (cx, cy))
    refuse_arms(photo.name, _arms(polar))
    crowded = growth.warnings(photo.name)
    step, u_step, intercept, clear = _lines(photo, polar)
    scatter = _scatter(polar, clear, step, -intercept / step)
    if scatter > _MOST_SCATTER and not growth.is_of_spheres:
        raise _no_spheres(photo)
    first = _first_ring(field, frame, (cx, cy), step, intercept)
    orders, radii = _ring_table(field, (cx, cy), step, intercept, clear, polar.r2, first)
    warnings = [*photo.notes, *crowded, *lamp_warnings(photo, options.lamp)]
    if oval > _MOST_OVAL:
        warnings.append(f"the rings are oval by {50 * oval:.0f} %: an oblique view or astigmatism")
    shift = intercept + step * (first - 1)
    if shift > 0.35 * step:
        warnings.append(
            f"the contact is pressed flat: a disc of about {math.sqrt(max(shift, 0)):.0f} px"
            " radius was left out"
        )
    rings = _clearest(polar, step, intercept, first)
    effective = None
    if options.scale_px_per_mm:
        effective = effective_radius_from_step_mm(
            step / options.scale_px_per_mm**2, options.lamp.wavelength_nm
        )
    u_step = with_lines(options.channel_light, step, u_step, len(orders))
    fit = RingFit(cx, cy, step, half_width(u_step), shift, orders, radii)
    amplitude = float(median(polar.amplitude[clear]))
    known = options.sense in ("centre", "edge")
    return Reading(
        wavelength_nm=options.lamp.wavelength_nm,
        quality=Quality(
            contrast=min(1.0, amplitude),
            used_fraction=float(clear.mean()),
            residual=scatter,
            warnings=tuple(warnings),
        ),
        sense=options.sense if known else "unknown",
        sense_source="given" if known else None,
        rings=rings,
        ring_step_px2=step,
        ring_step_u95_px2=half_width(u_step),
        effective_radius_mm=effective,
        edge_source="none",
        ring_fit=fit,
        reading_id=photo.sha256 or photo.name,
    )


def _model(photo: Photo, field: Field) -> tuple[Field, Array, OrderModel, TileGrowth]:
    tiles = pyramid_tiles(field)
    start = quadratic_start(tiles, 1)
    if start is None or start.support < 0.3 or start.count < 20:
        raise Refused(
            f"{photo.name}: no rings found; check lamp and focus, or give the work's edge"
        )
    level = level_for(field, start.steepest())
    signal = flatten(level, max(0.018 * level.radius_px, 6))
    model, rms = refine(level, signal, model_of(start), (2, 2, 3))
    if not np.isfinite(rms) or rms > 0.2:
        raise Refused(f"{photo.name}: the fringes form no rings that can be followed")
    if model.power < 0:
        model = OrderModel(model.terms, -model.values)
    return level, signal, model, growth_of_tiles(tiles)


def _no_centre(photo: Photo) -> Refused:
    return Refused(
        f"{photo.name}: no centre of rings in the field; move the work until it is in view,"
        " or give the edge"
    )


def _framed(photo: Photo, x: float, y: float) -> bool:
    return bool(0 <= x < photo.width and 0 <= y < photo.height)


def _polar(
    field: Field, signal: Array, model: OrderModel, frame: Edge, centre: tuple[float, float]
) -> _Polar:
    """Local order (model plus what demodulation adds) about the centre."""
    sigma = max(2.0, 0.45 * field.radius_px / math.sqrt(max(abs(model.power), 1.0)))
    # every pixel, so that the result does not depend on how a coarse grid lies on the rings
    found = demodulate(field, signal, model, sigma, stride=1)
    reach = _farthest(field, centre)
    step_px2 = frame.a**2 / abs(model.power)
    r2 = np.arange(0.2, reach**2 / step_px2, 0.1) * step_px2
    angle = (np.arange(_SECTORS) + 0.5) * 2 * np.pi / _SECTORS
    x = centre[0] + np.sqrt(r2)[None, :] * np.cos(angle)[:, None]
    y = centre[1] + np.sqrt(r2)[None, :] * np.sin(angle)[:, None]
    column, row = (x - field.x0) / field.scale, (y - field.y0) / field.scale
    weighted = found.z * found.weight
    parts = [
        bilinear(part, row, column, beyond=0.0)
        for part in (weighted.real, weighted.imag, found.weight)
    ]
    z = (parts[0] + 1j * parts[1]) / np.maximum(parts[2], 1e-3)
    u, v = frame.unit(x, y)
    order = model.order(u.astype(np.float32), v.astype(np.float32)).astype(float)
    # the phasor's phase is zero where light is greatest: half an order from a dark ring
    order = order + np.angle(z) / (2 * np.pi) + 0.5
    return _Polar(r2, order, np.where(parts[2] > 0.3, 2 * np.abs(z), 0.0))


def _arms(polar: _Polar) -> int:
    """Orders gained round the centre on circles that are in the frame all round."""
    steps = np.roll(polar.order, -1, axis=0) - polar.order
    framed = (polar.amplitude > 0).all(axis=0)
    return turns((steps - np.round(steps))[:, framed].T)


def _farthest(field: Field, centre: tuple[float, float]) -> float:
    rows, columns = field.light.shape
    right, bottom = field.x0 + field.scale * columns, field.y0 + field.scale * rows
    return math.hypot(
        max(centre[0] - field.x0, right - centre[0]), max(centre[1] - field.y0, bottom - centre[1])
    )


def _lines(photo: Photo, polar: _Polar) -> tuple[float, float, float, NDArray[np.bool_]]:
    """Step of r^2, its standard uncertainty, r^2 at order zero, and what was used."""
    seen = polar.amplitude[polar.amplitude > 0]
    if seen.size < 60:
        raise Refused(f"{photo.name}: too little of the rings can be followed")
    clear = polar.amplitude > 0.3 * float(median(seen))
    slopes, starts, weights = [], [], []
    for sector in range(len(polar.order)):
        keep = clear[sector]
        if keep.sum() < 30:
            continue
        r2, order = polar.r2[keep], polar.order[sector, keep]
        slope, start, kept = _robust_line(r2, order)
        if kept < 0.6 or slope <= 0:
            continue
        slopes.append(slope)
        starts.append(start)
        weights.append(np.ptp(r2) ** 2 * keep.sum())
    if len(slopes) < _SECTORS // 4:
        raise _no_spheres(photo)
    share = np.asarray(weights) / np.sum(weights)
    slope = float((share * slopes).sum())
    spread = float(np.sqrt((share * (np.asarray(slopes) - slope) ** 2).sum()))
    # neighbouring sectors bend together: count one in four as independent
    independent = max(2.0, 1 / float((share**2).sum()) / 4)
    start = float((share * starts).sum())
    step = 1 / slope
    middle = _fraction(starts, share)
    return (
        step,
        step * spread / slope / math.sqrt(independent),
        -middle * step,
        clear & (np.abs(polar.order - (start + polar.r2[None, :] * slope)) < 1.5),
    )


def _no_spheres(photo: Photo) -> Refused:
    return Refused(
        f"{photo.name}: ring radii do not grow as the gap between two spheres makes them"
    )


def _fraction(starts: list[float], share: Vector) -> float:
    """Mean order at r = 0 of the sectors, kept to its value within a whole order."""
    return float((share * np.asarray(starts)).sum())


def _robust_line(r2: Vector, order: Vector) -> tuple[float, float, float]:
    """Slope, value at zero and share of points kept, by Tukey-weighted least squares."""
    reach = float(r2.max())

    def scale(residual: Vector) -> float:
        return max(robust_sigma(residual), 0.02)

    fit = robust_fit(
        np.column_stack([np.ones_like(r2), r2 / reach]),
        order,
        tukey,
        lambda residual: 4.5 * scale(residual),
        ridge=1e-14,
        rounds=12,
    )
    left, sigma = fit.residual, scale(fit.residual)
    share = float((np.abs(left) < max(4 * sigma, 0.1)).mean()) * (sigma < 0.25)
    return float(fit.values[1]) / reach, float(fit.values[0]), share


def _scatter(polar: _Polar, clear: NDArray[np.bool_], step: float, start: float) -> float:
    """Robust scatter of the phase about the line through all sectors [rad]."""
    left = (polar.order - polar.r2[None, :] / step - start)[clear]
    return float(2 * np.pi * robust_sigma(left - median(left)))


def _first_ring(
    field: Field, frame: Edge, centre: tuple[float, float], step: float, intercept: float
) -> int:
    """Number k of the first dark ring at r^2 = intercept + k step that has light within it."""
    cx, cy = ((centre[0] - field.x0) / field.scale, (centre[1] - field.y0) / field.scale)
    rows, columns = np.indices(field.light.shape)
    r2 = ((columns - cx) ** 2 + (rows - cy) ** 2) * field.scale**2
    good = field.weight > 0

    def level(place: float) -> float:
        near = good & (np.abs(r2 - place) < 0.12 * step)
        return float(median(field.light[near])) if near.sum() > 8 else math.nan

    first = math.ceil(-intercept / step + 0.05)
    for k in range(first, first + 4):
        dark, bright = level(intercept + k * step), level(intercept + (k - 0.5) * step)
        after = level(intercept + (k + 0.5) * step)
        if math.isfinite(bright) and bright - dark > 0.4 * (after - dark) > 0:
            return k
    return first


def _ring_table(
    field: Field,
    centre: tuple[float, float],
    step: float,
    intercept: float,
    clear: NDArray[np.bool_],
    r2: Vector,
    first: int,
) -> tuple[Vector, Vector]:
    """Order, counted from one, and radius of each dark ring, at the least mean light.

    Orders farther out than rings are clear in a third of the sectors are left out.
    """
    far = r2[clear.mean(axis=0) > 1 / 3]
    last = math.floor((float(far.max()) - intercept) / step) if far.size else first - 1
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    orders, radii = [], []
    for k in range(first, last + 1):
        place = np.linspace(k - 0.4, k + 0.4, 33) * step + intercept
        radius = np.sqrt(np.maximum(place, 0))
        x = (centre[0] - field.x0 + radius[:, None] * np.cos(angle)) / field.scale
        y = (centre[1] - field.y0 + radius[:, None] * np.sin(angle)) / field.scale
        light = bilinear(field.light, y, x, beyond=math.nan)
        profile = np.nanmedian(light, axis=1)
        least = int(np.clip(np.nanargmin(profile), 4, 28))
        bend = np.polyfit(place[least - 4 : least + 5], profile[least - 4 : least + 5], 2)
        if bend[0] > 0:
            r2_least = float(np.clip(-bend[1] / (2 * bend[0]), place[0], place[-1]))
            orders.append(float(k - first + 1))
            radii.append(math.sqrt(r2_least))
    return np.asarray(orders), np.asarray(radii)


def _clearest(polar: _Polar, step: float, intercept: float, first: int) -> int:
    """Whole dark rings along the radius on which they can be followed farthest."""
    seen = polar.amplitude[polar.amplitude > 0]
    enough = 0.3 * float(median(seen))
    best = 0
    fit = (polar.r2 - intercept) / step
    for sector in range(len(polar.order)):
        visible = polar.amplitude[sector] > enough
        if not visible.any():
            continue
        farthest = fit[np.flatnonzero(visible)[-1]]
        best = max(best, math.floor(farthest) - first + 1)
    return best
