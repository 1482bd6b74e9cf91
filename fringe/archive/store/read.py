"""Read sessions: a cheap summary for lists, and everything for one of them."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import math
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from fringe.archive.store import hdf5, layout
from fringe.archive.store.aperture import surface_aperture
from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.digest import (
    CONTENT_ATTRIBUTE,
    content_digest,
    is_sealed,
    objects,
    seal_problem,
)
from fringe.archive.store.needed import (
    check_values,
    flag,
    mapping,
    need,
    needed_number,
    needed_text,
    not_ours,
    time,
)
from fringe.archive.store.read_reading import (
    form_of,
    or_nan,
    place_of,
    reading_of,
    sphere_of,
    spherometer_parts,
    whose_errors,
)
from fringe.archive.store.session import (
    METHODS,
    LoggedReading,
    LoggedSpherometer,
    Photograph,
    Session,
    SessionSummary,
    Visit,
)
from fringe.archive.store.surface import Plate, Surface
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.judge.state.whole_aperture import Placed, carried
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.orders.reading import Quality, Reading, form_is_proven


def session_files(folder: Path) -> list[Path]:
    """Name a surface's session files, in the order of their names."""
    try:
        entries = [e for e in os.scandir(folder) if e.name.endswith(layout.SUFFIX)]
    except OSError as error:
        raise BadInput(f"{folder}: cannot be read: {error.strerror}") from error
    visible = (e for e in entries if not e.name.startswith("."))
    return sorted(folder / e.name for e in visible if e.is_file(follow_symlinks=False))


def read_summary(path: Path) -> SessionSummary:
    """Read what a list needs of one session; its bytes are not proven.

    Raises
    ------
    BadInput
        If it is damaged, not a session, or of a newer schema; the line names the file.
    """
    if path.exists() and not is_sealed(path):
        raise BadInput(f"{path}: the file is cut short or was written by another program")
    with hdf5.opened(path) as file:
        _check_schema(path, file)
        return _summary(path, file)


def summary_from(draft: io.BytesIO, place: Path) -> SessionSummary:
    """Read the summary of a session that is not on disk yet, and the place it would have."""
    with h5py.File(draft, "r") as file:
        return _summary(place, file)


def said_content(path: Path) -> str | None:
    """Digest that a session gives of its content, which survives repacking; None without one."""
    try:
        with hdf5.opened(path) as file:
            return hdf5.text(file, CONTENT_ATTRIBUTE)
    except BadInput:
        return None


def open_session(path: Path) -> Session:
    """Read everything of one session, and prove that it is as it was written.

    Raises
    ------
    BadInput
        If a byte of it was altered, it is not a session, or it is of a newer schema; the
        line names the file.
    """
    if not path.is_file():
        raise BadInput(f"{path}: there is no such session")
    problem = seal_problem(path)
    if problem is not None:
        raise BadInput(f"{path}: {problem}")
    with hdf5.opened(path) as file:
        _check_schema(path, file)
        return _session(file, _proven_digest(path, file), _summary(path, file))


def prove_session(path: Path) -> tuple[SessionSummary, Session | BadInput]:
    """Read one session at one opening: its summary, and all of it or why that is not proven.

    Raises
    ------
    BadInput
        As :func:`read_summary`.
    """
    if path.exists() and not is_sealed(path):
        raise BadInput(f"{path}: the file is cut short or was written by another program")
    problem = seal_problem(path)
    summary = None
    try:
        with hdf5.opened(path) as file:
            _check_schema(path, file)
            summary = _summary(path, file)
            if problem is not None:
                return summary, BadInput(f"{path}: {problem}")
            return summary, _session(file, _proven_digest(path, file), summary)
    except BadInput as error:
        if summary is None:
            raise
        return summary, error


def prove_in_parts(path: Path) -> Session:
    """Prove a session as :func:`open_session`, without its photographs' bytes in memory.

    What the file says of its size is held against a limit before anything is unpacked, so that
    a small file cannot fill the memory.

    Raises
    ------
    BadInput
        As :func:`open_session`.
    """
    problem = seal_problem(path)
    if problem is not None:
        raise BadInput(f"{path}: {problem}")
    with hdf5.opened(path) as file:
        _check_schema(path, file)
        items = (item for where, item in objects(file) if not where.startswith("/photograph_"))
        declared = sum(hdf5.declared_bytes(item) for item in items if hasattr(item, "shape"))
        if declared > layout.MAX_CONTENT_BYTES:
            raise BadInput(f"{path}: its variables are larger than any session's, unpacked")
        return _session(file, _proven_digest(path, file), _summary(path, file), whole=False)


def read_session(path: Path, summary: SessionSummary) -> Session:
    """All of a session but its photographs, and nothing proven: for what is looked at often.

    Its summary was read before. Raises `BadInput` as :func:`read_summary`.
    """
    with hdf5.opened(path) as file:
        digest = hdf5.text(file, CONTENT_ATTRIBUTE) or ""
        return _session(file, digest, summary, whole=None)


def _proven_digest(path: Path, file: Any) -> str:
    digest = hdf5.text(file, CONTENT_ATTRIBUTE)
    if digest is None or digest != content_digest(file):
        raise BadInput(f"{path}: the content does not fit its digest")
    return digest


def _session(
    file: Any, digest: str, summary: SessionSummary, *, whole: bool | None = True
) -> Session:
    """All of a session; where not whole without its photographs, which are only proven; or not."""
    count = hdf5.whole(file, "photographs") or 0
    groups = (need(file, f"photograph_{i + 1}") for i in range(count))
    photographs: tuple[Photograph, ...] = ()
    if whole:
        photographs = tuple(_photograph(group) for group in groups)
    elif whole is not None:
        for group in groups:
            _prove_photograph(group)
    count = hdf5.whole(file, "spherometers") or 0
    spherometers = tuple(_spherometer(need(file, f"spherometer_{i + 1}")) for i in range(count))
    visit = Visit(
        when=summary.when if summary.when_given else None,
        by=summary.by,
        remarks=summary.remarks,
        work=summary.work,
        temperature_c=summary.temperature_c,
        readings=_readings(file),
        photographs=photographs,
        spherometers=spherometers,
        replaces=summary.replaces,
        also_replaces=summary.also_replaces,
        struck=summary.struck,
        inputs=mapping(file, "inputs"),
        instruments=mapping(file, "instruments"),
    )
    surface = _surface(need(file, "surface"))
    return Session(summary, visit, surface, mapping(file, "software"), digest)


def parts_of(path: Path, file: Any) -> Iterator[tuple[str, Callable[[], object]]]:
    """Name each part of an open session, with what reads it alone.

    Raises
    ------
    BadInput
        If the file is not a session, or of a newer schema; each part raises for itself.
    """
    _check_schema(path, file)
    yield "the visit", lambda: _summary(path, file)
    yield "the surface's record", lambda: _surface(need(file, "surface"))
    if hdf5.whole(file, "readings"):
        yield "the readings", lambda: _readings(file)
    for name, read in (("photograph", _photograph), ("spherometer", _spherometer)):
        for i in range(1, 1 + (hdf5.whole(file, f"{name}s") or 0)):
            yield f"{name} {i}", partial(_part, file, f"{name}_{i}", read)


def _part(file: Any, name: str, read: Callable[[Any], object]) -> object:
    return read(need(file, name))


def _check_schema(path: Path, file: Any) -> None:
    if hdf5.attribute(file, "schema") != layout.SCHEMA:
        raise BadInput(f"{path}: not a session (its schema is not {layout.SCHEMA!r})")
    version = hdf5.whole(file, "schema_version")
    if version is None or version < 1:
        raise BadInput(f"{path}: not a session (it has no schema version)")
    if version > layout.SCHEMA_VERSION:
        raise BadInput(
            f"{path}: schema version {version} is newer than this program's "
            f"{layout.SCHEMA_VERSION}; use a newer fringe"
        )
    for name in ("readings", "photographs", "spherometers"):
        if not 0 <= (hdf5.whole(file, name) or 0) <= layout.MAX_GROUPS:
            raise BadInput(f"{path}: not a session of fringe: its number of {name} cannot be")


def _summary(path: Path, file: Any) -> SessionSummary:
    return SessionSummary(
        session_id=needed_text(file, "session_id"),
        sequence=hdf5.whole(file, "sequence") or 0,
        when=time(file, "when"),
        when_given=hdf5.text(file, "when_source") == "given",
        logged_at=time(file, "logged_at"),
        place=path,
        previous_session=hdf5.text(file, "previous_session"),
        replaces=hdf5.text(file, "replaces"),
        also_replaces=tuple((hdf5.text(file, "also_replaces") or "").split()),
        written_number=hdf5.whole(file, "visit"),
        struck=bool(hdf5.whole(file, "struck")),
        told_step=mapping(file, "told_step"),
        digests=_photograph_digests(file),
        seen=_seen(file),
        by=hdf5.text(file, "by"),
        remarks=hdf5.text(file, "remarks"),
        work=_work(file),
        temperature_c=hdf5.number(file, "temperature_c"),
        measured=_all_measured(file),
        photographs=hdf5.whole(file, "photographs") or 0,
        refused=hdf5.whole(file, "refused") or 0,
    )


def _seen(file: Any) -> tuple[tuple[str, str], ...]:
    lines = (line.split() for line in (hdf5.text(file, "seen_sessions") or "").splitlines())
    return tuple((words[0], words[1]) for words in lines if len(words) == 2)


def _photograph_digests(file: Any) -> tuple[str, ...]:
    """Digests as the photographs' groups give them, as far as they read."""
    found = []
    for i in range(hdf5.whole(file, "photographs") or 0):
        # a list of visits must not fail because of a photograph that is damaged
        with suppress(BadInput, KeyError, OSError, RuntimeError, ValueError):
            group = hdf5.member(file, f"photograph_{i + 1}")
            found.append(None if group is None else hdf5.text(group, "sha256"))
    return tuple(one for one in found if one is not None)


def _work(file: Any) -> Work:
    values: dict[str, Any] = {name: hdf5.text(file, f"work_{name}") for name in layout.WORK_TEXTS}
    values |= {name: hdf5.number(file, f"work_{name}") for name in layout.WORK_NUMBERS}
    return Work.from_stored(values)


def _all_measured(file: Any) -> tuple[Measured, ...]:
    """What fringes and spherometers said, circles smaller than the aperture carried to it."""
    whole, parts = [], []
    rows = _rows(file, layout.SUMMARY_COLUMNS)
    surface = _surface(need(file, "surface")) if rows else None
    instruments = mapping(file, "instruments") if rows else {}
    for i, row in enumerate(rows, 1):
        assert surface is not None
        group = need(file, f"reading_{i}")
        one = _measured(file, row, group, surface, instruments)
        aperture_mm = hdf5.number(group, "aperture_mm")
        if aperture_mm is None:
            whole.append(one)
        else:
            parts.append(Placed(one, aperture_mm, place_of(group)))
    if parts:
        assert surface is not None
        limit = surface.tolerance.irregularity_fringes
        whole += carried(parts, surface_aperture(surface), limit)
    for i in range(hdf5.whole(file, "spherometers") or 0):
        found = _spherometer_measured(need(file, f"spherometer_{i + 1}"))
        whole += [] if found is None else [found]
    return tuple(whole)


def _spherometer_measured(group: Any) -> Measured | None:
    numbers: dict[str, Any] = {n: hdf5.number(group, n) for n in layout.SPHEROMETER_NUMBERS}
    check_values(group, numbers)
    power, step = numbers["power_fringes"], numbers["radius_difference_mm"]
    if power is None and step is None:
        return None
    sense = "unknown" if power is None else "centre" if power >= 0 else "edge"
    parts = () if power is None else spherometer_parts(group)
    return Measured(**numbers, sense=sense, source="spherometer", power_parts=parts)


def _measured(
    file: Any, row: dict[str, Any], group: Any, surface: Surface, instruments: Mapping[str, Any]
) -> Measured:
    """What one reading measured, by its own columns; its form, where that proves anything."""
    used = row["used_fraction"]
    proven = form_is_proven(row["irregularity_fringes"], row["irregularity_u95_fringes"], used)
    reading = Reading(
        wavelength_nm=or_nan(row["wavelength_nm"]),
        quality=Quality(math.nan, or_nan(used), math.nan),
        power_fringes=row["power_fringes"],
        power_u95_fringes=row["power_u95_fringes"],
        sense=flag(file, layout.SENSES, row["sense"]),
        irregularity_fringes=row["irregularity_fringes"],
        irregularity_u95_fringes=row["irregularity_u95_fringes"],
        radius_difference_mm=row["radius_difference_mm"],
        radius_difference_u95_mm=row["radius_difference_u95_mm"],
        power_u_parts=mapping(group, "power_u_parts"),
        form=form_of(group) if proven else None,
        sphere_mm=sphere_of(mapping(group, "options")) if proven else None,
        **whose_errors(group),
    )
    if not reading.reading_id:  # of an earlier version, which named none
        name = f"{needed_text(file, 'session_id')}{group.name}"
        reading = dataclasses.replace(reading, reading_id=name)
    against = hdf5.text(group, "against")
    bench = bench_of(
        surface,
        instruments,
        aperture_mm=hdf5.number(group, "aperture_mm"),
        against=against,
        options=mapping(group, "options"),
    )
    logged = LoggedReading(
        reading,
        method=flag(file, METHODS, row["method"]),
        against=against,
    )
    return logged_measured(logged, bench)


def _readings(file: Any) -> tuple[LoggedReading, ...]:
    columns = (
        layout.METHOD,
        layout.SENSE,
        *layout.READING_COLUMNS,
        *layout.EDGE_COLUMNS,
        *layout.QUALITY_COLUMNS,
    )
    return tuple(
        reading_of(need(file, f"reading_{i}"), row) for i, row in enumerate(_rows(file, columns), 1)
    )


def _rows(file: Any, columns: Sequence[layout.Column]) -> list[dict[str, Any]]:
    """The table of readings, one mapping a row."""
    count = hdf5.whole(file, "readings") or 0
    if count == 0:
        return []
    table = {column.name: _cells(file, column, count) for column in columns}
    rows = [{name: cells[i] for name, cells in table.items()} for i in range(count)]
    for row in rows:
        check_values(file, row)
    return rows


def _cells(file: Any, column: layout.Column, count: int) -> list[Any]:
    """A column's cells; None where the quantity does not apply, or the column is not there."""
    data = hdf5.variable(file, column.name, 1, max_bytes=8 * count)
    if data is None:
        return [None] * count
    if len(data) != count:
        raise not_ours(file, f"{column.name} has the wrong length")
    if column.whole:
        return [None if value == layout.MISSING else int(value) for value in data]
    return [None if np.isnan(value) else float(value) for value in data]


def _photograph(group: Any) -> Photograph:
    data = hdf5.variable(group, "data", 1, layout.MAX_PHOTOGRAPH_BYTES)
    if data is None or data.dtype != np.uint8:
        raise not_ours(group, f"{group.name} has no bytes")
    photograph = Photograph(
        file_name=hdf5.text(group, "file_name") or "photograph",
        data=data.tobytes(),
        media_type=hdf5.text(group, "media_type") or "application/octet-stream",
        refusal=hdf5.text(group, "refusal"),
    )
    if photograph.sha256 != hdf5.text(group, "sha256"):
        raise BadInput(f"{group.file.filename}: {group.name} does not fit its digest")
    return photograph


def _prove_photograph(group: Any) -> None:
    """Hold a photograph's bytes against its digest, a part at a time."""
    data, sha = hdf5.member(group, "data"), hashlib.sha256()
    if data is None:
        raise not_ours(group, f"{group.name} has no bytes")
    for part in hdf5.blocks(data, layout.MAX_PHOTOGRAPH_BYTES):
        sha.update(np.ascontiguousarray(part).data)
    if sha.hexdigest() != hdf5.text(group, "sha256"):
        raise BadInput(f"{group.file.filename}: {group.name} does not fit its digest")


def _spherometer(group: Any) -> LoggedSpherometer:
    arrays = [hdf5.variable(group, name, 1) for name in ("height_mm", "zero_mm")]
    height, zero = (np.empty(0) if array is None else array for array in arrays)
    return LoggedSpherometer(
        piece=needed_text(group, "piece"),
        height_mm=height,
        zero_mm=zero,
        geometry=mapping(group, "geometry"),
        options=mapping(group, "options"),
        radius_mm=hdf5.number(group, "radius_mm"),
        radius_u_mm=hdf5.number(group, "radius_u_mm"),
        measured=_spherometer_measured(group),
    )


def _surface(group: Any) -> Surface:
    number, text = hdf5.number, hdf5.text
    return Surface(
        name=needed_text(group, "name"),
        form=needed_text(group, "form"),
        radius_mm=needed_number(group, "radius_mm"),
        diameter_mm=needed_number(group, "diameter_mm"),
        radius_u_mm=number(group, "radius_u_mm"),
        plate=Plate(
            text(group, "plate_name"),
            number(group, "plate_radius_mm"),
            number(group, "plate_radius_u_mm"),
        ),
        tolerance=Tolerance(
            number(group, "tolerance_power_fringes"),
            number(group, "tolerance_irregularity_fringes"),
            number(group, "tolerance_radius_difference_mm"),
            number(group, "tolerance_wavelength_nm"),
            needed_text(group, "tolerance_rule"),
        ),
        lamp=text(group, "lamp"),
        glass=text(group, "glass"),
        note=text(group, "note"),
        as_typed=text(group, "as_typed"),
        version=hdf5.whole(group, "record_version") or 1,
        created_at=time(group, "created_at"),
        changed_at=time(group, "changed_at"),
        chamfer_mm=number(group, "chamfer_mm"),
    )
