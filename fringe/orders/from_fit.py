"""A reading from what was fitted: as at normal view, with lengths and uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import FormQuantities, form_quantities, iso10110_text
from fringe.optics.rings import centre_in_aperture
from fringe.optics.view import cos_view
from fringe.optics.zernike import Term, zernike_matrix
from fringe.orders.checks import with_plate_warning
from fringe.orders.count import count_rings
from fringe.orders.doubts import (
    Doubt,
    dirt_doubt,
    edge_doubt,
    flat_back_doubt,
    form_doubt,
    grid_doubt,
    light_doubt,
    places,
    projected,
    untold_view_doubt,
)
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import Solution
from fringe.orders.form_intervals import form_intervals
from fringe.orders.lengths import Lengths, wavelength_of
from fringe.orders.options import ReadOptions
from fringe.orders.plate_form import plate_form
from fringe.orders.reading import FormFit, Quality, Reading
from fringe.orders.sense.contrast import SENSE_UNKNOWN, ContrastSense
from fringe.photo.ellipse import Edge
from fringe.quantity import Quantity, Source, half_width

# Coma and astigmatism of polished surfaces [fringe]: mostly less; common practice, no source.
_USUAL_BEND = 0.05
# Least order at the contact [fringe]: in a true contact it is zero but for noise
_LEAST_ORDER = -0.25


@dataclass(frozen=True)
class _Normal:
    """The gap as at normal view: Zernike values [fringe], its share of the order, its doubts."""

    values: NDArray[np.float64]
    share: float
    view: Doubt
    gap: Doubt
    back: Doubt


def _back(terms: tuple[Term, ...], gaps: list[NDArray[np.float64]], options: ReadOptions) -> Doubt:
    """What a flat back may hide, where the plate is known to have one; of either contact."""
    if options.plate_back != "flat" or None in (options.diameter_mm, options.plate_radius_mm):
        return Doubt(np.zeros((0, len(terms))))
    assert options.diameter_mm is not None
    assert options.plate_radius_mm is not None
    size = (options.diameter_mm / 2, options.plate_radius_mm)
    backs = [flat_back_doubt(terms, gap, *size) for gap in gaps]
    return max(backs, key=lambda doubt: doubt.of_power(terms.index((2, 0))))


def _as_normal(model: OrderModel, edge: Edge, options: ReadOptions, sense: str) -> _Normal:
    """Divide the order by the cosine of the view, which needs the order's own zero."""
    terms = model.terms
    u, v = places()
    order = zernike_matrix(terms, u, v) @ model.values
    contact = options.contact_gap.fringes(options.lamp.wavelength_nm)
    # count orders from the contact: a whole number, so that dark fringes stay at whole orders
    counted = {
        "centre": order - np.floor(order.min() - _LEAST_ORDER) + round(contact.value),
        "edge": order - np.ceil(order.max() + _LEAST_ORDER) - round(contact.value),
    }
    candidates = [counted[sense]] if sense in counted else list(counted.values())
    back = _back(terms, candidates, options)
    if options.camera_distance_mm is None or options.diameter_mm is None:
        share = 1 / edge.cos_view
        views = [untold_view_doubt(terms, gap * share, contact.u, edge) for gap in candidates]
        # with the contact at the edge the gap is least where the view changes most
        view = max(views, key=lambda doubt: doubt.of_power(terms.index((2, 0))))
        return _Normal(model.values * share, share, view, Doubt(np.zeros((0, len(terms)))), back)
    # the camera's foot lies along the oval's short axis; toward which end is not known
    ends = (90.0,) if edge.a - edge.b < 1e-6 * edge.a else (90.0, -90.0)
    cosines = [
        cos_view(
            u,
            v,
            options.diameter_mm / 2,
            options.camera_distance_mm,
            edge.cos_view,
            edge.angle_deg + end,
        )
        for end in ends
    ]
    fits = [fit for cosine in cosines for fit in projected(terms, np.stack(candidates) / cosine)]
    lifted = contact.u * projected(terms, 1 / cosines[0][None])
    # seen from the wrong end a sphere takes on coma and astigmatism that it may not have
    bent = [term in ((2, -2), (2, 2), (3, -1), (3, 1)) for term in terms]
    bend = np.array([np.linalg.norm(fit[bent]) for fit in fits])
    chance = np.exp((bend.min() - bend) / _USUAL_BEND)
    chance /= chance.sum()
    values = chance @ np.array(fits)
    spread = np.sqrt(chance)[:, None] * (np.array(fits) - values)
    place = terms.index((2, 0))
    plain = float(model.values[place])
    share = float(values[place]) / plain if abs(plain) > 0.5 else 1 / edge.cos_view
    return _Normal(values, share, Doubt(spread), Doubt(lifted), back)


def reading_of(
    options: ReadOptions,
    edge: Edge,
    source: str,
    solution: Solution,
    warnings: list[str],
    contrast_sense: ContrastSense = SENSE_UNKNOWN,
    reading_id: str = "",
) -> Reading:
    """Make a reading of what was fitted: as at normal view, with lengths and uncertainty."""
    fit = solution.fit
    sense, sense_source = _sense(options.sense, contrast_sense)
    model = fit.model
    if model.power < 0:
        model = OrderModel(model.terms, -model.values)  # the same picture
    normal = _as_normal(model, edge, options, sense)
    terms = model.terms
    plate = plate_form(options, terms, sense)
    values = (-normal.values if sense == "edge" else normal.values) - plate.values
    sphere = (options.plate_radius_mm, options.diameter_mm)
    form = (
        form_quantities(terms, values, *sphere)
        if None not in sphere
        else form_quantities(terms, values)
    )
    noise = solution.fit_variance * normal.share**2 * fit.covariance
    covariance, parts = _uncertainty(solution, edge, normal, form, noise)
    covariance = covariance + plate.doubt.covariance
    intervals = form_intervals(terms, values, covariance, form, noise)
    u_power = math.sqrt(math.fsum(u * u for u in parts.values()))
    wavelength = options.lamp.wavelength_nm
    reading = Reading(
        wavelength_nm=wavelength,
        quality=Quality(
            contrast=min(1.0, fit.mean_contrast),
            used_fraction=min(1.0, fit.used * solution.covered),
            residual=fit.rms,
            warnings=tuple(warnings if plate.remark is None else [*warnings, plate.remark]),
        ),
        power_fringes=form.power,
        power_u95_fringes=half_width(u_power),
        sense=sense,
        sense_source=sense_source,
        tilt_fringes=form.tilt,
        astigmatism_fringes=intervals.astigmatism,
        astigmatism_u95_fringes=intervals.astigmatism_u95,
        irregularity_fringes=intervals.irregularity,
        irregularity_u95_fringes=intervals.irregularity_u95,
        symmetric_irregularity_fringes=intervals.symmetric,
        symmetric_irregularity_u95_fringes=intervals.symmetric_u95,
        rms_irregularity_fringes=intervals.rms,
        rms_irregularity_u95_fringes=intervals.rms_u95,
        iso10110=iso10110_text(form.power, intervals.irregularity, intervals.symmetric, wavelength),
        edge=edge,
        edge_source=source,
        form=FormFit(terms, values, covariance),
        power_u_parts=parts,
        reading_id=reading_id,
    )
    return _with_rings(with_lengths(reading, options), model, edge, solution)


def _sense(stated: str, contrast: ContrastSense) -> tuple[str, str | None]:
    """Where the contact is, and how that is known: what was stated, else what contrast shows."""
    if stated in ("centre", "edge"):
        return stated, "given"
    return contrast.sense, None if contrast.sense == "unknown" else "contrast"


def _uncertainty(
    solution: Solution,
    edge: Edge,
    normal: _Normal,
    form: FormQuantities,
    noise: NDArray[np.float64],
) -> tuple[NDArray[np.float64], dict[str, float]]:
    """Covariance of the values and the parts of the power's standard uncertainty [fringe]."""
    model = solution.fit.model
    terms = model.terms
    doubts = {
        "form": form_doubt(terms, solution.form_shift),
        "light": light_doubt(terms, solution.light_doubt),
        "dirt": dirt_doubt(terms, solution.fit.used),
        "grid": grid_doubt(terms, abs(form.power)),
        "edge": edge_doubt(model, edge),
        "view": normal.view,
        "gap": normal.gap,
        **({"plate_back": normal.back} if normal.back.shapes.size else {}),
    }
    place = terms.index((2, 0))
    parts = {name: doubt.of_power(place) for name, doubt in doubts.items()}
    covariance = noise + sum(doubt.covariance for doubt in doubts.values())
    return covariance, {"fit": 2 * math.sqrt(max(noise[place, place], 0.0)), **parts}


def with_lengths(reading: Reading, options: ReadOptions) -> Reading:
    """Add the lamp, and what a diameter and a plate's radius make of the power."""
    lamp, size = options.lamp, (options.plate_radius_mm, options.diameter_mm)
    reading = replace(reading, lamp=lamp.name, u_wavelength_nm=lamp.u_wavelength_nm)
    if size[0] is not None and size[1] is not None:
        reading = replace(reading, sphere_mm=(size[0], size[1]))
    power, diameter = reading.power, options.diameter_mm
    assert power is not None
    if diameter is None and options.scale_px_per_mm and reading.edge is not None:
        diameter = 2 * reading.edge.a / options.scale_px_per_mm
    if diameter is None:
        return reading
    if abs(power.value) > power.u95:
        effective = (diameter / 2) ** 2 / (abs(power.value) * reading.wavelength_nm * 1e-6)
        reading = replace(reading, effective_radius_mm=effective)
    if options.plate_radius_mm is None:
        return reading
    reading = with_plate_warning(reading, diameter, options.plate_radius_mm, options.plate_back)
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
    """Add the count of dark rings and the growth of r^2, when a fringe centre is in view.

    Straight fringes have none: those of a power that may be zero, or of rings about a middle
    outside the aperture, though a bump of the form may have a centre of its own.
    """
    power, u95 = reading.power_fringes or 0.0, reading.power_u95_fringes or 0.0
    if abs(power) <= u95 or not centre_in_aperture(power, reading.tilt_fringes or 0.0):
        return reading
    rings = count_rings(model, solution.field)
    if rings is None:
        return reading
    seen = abs(model.power)
    step = edge.a**2 / seen
    share = u95 / abs(power)
    return replace(reading, rings=rings, ring_step_px2=step, ring_step_u95_px2=step * share)
