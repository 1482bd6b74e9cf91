"""A reading from what was fitted: as at normal view, with lengths and uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import FormQuantities, disc_grid, form_quantities, iso10110_text
from fringe.optics.view import cos_view
from fringe.optics.zernike import zernike_matrix
from fringe.orders.count import count_rings
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import Solution, carried
from fringe.orders.lengths import Lengths, wavelength_of
from fringe.orders.options import ReadOptions
from fringe.orders.reading import FormFit, Quality, Reading
from fringe.orders.sense.contrast import SENSE_UNKNOWN, ContrastSense
from fringe.photo.ellipse import Edge
from fringe.quantity import Quantity, Source, half_width

# Share of the power that block averages, filters and single precision may move; seen on
# rendered pictures without noise, where nothing else is left.
_GRID_SHARE = 1e-4


_GRID_FRINGES = 3e-4


# A camera whose distance is not told stands anywhere from far off to three diameters away:
# the power then reads low by a share of up to (r/L)^2 / 2 = 1.4 %. Uniform in r/L.
_UNTOLD_VIEW_SHARE = 0.0018


# Coma and astigmatism of polished surfaces [fringe]: mostly less; common practice, no source.
_USUAL_BEND = 0.05


@dataclass(frozen=True)
class _Normal:
    """The gap as at normal view: Zernike values [fringe], and what the view adds in doubt."""

    values: NDArray[np.float64]
    share: float
    doubt: float


def _as_normal(model: OrderModel, edge: Edge, options: ReadOptions, sense: str) -> _Normal:
    """Divide the order by the cosine of the view, which needs the order's own zero."""
    if options.camera_distance_mm is None or options.diameter_mm is None:
        return _Normal(model.values / edge.cos_view, 1 / edge.cos_view, 0.0)
    u, v, weight = disc_grid(33, 96)
    rows = zernike_matrix(model.terms, u, v)
    order = rows @ model.values
    # in contact the least gap is near zero: count orders from there. A whole number, so
    # that dark fringes stay at whole orders
    counted = {"centre": order - np.floor(order.min()), "edge": order - np.ceil(order.max())}
    # the camera's foot lies along the oval's short axis; toward which end is not known
    ends = (90.0,) if edge.a - edge.b < 1e-6 * edge.a else (90.0, -90.0)
    root = np.sqrt(weight + 1e-9).ravel()
    design = rows.reshape(-1, rows.shape[-1]) * root[:, None]
    fits = []
    for name in (sense,) if sense in counted else tuple(counted):
        for end in ends:
            cosine = cos_view(
                u,
                v,
                options.diameter_mm / 2,
                options.camera_distance_mm,
                edge.cos_view,
                edge.angle_deg + end,
            )
            target = (counted[name] / cosine).ravel() * root
            fits.append(np.linalg.lstsq(design, target, rcond=None)[0])
    place = model.terms.index((2, 0))
    # seen from the wrong end a sphere takes on coma and astigmatism that it may not have
    bent = [term in ((2, -2), (2, 2), (3, -1), (3, 1)) for term in model.terms]
    bend = np.array([np.linalg.norm(fit[bent]) for fit in fits])
    chance = np.exp((bend.min() - bend) / _USUAL_BEND)
    chance /= chance.sum()
    values = chance @ np.array(fits)
    powers = np.array([fit[place] for fit in fits])
    # power is twice the coefficient
    doubt = 2 * math.sqrt(chance @ (powers - values[place]) ** 2)
    plain = float(model.values[place])
    share = float(values[place]) / plain if abs(plain) > 0.5 else 1 / edge.cos_view
    return _Normal(values, share, doubt)


def reading_of(
    options: ReadOptions,
    edge: Edge,
    source: str,
    solution: Solution,
    warnings: list[str],
    told: ContrastSense = SENSE_UNKNOWN,
    reading_id: str = "",
) -> Reading:
    """Make a reading of what was fitted: as at normal view, with lengths and uncertainty."""
    fit = solution.fit
    sense, sense_source = told.sense, None if told.sense == "unknown" else "contrast"
    if options.sense in ("centre", "edge"):
        sense, sense_source = options.sense, "given"
    model = fit.model
    if model.power < 0:
        model = OrderModel(model.terms, -model.values)  # the same picture
    normal = _as_normal(model, edge, options, sense)
    values = -normal.values if sense == "edge" else normal.values
    terms = model.terms
    sphere = (options.plate_radius_mm, options.diameter_mm)
    form = (
        form_quantities(terms, values, *sphere)
        if None not in sphere
        else form_quantities(terms, values)
    )
    covariance, parts = _uncertainty(solution, edge, normal, values, options, form)
    place = terms.index((2, 0))
    covariance = covariance.copy()
    u_power = math.sqrt(math.fsum(u * u for u in parts.values()))
    covariance[place, place] = max(covariance[place, place], (u_power / 2) ** 2)
    wavelength = options.lamp.wavelength_nm
    reading = Reading(
        wavelength_nm=wavelength,
        quality=Quality(
            contrast=min(1.0, fit.mean_contrast),
            used_fraction=min(1.0, fit.used * solution.covered),
            residual=fit.rms,
            warnings=tuple(warnings),
        ),
        power_fringes=form.power,
        power_u95_fringes=half_width(u_power),
        sense=sense,
        sense_source=sense_source,
        tilt_fringes=form.tilt,
        astigmatism_fringes=form.astigmatism_pv,
        irregularity_fringes=form.irregularity_pv,
        symmetric_irregularity_fringes=form.symmetric_irregularity_pv,
        rms_irregularity_fringes=form.rms_irregularity,
        iso10110=iso10110_text(
            form.power, form.irregularity_pv, form.symmetric_irregularity_pv, wavelength
        ),
        edge=edge,
        edge_source=source,
        form=FormFit(terms, values, covariance),
        power_u_parts=parts,
        reading_id=reading_id,
    )
    return _with_rings(with_lengths(reading, options), model, edge, solution)


def _uncertainty(
    solution: Solution,
    edge: Edge,
    normal: _Normal,
    values: NDArray[np.float64],
    options: ReadOptions,
    form: FormQuantities,
) -> tuple[NDArray[np.float64], dict[str, float]]:
    """Covariance of the values and the parts of the power's standard uncertainty [fringe]."""
    covariance = solution.fit.covariance * normal.share**2
    place = solution.fit.model.terms.index((2, 0))
    power = abs(form.power)
    told = options.camera_distance_mm is not None and options.diameter_mm is not None
    parts = {
        "fit": 2 * math.sqrt(max(covariance[place, place], 0.0)),
        "form": abs(solution.form_shift) / 2,
        "light": solution.light_doubt,
        "grid": math.hypot(_GRID_SHARE * power, _GRID_FRINGES),
        "edge": _untold_edge(solution.fit.model, edge, power),
        "view": math.hypot(0.0 if told else _untold_view(edge, power, form.tilt), normal.doubt),
    }
    return covariance, parts


def _untold_edge(model: OrderModel, edge: Edge, power: float) -> float:
    """Standard uncertainty of the power from that of the edge [fringe].

    A larger disc takes in more of the form, and an oval passes for a view from aside; errors
    of the two semi-axes are taken for independent. Of a sphere it is 2 u / r of its power.
    """
    if edge.u_px == 0:
        return 0.0
    share = edge.u_px / math.sqrt(2 * edge.a * edge.b)
    smaller = replace(edge, a=edge.a * (1 - share), b=edge.b * (1 - share))
    return math.hypot(carried(model, edge, smaller).power - model.power, 2 * share * power)


def _untold_view(edge: Edge, power: float, tilt: float) -> float:
    """Standard uncertainty of the power from a camera at an untold distance [fringe].

    Seen obliquely from near, the view angle also changes across the aperture, which turns
    a tilt into power: by tilt sin(theta) (r/L) / 2, with r/L up to a sixth.
    """
    lean = math.sqrt(max(0.0, 1 - edge.cos_view**2))
    return math.hypot(_UNTOLD_VIEW_SHARE * power, 0.05 * tilt * lean / 2)


def with_lengths(reading: Reading, options: ReadOptions) -> Reading:
    """Add the lamp, and what a diameter and a plate's radius make of the power."""
    lamp = options.lamp
    reading = replace(reading, lamp=lamp.name, u_wavelength_nm=lamp.u_wavelength_nm)
    power, diameter = reading.power, options.diameter_mm
    assert power is not None
    if diameter is None and options.scale_px_per_mm and reading.edge is not None:
        diameter = 2 * reading.edge.a / options.scale_px_per_mm
    if diameter is None:
        return reading
    if abs(power.value) > 2 * power.u:
        effective = (diameter / 2) ** 2 / (abs(power.value) * reading.wavelength_nm * 1e-6)
        reading = replace(reading, effective_radius_mm=effective)
    if options.plate_radius_mm is None:
        return reading
    owner = reading.reading_id
    lengths = Lengths(
        _length(options.plate_radius_mm, "plate_radius", options.plate, options.u_plate_radius_mm),
        _length(diameter, "diameter", owner, options.u_diameter_mm),
        wavelength_of(reading.wavelength_nm, lamp.u_wavelength_nm, lamp.name),
        options.work,
    )
    reading = replace(reading, lengths=lengths)
    difference = reading.radius_difference
    assert difference is not None
    return replace(
        reading,
        radius_difference_mm=difference.value,
        radius_difference_u95_mm=difference.u95,
    )


def _length(value_mm: float, what: str, of: str, u_mm: float) -> Quantity:
    return Quantity.of(value_mm, "mm", {Source(what, of): u_mm})


def _with_rings(reading: Reading, model: OrderModel, edge: Edge, solution: Solution) -> Reading:
    """Add the count of dark rings and the growth of r^2, when a fringe centre is in view."""
    rings = count_rings(model, solution.field)
    if rings is None or reading.power_fringes is None:
        return reading
    seen = abs(model.power)
    u95 = reading.power_u95_fringes or 0.0
    step = edge.a**2 / seen
    share = u95 / abs(reading.power_fringes)
    return replace(reading, rings=rings, ring_step_px2=step, ring_step_u95_px2=step * share)
