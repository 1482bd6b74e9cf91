"""Spherometer readings of a visit: compared with the plate's, and kept with their instrument."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from fringe.archive.instruments import spherometer_from_record
from fringe.archive.store.session import LoggedSpherometer
from fringe.archive.store.surface import E_LINE_NM, Surface
from fringe.judge.spherometer import compare as spherometry
from fringe.judge.spherometer.drift import gauge_drift
from fringe.judge.tolerance.measured import Measured, Parts
from fringe.judge.uncertainty.budget import Budget
from fringe.quantity import Quantity, Source

# inputs that err by the resolution and the gauge
GAUGED = ("plate reading", "work reading", "zero")


def sagitta_readings(
    surface: Surface,
    plate_mm: Sequence[float],
    work_mm: Sequence[float],
    zero_mm: Sequence[float],
    *,
    record: Mapping[str, Any] | None = None,
    u_reading_mm: float = 0.0,
    assumed: str | None = None,
    when: date | None = None,
) -> tuple[tuple[LoggedSpherometer, ...], spherometry.SagResult]:
    """Compare the work with its plate by a spherometer, for the record of a visit.

    Parameters
    ----------
    surface : Surface
        The work; its record has the plate's radius and the aperture.
    plate_mm, work_mm, zero_mm : sequence of float
        Readings on plate, work and flat [mm].
    record : mapping, optional
        Record of the spherometer; without it the feet are taken as points.
    u_reading_mm : float
        Standard uncertainty of a reading that repeating does not better [mm].
    assumed : str, optional
        What was taken for granted of that.
    when : date, optional
        Of the readings, for what the gauge drifted since its calibration; today, without it.

    Returns
    -------
    readings : tuple of LoggedSpherometer
        Of the plate and of the work, the latter with what they say.
    result : SagResult
    """
    geometry = dict(record or {})
    one = spherometer_from_record(geometry) if geometry else None
    drift, remark = gauge_drift(one, when or date.today())
    options: dict[str, Any] = {"u_reading_mm": u_reading_mm}
    options |= {"u_drift_mm": drift} if drift else {}
    options |= {"assumed": assumed} if assumed else {}
    zero = np.asarray(zero_mm, dtype=float)
    plate = LoggedSpherometer("plate", np.asarray(plate_mm, float), zero, geometry, options)
    work = LoggedSpherometer("work", np.asarray(work_mm, float), zero, geometry, options)
    result = compared(surface, (plate, work))
    assert result is not None
    if remark:
        result = dataclasses.replace(result, notes=(*result.notes, remark))
    radius = result.work_radius_mm
    work = dataclasses.replace(
        work,
        radius_mm=_value(radius),
        radius_u_mm=_u(radius),
        measured=_measured(result, surface),
    )
    return (plate, work), result


def compared(
    surface: Surface, readings: Sequence[LoggedSpherometer], trials: int = 0
) -> spherometry.SagResult | None:
    """What the spherometer readings of a visit say; None without those of work and plate.

    With `trials`, each budget has its Monte Carlo check of so many draws.
    """
    by_piece = {one.piece: one for one in readings}
    if "plate" not in by_piece or "work" not in by_piece:
        return None
    plate, work = by_piece["plate"], by_piece["work"]
    one = spherometer_from_record(work.geometry) if work.geometry else None
    u_reading = work.options.get("u_reading_mm")
    if u_reading is None:
        u_reading = one.u_reading_mm if one is not None else None
    return spherometry.compare(
        spherometry.SpherometerReadings(
            tuple(map(float, plate.height_mm)),
            tuple(map(float, work.height_mm)),
            tuple(map(float, work.zero_mm)),
            float(u_reading or 0.0),
            float(work.options.get("u_drift_mm", 0.0)),
        ),
        surface.form,
        spherometer=one,
        plate_radius_mm=surface.plate_radius_mm,
        u_plate_radius_mm=surface.plate.radius_u_mm,
        diameter_mm=surface.diameter_mm,
        wavelength_nm=surface.tolerance.wavelength_nm or E_LINE_NM,
        trials=trials,
    )


def _measured(result: spherometry.SagResult, surface: Surface) -> Measured:
    """Power over the aperture and radius difference, as a verdict takes them."""
    power, step = result.power_fringes, result.radius_difference_mm
    made = Measured(
        power_fringes=_value(power),
        power_u_fringes=_u(power),
        sense="unknown" if power is None else "centre" if power.value >= 0 else "edge",
        radius_difference_mm=_value(step),
        radius_difference_u_mm=_u(step),
        wavelength_nm=surface.tolerance.wavelength_nm or E_LINE_NM,
        dof=None if power is None else power.dof,
        source="spherometer",
    )
    return made if power is None else dataclasses.replace(made, power_parts=_parts(power))


def _parts(power: Budget) -> Parts:
    """What each source contributes to a spherometer's power [fringe].

    Inputs of one kind, as the repeatability on work, plate and zero, are one source.
    """
    parts: dict[Source, float] = {}
    for row in power.rows:
        name = row.input.name
        what = "resolution" if name in GAUGED else name.split(",")[0].replace(" ", "_")
        source = Source(what, "spherometer")
        # those that stand alone keep their sign
        parts[source] = (
            math.hypot(parts[source], row.contribution) if source in parts else row.contribution
        )
    return Quantity.of(power.value, "fringes", parts).parts


def _value(one: Budget | None) -> float | None:
    return None if one is None else float(one.value)


def _u(one: Budget | None) -> float | None:
    return None if one is None else float(one.u)
