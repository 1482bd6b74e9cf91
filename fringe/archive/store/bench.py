"""Conditions of a reading that the records of surface, plate and lamp state."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fringe.archive.store.session import LoggedReading
from fringe.archive.store.surface import Surface
from fringe.judge.tolerance.measured import Measured
from fringe.judge.uncertainty.sources import Bench, measured_of


def bench_of(
    surface: Surface,
    instruments: Mapping[str, Any],
    *,
    aperture_mm: float | None = None,
    against: str | None = None,
    options: Mapping[str, Any] | None = None,
) -> Bench:
    """What is on record beside a reading; nothing of temperature, which no record knows.

    Parameters
    ----------
    surface : Surface
        The work.
    instruments : mapping
        Records of what was used, `plate` among them, as a session keeps them.
    aperture_mm : float, optional
        Diameter of the circle that was read; else the work's [mm].
    against : str, optional
        Piece that the work was laid on, where it was not its plate.
    options : mapping, optional
        What the reading was made with; tells the radius of that piece, and how well the
        diameter is known.
    """
    diameter = aperture_mm or surface.diameter_mm
    u_diameter = (options or {}).get("u_diameter_mm")
    sound = isinstance(u_diameter, int | float) and math.isfinite(u_diameter) and u_diameter > 0
    u_diameter_mm = float(u_diameter) if sound and u_diameter is not None else 0.0
    if against is not None:
        radius = (options or {}).get("plate_radius_mm")
        known = isinstance(radius, int | float) and math.isfinite(radius) and radius > 0
        taken = float(radius) if known and radius is not None else surface.plate_radius_mm
        return Bench(surface.form, diameter, u_diameter_mm, plate_radius_mm=taken, plate=against)
    return Bench(
        work=surface.form,
        diameter_mm=diameter,
        u_diameter_mm=u_diameter_mm,
        plate_radius_mm=surface.plate_radius_mm,
        u_plate_radius_mm=surface.plate.radius_u_mm or 0.0,
        u_plate_form_nm=plate_form_u_nm(instruments),
        plate=surface.plate.name or f"plate of {surface.name}",
    )


def plate_form_u_nm(instruments: Mapping[str, Any]) -> float:
    """Standard uncertainty of the plate's form by the records that a session keeps [nm].

    It is the record's, which is that of the plate's whole diameter; over a smaller aperture it is
    taken to be as large, which is careful.
    """
    plate = instruments.get("plate")
    u_form = plate.get("u_form_nm") if isinstance(plate, Mapping) else None
    sound = isinstance(u_form, int | float) and math.isfinite(u_form) and u_form > 0
    return float(u_form) if sound and u_form is not None else 0.0


def logged_measured(logged: LoggedReading, bench: Bench) -> Measured:
    """What a logged reading measured, as :func:`measured_of` says; and what measured it."""
    one = measured_of(logged.reading, bench)
    source = {"photograph": "fringes", "eye": "eye"}[logged.method]
    return replace(one, source=source, against=logged.against)
