"""Readings and visits as labelled arrays (xarray), for those who go on from there."""

from __future__ import annotations

import dataclasses
from datetime import UTC
from typing import TYPE_CHECKING

import numpy as np

from fringe.archive.store.surface import Surface
from fringe.archive.views.surface_state import surface_state
from fringe.errors import BadInput
from fringe.judge.state.visits import VisitRow
from fringe.orders.gap_map import gap_map
from fringe.orders.reading import Reading

if TYPE_CHECKING:
    import xarray as xr

_UNITS = {
    "_fringes": "1",
    "_nm": "nm",
    "_mm": "mm",
    "_px2": "pixel2",
    "minutes": "min",
    "hours_total": "h",
    "_um": "um",
}


def reading_dataset(reading: Reading, diameter_mm: float | None = None) -> xr.Dataset:
    """Return a reading with its gap map and coefficients as labelled arrays.

    Parameters
    ----------
    reading : Reading
        With a form.
    diameter_mm : float or None
        Diameter of the aperture, for places in mm; None gives them in semi-diameters.

    Returns
    -------
    xarray.Dataset
        `gap_nm` (y, x): air gap from its lowest place, NaN off the aperture, x to the right
        and y down as in the photograph. `coefficient_fringes` (term) and
        `covariance_fringes2` (term, term_b) with the indices `n` and `m` of each term. Every
        number of the reading as a variable without dimensions, a burst's `steps_fringes` along
        `frame`, `sense` and the like as attributes; units are attributes of each variable.

    Raises
    ------
    BadInput
        If the reading has no form over an aperture.
    """
    import xarray as xr

    form = reading.form
    if form is None:
        raise BadInput("dataset: the reading has no form over its aperture")
    gap = gap_map(reading, diameter_mm)
    n, m = (np.array([term[k] for term in form.terms]) for k in (0, 1))
    place = {"units": gap.unit}
    found = xr.Dataset(
        {
            "gap_nm": (("y", "x"), gap.gap_nm, {"units": "nm"}),
            "coefficient_fringes": ("term", form.values, {"units": "1"}),
            "covariance_fringes2": (("term", "term_b"), form.covariance, {"units": "1"}),
        },
        coords={
            "x": ("x", gap.x, place),
            "y": ("y", gap.y, place),
            "n": ("term", n),
            "m": ("term", m),
        },
    )
    for name, value in reading.to_json().items():
        if name == "steps_fringes" and value is not None:
            found[name] = ("frame", value, {"units": _unit(name)})
        elif isinstance(value, int | float):
            found[name] = ((), float(value), {"units": _unit(name)})
        elif isinstance(value, str):
            found.attrs[name] = value
    return found


def visits_dataset(surface: Surface) -> xr.Dataset:
    """Return a surface's visits, judged by today's tolerance, as labelled arrays.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.

    Returns
    -------
    xarray.Dataset
        Along `visit`, from 1, with `when` in UTC: the numbers of `fringe progress --json` with
        NaN where there are none, and its texts with empty ones. `wavelength_nm` of the
        fringes is an attribute.

    Raises
    ------
    BadInput
        If the surface is in no archive, or a session cannot be read.
    """
    import xarray as xr

    if surface.folder is None:
        raise BadInput(f"surface {surface.name!r}: it is in no archive yet; add it first")
    judged = surface_state(surface, alone=True)
    if judged.problems:
        raise BadInput(judged.problems[0])
    rows = [dataclasses.asdict(row) for row in judged.rows]
    when = [row["when"].astimezone(UTC).replace(tzinfo=None) for row in rows]
    found = xr.Dataset(
        coords={
            "visit": np.arange(1, len(rows) + 1),
            "when": ("visit", np.array(when, "datetime64[ns]")),
        },
        attrs={"surface": surface.name},
    )
    if judged.wavelength_nm is not None:
        found.attrs["wavelength_nm"] = judged.wavelength_nm
    for field in dataclasses.fields(VisitRow):
        values, kind = [row[field.name] for row in rows], str(field.type)
        if kind.startswith("str"):
            found[field.name] = ("visit", [value or "" for value in values])
        elif kind.startswith(("float", "int")):
            numbers = [np.nan if value is None else float(value) for value in values]
            found[field.name] = ("visit", numbers, {"units": _unit(field.name)})
    return found


def _unit(name: str) -> str:
    return next((unit for end, unit in _UNITS.items() if name.endswith(end)), "1")
