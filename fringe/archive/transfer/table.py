"""A surface's visits as a table of comma-separated values, and back.

One row a reading; a visit without readings has a row of its own. The first row names the
columns; lengths and times are in the units that their names end with. Texts that a spreadsheet
would take for a formula are written with an apostrophe before them, which is taken off again.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from fringe.archive.store import layout
from fringe.archive.store.session import METHODS, LoggedReading, LoggedSpherometer, Session, Visit
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.measured import Measured
from fringe.orders.reading import Quality, Reading
from fringe.photo.ellipse import Edge
from fringe.quantity import half_width_if_any, standard_if_any

SPHEROMETER = "spherometer"  # stands as the method of what one said
VISIT_COLUMNS = (
    "session_id",
    "sequence",
    "visit",
    "when",
    "when_source",
    "replaces",
    "counts",
    "by",
    "remarks",
    "temperature_c",
    *(f"work_{name}" for name in (*layout.WORK_TEXTS, *layout.WORK_NUMBERS)),
)
NUMBER_COLUMNS = (
    *(column.name for column in layout.READING_COLUMNS),
    *(column.name for column in (*layout.EDGE_COLUMNS, *layout.QUALITY_COLUMNS)),
    "aperture_mm",
    "place_x_mm",
    "place_y_mm",
)
TEXT_COLUMNS = (
    "method",
    "photographs",
    "lamp",
    "sense",
    *layout.READING_TEXTS,
    "warnings",
    "against",
    "steps_fringes",
)
COLUMNS = (*VISIT_COLUMNS, *TEXT_COLUMNS, *NUMBER_COLUMNS)
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
_MAX_ROWS = 1_000_000
_MAX_CELL = 100_000


def table_text(rows: Iterable[Mapping[str, Any]]) -> str:
    """Return rows as comma-separated values, the names of the columns first."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in COLUMNS])
    return file.getvalue()


def rows_of(
    session: Session, *, counts: bool, number: int | None = None
) -> Iterator[dict[str, Any]]:
    """Rows of one session: its readings, then what a spherometer said.

    Parameters
    ----------
    session : Session
        The session.
    counts : bool
        Whether it counts, or was corrected.
    number : int or None
        Of its visit; else as the session has it.
    """
    summary, visit = session.summary, session.visit
    work = {f"work_{name}": value for name, value in visit.work.to_stored().items()}
    base = {
        "session_id": summary.session_id,
        "sequence": summary.sequence,
        "visit": summary.written_number if number is None else number,
        "when": summary.when.isoformat(),
        "when_source": "given" if summary.when_given else "clock",
        "replaces": summary.replaces,
        "counts": "yes" if counts else "no",
        "by": visit.by,
        "remarks": visit.remarks,
        "temperature_c": visit.temperature_c,
        **work,
    }
    rows = [_reading_row(logged, session) for logged in visit.readings]
    rows += [_measured_row(s.measured) for s in visit.spherometers if s.measured is not None]
    yield from (base | row for row in rows or [{}])


def _reading_row(logged: LoggedReading, session: Session) -> dict[str, object]:
    reading, edge = logged.reading, logged.reading.edge
    kept = session.visit.photographs
    names = [kept[i - 1].file_name for i in logged.photographs if 0 < i <= len(kept)]
    row: dict[str, Any] = {c.name: getattr(reading, c.name) for c in layout.READING_COLUMNS}
    row |= {c.name: getattr(edge, c.field, None) for c in layout.EDGE_COLUMNS}
    row |= {c.name: getattr(reading.quality, c.name) for c in layout.QUALITY_COLUMNS}
    row |= {name: getattr(reading, name) for name in layout.READING_TEXTS}
    x, y = logged.place_mm or (None, None)
    return row | {
        "method": logged.method,
        "photographs": "; ".join(names),
        "lamp": None if logged.lamp is None else logged.lamp.name,
        "sense": reading.sense,
        "warnings": "; ".join(reading.quality.warnings),
        "against": logged.against,
        "steps_fringes": "; ".join(map(repr, reading.steps_fringes or ())),
        "aperture_mm": logged.aperture_mm,
        "place_x_mm": x,
        "place_y_mm": y,
    }


def _measured_row(found: Measured) -> dict[str, object]:
    return {
        "method": SPHEROMETER,
        "sense": found.sense,
        "wavelength_nm": found.wavelength_nm,
        "power_fringes": found.power_fringes,
        "power_u95_fringes": half_width_if_any(found.power_u_fringes, found.dof),
        "radius_difference_mm": found.radius_difference_mm,
        "radius_difference_u95_mm": half_width_if_any(found.radius_difference_u_mm, found.dof),
    }


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value)


def visits_from_table(text: str, name: str) -> list[tuple[str | None, Visit]]:
    """Read visits from a table; only `when` is needed, any other column may be missing.

    Rows of one `session_id`, or without one of the same `when`, are one visit.

    Parameters
    ----------
    text : str
        Comma-separated values with the names of the columns in the first row.
    name : str
        What to call the table in messages.

    Returns
    -------
    list of (str or None, Visit)
        In the order of the table, each with the identity of the session that it was.

    Raises
    ------
    BadInput
        If it is not a table, or a cell makes no sense; the line says which.
    """
    visits: dict[str, list[tuple[_Row, int]]] = {}
    for number, row in _rows(text, name):
        key = row.text("session_id") or f"at {row.time('when').isoformat()}"
        visits.setdefault(key, []).append((row, number))
    if not visits:
        raise BadInput(f"{name}: there is no visit in it")
    return [_visit([row for row, _ in rows]) for rows in visits.values()]


class _Row:
    """One row of a table; every complaint names its line and column."""

    def __init__(self, cells: Mapping[str, str], where: str) -> None:
        self.cells, self.where = cells, where

    def text(self, column: str) -> str | None:
        cell = self.cells.get(column, "")
        cell = cell[1:] if cell.startswith("'") else cell
        return cell if cell.strip() else None

    def one_of(self, column: str, known: tuple[str, ...]) -> str | None:
        value = self.text(column)
        if value is not None and value.strip() not in known:
            raise self.wrong(column, f"is not one of {', '.join(known)}")
        return value and value.strip()

    def number(self, column: str) -> float | None:
        value = self.text(column)
        return None if value is None else self._number(column, value)

    def numbers(self, column: str) -> tuple[float, ...] | None:
        value = self.text(column)
        if value is None:
            return None
        return tuple(self._number(column, part) for part in value.split(";"))

    def _number(self, column: str, value: str) -> float:
        try:
            number = float(value.replace("−", "-"))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise self.wrong(column, "is not a number")
        return number

    def time(self, column: str) -> datetime:
        value = self.text(column)
        try:
            time = datetime.fromisoformat((value or "").strip())
            return time if time.utcoffset() is not None else time.astimezone()
        except (ValueError, OverflowError, OSError) as error:
            raise self.wrong(column, "is not a time; write 2026-03-14T09:30+01:00") from error

    def wrong(self, column: str, what: str) -> BadInput:
        cell = self.cells.get(column, "")
        shown = cell if len(cell) < 40 else cell[:40] + " ..."
        return BadInput(f"{self.where}, {column}: {shown!r} {what}")


def _rows(text: str, name: str) -> Iterator[tuple[int, _Row]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        head = [cell.strip() for cell in next(reader, [])]
        if "when" not in head or len(set(head)) != len(head):
            raise BadInput(
                f"{name}: the first row must name the columns, each once, with `when` among them"
            )
        for count, cells in enumerate(reader):
            line = reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(head) or count > _MAX_ROWS or max(map(len, cells)) > _MAX_CELL:
                raise BadInput(f"{name}, line {line}: {len(cells)} cells for {len(head)} columns")
            yield line, _Row(dict(zip(head, cells, strict=True)), f"{name}, line {line}")
    except csv.Error as error:
        raise BadInput(f"{name}, line {reader.line_num}: {error}") from error


def _visit(rows: list[_Row]) -> tuple[str | None, Visit]:
    first = rows[0]
    work: dict[str, Any] = {n: first.text(f"work_{n}") for n in layout.WORK_TEXTS}
    work |= {n: first.number(f"work_{n}") for n in layout.WORK_NUMBERS}
    readings, spherometers = [], []
    for row in rows:
        method = row.one_of("method", (*METHODS, SPHEROMETER))
        if method == SPHEROMETER:
            spherometers.append(_spherometer(row))
        elif method is not None or row.number("power_fringes") is not None:
            readings.append(_reading(row, method or "eye"))
    visit = Visit(
        when=first.time("when"),
        by=first.text("by"),
        remarks=first.text("remarks"),
        work=_work(first, work),
        temperature_c=first.number("temperature_c"),
        readings=tuple(readings),
        spherometers=tuple(spherometers),
        replaces=first.text("replaces"),
    )
    return first.text("session_id"), visit


def _work(row: _Row, values: dict[str, Any]) -> Work:
    try:
        return Work.from_stored(values)
    except BadInput as error:
        raise BadInput(f"{row.where}: {error}") from error


def _reading(row: _Row, method: str) -> LoggedReading:
    values: dict[str, Any] = {c.name: row.number(c.name) for c in layout.READING_COLUMNS}
    if values["wavelength_nm"] is None:
        raise row.wrong("wavelength_nm", "is needed: fringes of what light?")
    for column in layout.READING_COLUMNS:
        if column.whole and values[column.name] is not None:
            values[column.name] = round(values[column.name])
    corners = {c.field: row.number(c.name) for c in layout.EDGE_COLUMNS}
    edge = None if None in corners.values() else Edge(**corners)  # type: ignore[arg-type]
    nan = math.nan
    contrast, used, residual = (row.number(c.name) for c in layout.QUALITY_COLUMNS)
    warnings = row.text("warnings")
    quality = Quality(
        nan if contrast is None else contrast,
        nan if used is None else used,
        nan if residual is None else residual,
        tuple(warnings.split("; ")) if warnings else (),
    )
    values |= {name: row.text(name) for name in layout.READING_TEXTS}
    reading = Reading(
        **values,
        sense=row.one_of("sense", layout.SENSES) or "unknown",
        edge=edge,
        steps_fringes=row.numbers("steps_fringes"),
        quality=quality,
    )
    x, y = row.number("place_x_mm"), row.number("place_y_mm")
    return LoggedReading(
        reading=reading,
        method=method,
        against=row.text("against"),
        aperture_mm=row.number("aperture_mm"),
        place_mm=None if x is None or y is None else (x, y),
    )


def _spherometer(row: _Row) -> LoggedSpherometer:
    import numpy as np

    return LoggedSpherometer(
        piece="work",
        height_mm=np.empty(0),
        zero_mm=np.empty(0),
        measured=Measured(
            power_fringes=row.number("power_fringes"),
            power_u_fringes=standard_if_any(row.number("power_u95_fringes")),
            sense=row.one_of("sense", layout.SENSES) or "unknown",
            radius_difference_mm=row.number("radius_difference_mm"),
            radius_difference_u_mm=standard_if_any(row.number("radius_difference_u95_mm")),
            wavelength_nm=row.number("wavelength_nm"),
            source=SPHEROMETER,
        ),
    )
