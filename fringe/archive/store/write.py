"""Log a visit: one new file, whole or not there at all.

The file is built in memory, so that a full disk or a killed process meets one plain write
under a partial name, never HDF5 in the middle of its work.
"""

from __future__ import annotations

import io
import json
import platform
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from types import MappingProxyType
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from fringe.archive.store import layout
from fringe.archive.store.claim import claim_sequence, held, last_sequence
from fringe.archive.store.copy import fixed_text
from fringe.archive.store.digest import CONTENT_ATTRIBUTE, content_digest, seal
from fringe.archive.store.identity import NewSession, corrected_by
from fringe.archive.store.layout import Column
from fringe.archive.store.ledger import add_surface_files
from fringe.archive.store.netcdf import NetcdfGroup, new_netcdf
from fringe.archive.store.read import summary_from
from fringe.archive.store.session import (
    METHODS,
    LoggedReading,
    LoggedSpherometer,
    Photograph,
    SessionSummary,
    Visit,
)
from fringe.archive.store.surface import Surface
from fringe.errors import BadInput
from fringe.files import fill, publish
from fringe.optics.lamps import Lamp
from fringe.orders.gap_map import GapMap
from fringe.orders.reading import FormFit, RingFit

_CHUNK_BYTES = 1 << 20
_SOFTWARE = ("fringe", "numpy", "scipy", "h5py", "h5netcdf")
_PACKED = ("image/jpeg", "image/png")  # compressing these again gains nothing


@dataclass(frozen=True)
class Written:
    """A session that was written: its file, and the number of its visit."""

    path: Path
    number: int


def log_visit(surface: Surface, visit: Visit, *, now: datetime | None = None) -> Path:
    """Write a visit as a new session of a surface; as :func:`write_visit`, the file alone."""
    return write_visit(surface, visit, now=now).path


# Says what is to be done after a session that is about to be written, in a form that JSON has.
Advise = Callable[[SessionSummary], Mapping[str, object] | None]


def write_visit(
    surface: Surface, visit: Visit, *, now: datetime | None = None, advise: Advise | None = None
) -> Written:
    """Write a visit as a new session of a surface.

    Parameters
    ----------
    surface : Surface
        A surface that was loaded or added.
    visit : Visit
        What to write. `replaces` is the identity of a session, or what
        :func:`fringe.archive.store.order.find_visit` takes; then all latest sessions of that
        visit are replaced.
    now : datetime or None
        What the clock shows, with time zone; None asks it.
    advise : callable or None
        What the person is told to do next, which is kept with the visit. It gets the session as
        it would be written if nobody else wrote now.

    Raises
    ------
    BadInput
        If the visit holds nothing, replaces a session that does not exist, or cannot be
        written. Nothing is left behind then.
    """
    if surface.folder is None:
        raise BadInput(f"surface {surface.name!r}: it is in no archive yet; add it first")
    clock = now or datetime.now().astimezone()
    _check(visit)
    corrected = corrected_by(surface.folder, visit)
    new = NewSession(surface.folder, visit, corrected, clock)
    identity = new.identity(last_sequence(surface.folder) + 1, alone=True)
    draft = _session_draft(surface, visit, identity)
    told = None
    if advise is not None:
        told = advise(summary_from(draft, surface.folder / f"{identity['session_id']}.h5"))
    with held(surface.folder) as alone:
        sequence, partial = claim_sequence(surface.folder)
        try:
            identity = new.identity(sequence, alone=alone)
            image = _finished(draft, {**identity, "told_step": _json(told) if told else None})
            fill(partial, image, seal(image))
            final = surface.folder / f"{identity['session_id']}{layout.SUFFIX}"
            publish(partial, final)
        except BaseException:
            partial.unlink(missing_ok=True)
            raise
    add_surface_files(surface.folder)
    return Written(final, identity["visit"])


def _check(visit: Visit) -> None:
    """Refuse what no session may hold, before anything is written."""
    if visit.when is not None and visit.when.utcoffset() is None:
        raise BadInput("visit: its time has no time zone")
    work = visit.work
    if not (
        visit.readings
        or visit.photographs
        or visit.spherometers
        or visit.remarks
        or work.stage
        or work.pits
        or work.minutes is not None
        or "certificate" in visit.inputs
    ):
        raise BadInput("visit: there is nothing to log; give a photograph, a stage or a remark")
    groups = (visit.readings, visit.photographs, visit.spherometers)
    if max(map(len, groups)) > layout.MAX_GROUPS:
        raise BadInput(f"visit: more than {layout.MAX_GROUPS} readings or photographs in one")
    for logged in visit.readings:
        if any(not 1 <= number <= len(visit.photographs) for number in logged.photographs):
            raise BadInput("visit: a reading names a photograph that the visit does not hold")
    for photograph in visit.photographs:
        if not 0 < len(photograph.data) <= layout.MAX_PHOTOGRAPH_BYTES:
            raise BadInput(f"{photograph.file_name}: empty, or too large to archive")


def _session_draft(surface: Surface, visit: Visit, identity: Mapping[str, Any]) -> io.BytesIO:
    """Build the HDF5 file in memory, all but its digest."""
    buffer = io.BytesIO()
    with new_netcdf(buffer, layout.LIBVER) as file:
        _write_root(file, surface, visit, identity)
        for i, logged in enumerate(visit.readings, 1):
            _write_reading(file.create_group(f"reading_{i}"), logged)
        for i, photograph in enumerate(visit.photographs, 1):
            _write_photograph(file.create_group(f"photograph_{i}"), photograph)
        for i, readings in enumerate(visit.spherometers, 1):
            _write_spherometer(file.create_group(f"spherometer_{i}"), readings)
        _write_attributes(file.create_group("surface"), _surface_attributes(surface))
    return buffer


def _finished(draft: io.BytesIO, identity: Mapping[str, Any]) -> memoryview:
    """A draft with the identity that it gets in the end, and its digest."""
    with h5py.File(draft, "r+", libver=layout.LIBVER) as file:
        for name, value in _stored(identity).items():
            file.attrs[name] = value
        digest = content_digest(file)
        file.attrs.create(CONTENT_ATTRIBUTE, fixed_text(digest))
    return draft.getbuffer()


def _write_root(
    file: NetcdfGroup, surface: Surface, visit: Visit, identity: Mapping[str, Any]
) -> None:
    stored: dict[str, Any] = visit.work.to_stored()
    values = {
        "Conventions": "CF-1.8",
        "title": f"{surface.name}, {identity['when']}",
        "schema": layout.SCHEMA,
        "schema_version": layout.SCHEMA_VERSION,
        **identity,
        "by": visit.by,
        **{f"work_{name}": stored[name] for name in layout.WORK_TEXTS},
        **{f"work_{name}": _real(stored[name]) for name in layout.WORK_NUMBERS},
        "remarks": visit.remarks,
        "temperature_c": _real(visit.temperature_c),
        "inputs": _json(visit.inputs),
        "instruments": _json(visit.instruments) if visit.instruments else None,
        "software": _json(_versions()),
        "readings": len(visit.readings),
        "photographs": len(visit.photographs),
        "refused": sum(photograph.refusal is not None for photograph in visit.photographs),
        "spherometers": len(visit.spherometers),
    }
    _write_attributes(file, values)
    if visit.readings:
        file.add_dimension("reading", len(visit.readings))
        for column, cells in _reading_table(visit.readings):
            _write_column(file, column, cells)


def _reading_table(readings: Sequence[LoggedReading]) -> Iterable[tuple[Column, list[Any]]]:
    """Columns with their cells, one a reading; None where a quantity does not apply."""
    yield layout.METHOD, [METHODS.index(logged.method) for logged in readings]
    yield layout.SENSE, [layout.SENSES.index(logged.reading.sense) for logged in readings]
    for column in layout.READING_COLUMNS:
        yield column, [getattr(logged.reading, column.name) for logged in readings]
    for column in layout.EDGE_COLUMNS:
        yield column, [getattr(logged.reading.edge, column.field, None) for logged in readings]
    for column in layout.QUALITY_COLUMNS:
        yield column, [getattr(logged.reading.quality, column.name) for logged in readings]


def _write_column(file: NetcdfGroup, column: Column, cells: list[Any]) -> None:
    missing = layout.MISSING if column.whole else np.nan
    data = np.array(
        [missing if cell is None else cell for cell in cells], "i4" if column.whole else "f8"
    )
    flags: dict[str, Any] = {}
    if column in (layout.METHOD, layout.SENSE):
        names = METHODS if column is layout.METHOD else layout.SENSES
        flags["flag_values"] = np.arange(len(names), dtype="i4")
        flags["flag_meanings"] = fixed_text(" ".join(names))
    _write_variable(
        file,
        column.name,
        ("reading",),
        data,
        column.units,
        column.long_name,
        None if flags else missing,
        more=flags,
    )


def _write_reading(group: NetcdfGroup, logged: LoggedReading) -> None:
    reading = logged.reading
    values: dict[str, Any] = {name: getattr(reading, name) for name in layout.READING_TEXTS}
    values["warnings"] = "\n".join(" ".join(w.split()) for w in reading.quality.warnings)
    values["options"] = _json(logged.options)
    values["power_u_parts"] = _json(reading.power_u_parts) if reading.power_u_parts else None
    if reading.plate_map:
        values["plate_map"] = reading.plate_map
        values["plate_map_shares"] = _json(reading.plate_map_shares)
    values["reading_id"] = reading.reading_id or None
    values["against"], values["aperture_mm"] = logged.against, _real(logged.aperture_mm)
    if logged.place_mm is not None:
        values["place_x_mm"], values["place_y_mm"] = map(float, logged.place_mm)
    _write_attributes(group, values)
    if logged.photographs:
        group.set_attributes({"photographs": np.array(logged.photographs, "i4")})
    if logged.lamp is not None:
        _write_lamp(group, logged.lamp)
    if reading.form is not None:
        _write_form(group, reading.form)
    if reading.ring_fit is not None:
        _write_rings(group, reading.ring_fit)
    if reading.steps_fringes is not None:
        _write_steps(group, reading.steps_fringes)
    if logged.gap is not None:
        _write_gap(group, logged.gap)


def _write_lamp(group: NetcdfGroup, lamp: Lamp) -> None:
    values: dict[str, Any] = {f"lamp_{name}": getattr(lamp, name) for name in layout.LAMP_TEXTS}
    values["lamp_u_wavelength_nm"] = _real(lamp.u_wavelength_nm)
    _write_attributes(group, values)
    group.add_dimension("line", len(lamp.lines))
    for name, units, what in (
        ("wavelength_nm", "nm", "wavelength of the line in air"),
        ("weight", "1", "share of the line"),
        ("fwhm_nm", "nm", "width of the line at half its height"),
    ):
        data = np.array([getattr(line, name) for line in lamp.lines], "f8")
        _write_variable(group, f"lamp_{name}", ("line",), data, units, what)


def _write_form(group: NetcdfGroup, form: FormFit) -> None:
    terms = np.array(form.terms, "i4").reshape(-1, 2)
    if not len(terms):
        return
    for name in ("term", "term_b"):
        group.add_dimension(name, len(terms))
    for name, data, what in (
        ("term_n", terms[:, 0], "Zernike radial index; -K for a local bump"),
        ("term_m", terms[:, 1], "Zernike azimuthal index, negative for sines"),
        ("coefficient_fringes", form.values, "gap at the rim of an unnormalised Zernike term"),
    ):
        _write_variable(group, name, ("term",), data, "1", what)
    _write_variable(
        group,
        "covariance_fringes2",
        ("term", "term_b"),
        form.covariance,
        "1",
        "covariance of the coefficients, in square fringes",
    )


def _write_rings(group: NetcdfGroup, rings: RingFit) -> None:
    _write_attributes(
        group,
        {
            "ring_cx_px": _real(rings.cx),
            "ring_cy_px": _real(rings.cy),
            "ring_fit_step_px2": _real(rings.step_px2),
            "ring_fit_step_u95_px2": _real(rings.step_u95_px2),
            "ring_intercept_px2": _real(rings.intercept_px2),
        },
    )
    if len(rings.orders):
        group.add_dimension("ring", len(rings.orders))
        _write_variable(group, "ring_order", ("ring",), rings.orders, "1", "order of the ring")
        _write_variable(
            group, "ring_radius_px", ("ring",), rings.radii_px, "pixel", "radius of the ring"
        )


def _write_steps(group: NetcdfGroup, steps: tuple[float, ...]) -> None:
    group.add_dimension("frame", len(steps))
    _write_variable(
        group,
        "steps_fringes",
        ("frame",),
        np.array(steps, "f8"),
        "1",
        "step of each frame against the first, modulo one",
    )


def _write_gap(group: NetcdfGroup, gap: GapMap) -> None:
    if gap.gap_nm.shape != (len(gap.y), len(gap.x)):
        raise BadInput("gap map: its shape does not fit its places")
    group.add_dimension("y", len(gap.y))
    group.add_dimension("x", len(gap.x))
    for name, places, what in (("y", gap.y, "downwards"), ("x", gap.x, "to the right")):
        long_name = f"place on the aperture {what}, as in the photograph"
        _write_variable(group, name, (name,), np.asarray(places, "f8"), gap.unit, long_name)
    data = np.asarray(gap.gap_nm, "f4")
    _write_variable(
        group, "gap_nm", ("y", "x"), data, "nm", "air gap from its lowest place", np.float32("nan")
    )


def _write_photograph(group: NetcdfGroup, photograph: Photograph) -> None:
    _write_attributes(
        group,
        {
            "file_name": Path(photograph.file_name).name,
            "media_type": photograph.media_type,
            "sha256": photograph.sha256,
            "refusal": photograph.refusal,
        },
    )
    group.add_dimension("byte", len(photograph.data))
    data = np.frombuffer(photograph.data, "u1")
    pack = photograph.media_type not in _PACKED
    _write_variable(group, "data", ("byte",), data, "1", "the file's original bytes", pack=pack)


def _write_spherometer(group: NetcdfGroup, readings: LoggedSpherometer) -> None:
    values = {
        "piece": readings.piece,
        "geometry": _json(readings.geometry),
        "options": _json(readings.options),
        "radius_mm": _real(readings.radius_mm),
        "radius_u_mm": _real(readings.radius_u_mm),
    }
    one = readings.measured
    if one is not None:
        values |= {name: _real(getattr(one, name)) for name in layout.SPHEROMETER_NUMBERS}
        if one.power_parts:
            parts = {source.what: contribution for source, contribution in one.power_parts}
            values["power_u_parts"] = _json(parts)
    _write_attributes(group, values)
    for name, data, where in (
        ("height", readings.height_mm, "piece"),
        ("zero", readings.zero_mm, "flat"),
    ):
        if len(data):
            group.add_dimension(name, len(data))
            _write_variable(
                group,
                f"{name}_mm",
                (name,),
                np.asarray(data, "f8"),
                "mm",
                f"reading on the {where}",
            )


def _surface_attributes(surface: Surface) -> dict[str, object]:
    plate, tolerance = surface.plate, surface.tolerance
    return {
        "name": surface.name,
        "record_version": surface.version,
        "form": surface.form,
        "radius_mm": _real(surface.radius_mm),
        "radius_u_mm": _real(surface.radius_u_mm),
        "diameter_mm": _real(surface.diameter_mm),
        "chamfer_mm": _real(surface.chamfer_mm),
        "plate_name": plate.name,
        "plate_radius_mm": _real(plate.radius_mm),
        "plate_radius_u_mm": _real(plate.radius_u_mm),
        "tolerance_power_fringes": _real(tolerance.power_fringes),
        "tolerance_irregularity_fringes": _real(tolerance.irregularity_fringes),
        "tolerance_radius_difference_mm": _real(tolerance.radius_difference_mm),
        "tolerance_wavelength_nm": _real(tolerance.wavelength_nm),
        "tolerance_rule": tolerance.rule,
        "lamp": surface.lamp,
        "glass": surface.glass,
        "note": surface.note,
        "as_typed": surface.as_typed,
        "created_at": surface.created_at and surface.created_at.isoformat(),
        "changed_at": surface.changed_at and surface.changed_at.isoformat(),
    }


def _write_attributes(group: NetcdfGroup, values: Mapping[str, Any]) -> None:
    """Write text and numbers; None and empty text are left out."""
    group.set_attributes(_stored(values))


def _stored(values: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, str):
            if value.rstrip("\0"):
                found[name] = fixed_text(value)
        elif value is not None:
            found[name] = np.float64(value) if isinstance(value, float) else np.int64(value)
    return found


def _write_variable(
    group: NetcdfGroup,
    name: str,
    dimensions: tuple[str, ...],
    data: NDArray[Any],
    units: str,
    long_name: str,
    missing: Any = None,
    *,
    pack: bool = True,
    more: Mapping[str, Any] = MappingProxyType({}),
) -> None:
    rows = max(1, min(data.shape[0], _CHUNK_BYTES // max(1, data[0].nbytes)))
    group.add_variable(
        name,
        dimensions,
        data,
        {"units": fixed_text(units), "long_name": fixed_text(long_name), **more},
        missing,
        chunks=(rows, *data.shape[1:]),
        fletcher32=True,
        **({"compression": "gzip", "compression_opts": 4, "shuffle": True} if pack else {}),
    )


def _json(values: Mapping[str, Any]) -> str:
    try:
        return json.dumps(dict(values), allow_nan=False, ensure_ascii=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise BadInput(f"visit: an input has no JSON form: {error}") from error


def _real(value: float | None) -> float | None:
    return None if value is None else float(value)


@cache  # looking them up takes as long as writing a small visit
def _versions() -> Mapping[str, str]:
    found = {name: version(name) for name in _SOFTWARE}
    return found | {"hdf5": h5py.version.hdf5_version, "python": platform.python_version()}
