"""A reading from what was fitted: as at normal view, with lengths and uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import FormQuantities, form_quantities, iso10110_text
from fringe.optics.rings import centre_in_aperture
from fringe.optics.zernike import Term
from fringe.orders.checks import with_plate_warning
from fringe.orders.count import count_rings
from fringe.orders.doubts import (
    MISSED_HEIGHT,
    Doubt,
    dirt_doubt,
    edge_doubt,
    form_doubt,
    grid_doubt,
    light_doubt,
    local_doubt,
    profile_doubt,
)
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.solve import Solution
from fringe.orders.form_intervals import (
    FormIntervals,
    form_intervals,
    shares_of,
    with_local_doubt,
)
from fringe.orders.lengths import Lengths, wavelength_of
from fringe.orders.mixed_lamp import of_one_line
from fringe.orders.near_view import as_normal
from fringe.orders.options import ReadOptions
from fringe.orders.plate_form import PlateForm, plate_form
from fringe.orders.reading import FormFit, Quality, Reading
from fringe.orders.sense.contrast import SENSE_UNKNOWN, ContrastSense
from fringe.photo.ellipse import Edge
from fringe.quantity import Quantity, Source, half_width

Array = NDArray[np.float64]
_LOCAL_SHARE = 0.02  # of the face that a bump takes whose form is in doubt


def reading_of(
    options: ReadOptions,
    edge: Edge,
    source: str,
    solution: Solution,
    warnings: list[str],
    contrast_sense: ContrastSense = SENSE_UNKNOWN,
    reading_id: str = "",
    focal_px: float | None = None,
) -> Reading:
    """Make a reading of what was fitted: as at normal view, with lengths and uncertainty."""
    fit = solution.fit
    sense, sense_source = _sense(options.sense, contrast_sense)
    model = fit.model
    if model.power < 0:
        model = OrderModel(model.terms, -model.values)  # the same picture
    model, lines = of_one_line(model, options, sense)
    terms = model.terms
    noise = solution.fit_variance * fit.covariance / edge.cos_view**2
    doubts = _doubts_of_fit(solution, model, edge) | lines
    normal = as_normal(model, edge, options, sense, _covariance(noise, doubts), focal_px)
    plate = plate_form(options, terms, sense)
    values = (-normal.values if sense == "edge" else normal.values) - plate.values
    form = _form(terms, values, options)
    doubts |= {"view": normal.view, "gap": normal.gap, **normal.back}
    parts = _of_power(terms.index((2, 0)), noise, doubts)
    covariance = _covariance(noise, {**doubts, "plate": plate.doubt})
    intervals = _allowing(solution, form_intervals(terms, values, covariance, form, noise))
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
        plate_map_shares=_plate_map_shares(terms, values, covariance, plate),
        plate_map=plate.owner,
        reading_id=reading_id,
    )
    return _with_rings(with_lengths(reading, options), model, edge, solution)


def _allowing(solution: Solution, intervals: FormIntervals) -> FormIntervals:
    """Allow for a bump that no form follows, and for another form that explains the light."""
    if not solution.missed and solution.rival is None:
        return intervals
    height = half_width(MISSED_HEIGHT) if solution.missed else 0.0
    height = math.hypot(height, solution.rival_shift[1])
    return with_local_doubt(intervals, height, max(solution.missed, _LOCAL_SHARE))


def _sense(stated: str, contrast: ContrastSense) -> tuple[str, str | None]:
    """Where the contact is, and how that is known: what was stated, else what contrast shows."""
    if stated in ("centre", "edge"):
        return stated, "given"
    return contrast.sense, None if contrast.sense == "unknown" else "contrast"


def _doubts_of_fit(solution: Solution, model: OrderModel, edge: Edge) -> dict[str, Doubt]:
    """What the fit may have got wrong beside its noise, by the name of the source."""
    terms = model.terms
    # of one photograph the terms are never too few, but another form may be the true one
    shift = form_doubt(terms, math.hypot(solution.form_shift, solution.rival_shift[0]))
    return {
        "form": Doubt(np.concatenate([shift.shapes, local_doubt(model).shapes])),
        "light": light_doubt(
            terms, math.hypot(solution.light_doubt, profile_doubt(solution.fit.sharpness))
        ),
        "dirt": dirt_doubt(
            terms,
            solution.fit.used,
            solution.unexplained,
            solution.missed,
            miscounted=solution.miscounted,
            odd=solution.odd,
        ),
        "grid": grid_doubt(terms, abs(model.power) / edge.cos_view),
        "edge": edge_doubt(model, edge, solution.rim_errors),
    }


def _form(terms: tuple[Term, ...], values: Array, options: ReadOptions) -> FormQuantities:
    """Figures of the form; over the sphere of the plate, where its size is known."""
    sphere = (options.plate_radius_mm, options.diameter_mm)
    if None in sphere:
        return form_quantities(terms, values)
    return form_quantities(terms, values, *sphere)


def _covariance(noise: Array, doubts: Mapping[str, Doubt]) -> Array:
    """Covariance of the coefficients, shape (T, T) [fringe^2]."""
    return noise + sum(doubt.covariance for doubt in doubts.values())


def _plate_map_shares(
    terms: tuple[Term, ...], values: Array, covariance: Array, plate: PlateForm
) -> dict[str, float]:
    """Shares of the form's figures that the plate's map makes; none where it was not taken out."""
    if not plate.owner:
        return {}
    return shares_of(terms, values, covariance, plate.doubt.covariance)


def _of_power(place: int, noise: Array, doubts: Mapping[str, Doubt]) -> dict[str, float]:
    """Standard uncertainty of power by its sources [fringe]; its coefficient is at `place`."""
    parts = {name: doubt.of_power(place) for name, doubt in doubts.items()}
    return {"fit": 2 * math.sqrt(max(noise[place, place], 0.0)), **parts}


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
