"""Read one reading of an open session: numbers, lamp, form, rings and gap map."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from fringe.archive.store import hdf5, layout
from fringe.archive.store.needed import (
    check_values,
    flag,
    mapping,
    not_ours,
)
from fringe.archive.store.session import (
    METHODS,
    LoggedReading,
)
from fringe.judge.tolerance.measured import Parts
from fringe.optics.lamps import Lamp, Line, is_mixed
from fringe.orders.gap_map import GapMap
from fringe.orders.reading import FormFit, Quality, Reading, RingFit
from fringe.photo.ellipse import Edge
from fringe.quantity import Quantity, Source


def place_of(group: Any) -> tuple[float, float] | None:
    """Where on the work the middle of a smaller plate lay [mm]; None where it was not said."""
    x, y = hdf5.number(group, "place_x_mm"), hdf5.number(group, "place_y_mm")
    return None if x is None or y is None else (x, y)


def whose_errors(group: Any) -> dict[str, Any]:
    """Whose errors a reading has: its own name, its lamp's, and the plate's map's."""
    return {
        "reading_id": hdf5.text(group, "reading_id") or "",
        "lamp": hdf5.text(group, "lamp_name") or "",
        "u_wavelength_nm": hdf5.number(group, "lamp_u_wavelength_nm") or 0.0,
        "plate_map": hdf5.text(group, "plate_map") or "",
        "plate_map_shares": _shares(group),
    }


def reading_of(group: Any, row: dict[str, Any]) -> LoggedReading:
    """Read a reading of its group and of its row in the table of readings."""
    corners = {column.field: row[column.name] for column in layout.EDGE_COLUMNS}
    warnings = hdf5.text(group, "warnings")
    quality = Quality(
        contrast=or_nan(row["contrast"]),
        used_fraction=or_nan(row["used_fraction"]),
        residual=or_nan(row["residual"]),
        warnings=tuple(warnings.split("\n")) if warnings else (),
    )
    values: dict[str, Any] = {column.name: row[column.name] for column in layout.READING_COLUMNS}
    values["wavelength_nm"] = or_nan(row["wavelength_nm"])
    values.update({name: hdf5.text(group, name) for name in layout.READING_TEXTS})
    reading = Reading(
        **values,
        sense=flag(group, layout.SENSES, row["sense"]),
        edge=None if None in corners.values() else Edge(**corners),
        steps_fringes=_steps(group),
        quality=quality,
        form=form_of(group),
        sphere_mm=sphere_of(mapping(group, "options")),
        ring_fit=_rings(group),
        power_u_parts=mapping(group, "power_u_parts"),
        **whose_errors(group),
    )
    photographs = hdf5.attribute(group, "photographs")
    return LoggedReading(
        reading=reading,
        method=flag(group, METHODS, row["method"]),
        photographs=() if photographs is None else tuple(int(i) for i in photographs.reshape(-1)),
        lamp=_lamp(group),
        options=mapping(group, "options"),
        gap=_gap(group),
        against=hdf5.text(group, "against"),
        aperture_mm=hdf5.number(group, "aperture_mm"),
        place_mm=place_of(group),
    )


def sphere_of(options: Mapping[str, Any]) -> tuple[float, float] | None:
    """Radius of the plate and diameter of the aperture that a reading was made with [mm]."""
    sizes = [options.get(name) for name in ("plate_radius_mm", "diameter_mm")]
    if not all(isinstance(one, int | float) and 0 < one < math.inf for one in sizes):
        return None
    radius, diameter = (float(one) for one in sizes if one is not None)
    return (radius, diameter) if diameter < 2 * radius else None


def _shares(group: Any) -> dict[str, float]:
    """What a plate's map has of the variances of the form's figures, 0 to 1."""
    shares = mapping(group, "plate_map_shares")
    if not all(isinstance(one, int | float) and 0 <= one <= 1 for one in shares.values()):
        raise not_ours(group, "its shares of the plate's map are none")
    return shares


def spherometer_parts(group: Any) -> Parts:
    """What each source contributes to a spherometer's power [fringe]; empty where not recorded."""
    parts = mapping(group, "power_u_parts")
    check_values(group, parts)
    if not all(isinstance(one, int | float) for one in parts.values()):
        raise not_ours(group, "a part of its uncertainty is no number")
    found = Quantity.of(0.0, "fringes", {Source(w, "spherometer"): c for w, c in parts.items()})
    u = hdf5.number(group, "power_u_fringes") or 0.0
    if found.parts and not math.isclose(found.u, u, rel_tol=1e-6):
        raise not_ours(group, "the parts of its uncertainty do not make it up")
    return found.parts


def or_nan(value: float | None) -> float:
    """Give not-a-number where a number is missing."""
    return float("nan") if value is None else value


def _lamp(group: Any) -> Lamp | None:
    columns = [hdf5.variable(group, f"lamp_{n}", 1) for n in ("wavelength_nm", "weight", "fwhm_nm")]
    if any(column is None for column in columns):
        return None
    lines = tuple(Line(*map(float, line)) for line in zip(*columns, strict=True))  # type: ignore[arg-type]
    texts = {name: hdf5.text(group, f"lamp_{name}") or "" for name in layout.LAMP_TEXTS}
    u = hdf5.number(group, "lamp_u_wavelength_nm")
    mixed = is_mixed(texts["name"])
    return Lamp(lines=lines, u_wavelength_nm=0.0 if u is None else u, is_mixed=mixed, **texts)


def form_of(group: Any) -> FormFit | None:
    """The fitted gap over the aperture; None for a reading without one."""
    n, m = hdf5.variable(group, "term_n", 1), hdf5.variable(group, "term_m", 1)
    values = hdf5.variable(group, "coefficient_fringes", 1)
    covariance = hdf5.variable(group, "covariance_fringes2", 2)
    if n is None or m is None or values is None or covariance is None:
        return None
    if not len(n) == len(m) == len(values) == covariance.shape[0] == covariance.shape[1]:
        raise not_ours(group, "its terms do not match")
    return FormFit(tuple((int(a), int(b)) for a, b in zip(n, m, strict=True)), values, covariance)


def _rings(group: Any) -> RingFit | None:
    numbers = {
        field: hdf5.number(group, name)
        for field, name in (
            ("cx", "ring_cx_px"),
            ("cy", "ring_cy_px"),
            ("step_px2", "ring_fit_step_px2"),
            ("step_u95_px2", "ring_fit_step_u95_px2"),
            ("intercept_px2", "ring_intercept_px2"),
        )
    }
    if None in numbers.values():
        return None
    arrays = [hdf5.variable(group, name, 1) for name in ("ring_order", "ring_radius_px")]
    orders, radii = (np.empty(0) if array is None else array for array in arrays)
    found: dict[str, Any] = {**numbers, "orders": orders, "radii_px": radii}
    return RingFit(**found)


def _steps(group: Any) -> tuple[float, ...] | None:
    steps = hdf5.variable(group, "steps_fringes", 1)
    return None if steps is None else tuple(map(float, steps))


def _gap(group: Any) -> GapMap | None:
    x, y = hdf5.variable(group, "x", 1), hdf5.variable(group, "y", 1)
    gap = hdf5.variable(group, "gap_nm", 2)
    if x is None or y is None or gap is None:
        return None
    if gap.shape != (len(y), len(x)):
        raise not_ours(group, "its gap map does not match")
    return GapMap(x, y, gap, hdf5.text(group["x"], "units") or "1")
