"""Readings in rows of text: one photograph, or several in a table."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from fringe.format import fixed, plus_minus
from fringe.orders.asked import AskedReading, SeveralReadings
from fringe.orders.reading import Reading
from fringe.show.text.lines import wrapped_line
from fringe.show.words import headline_text, quality_rows, reading_rows, sense_text, warnings_of

_LABEL = 23  # width of the labels in front of the values


def asked_rows(asked: AskedReading, picture: Path | None = None) -> Iterator[str]:
    """The power, where the contact is, and all else that the photograph tells."""
    reading = asked.reading
    values = reading.to_json()
    yield f"{asked.name}  {reading.wavelength_nm:.1f} nm"
    yield f"  {headline_text(values)}"
    if reading.power_fringes is not None:
        yield f"  {sense_text(values)}"
    for label, value in (*reading_rows(values), *quality_rows(values)):
        if value:
            yield wrapped_line(label, value, _LABEL)
    for warning in warnings_of(values):
        yield f"  ! {warning}"
    if picture is not None:
        yield f"  drawn in {picture}"


def several_view(several: SeveralReadings) -> Iterator[RenderableType]:
    """One row a photograph, and the warnings below."""
    read = several.read
    if not read:
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    rows = [_cells(photo, reading) for photo, reading in read]
    kept = [k for k in range(len(_COLUMNS)) if any(row[k] for row in rows)]
    for k in kept:
        left = _COLUMNS[k] in ("photograph", "contact")
        table.add_column(_COLUMNS[k], justify="left" if left else "right", overflow="fold")
    for row in rows:
        table.add_row(*(Text(row[k]) for k in kept))
    yield table


def several_rows(several: SeveralReadings) -> Iterator[str]:
    """What is said below the table: light, and the warnings of each photograph."""
    read = several.read
    if read:
        yield f"At {read[0][1].wavelength_nm:.1f} nm; powers in fringes, ± 95 %."
    for photo, reading in read:
        for warning in warnings_of(reading.to_json()):
            yield f"! {photo.name}: {warning}"


_COLUMNS = (
    "photograph",
    "power",
    "contact",
    "irregularity",
    "tilt",
    "work − plate, mm",
    "ring step, px²",
)


def _cells(photo: Path, reading: Reading) -> tuple[str, ...]:
    def decimals(value: float | None) -> str:
        return "" if value is None else fixed(value, 2)

    signed = reading.sense != "unknown"
    power = radius = step = ""
    if reading.power_fringes is not None:
        power = plus_minus(reading.power_fringes, reading.power_u95_fringes, signed=signed)
    elif reading.ring_step_px2 is not None:
        step = plus_minus(reading.ring_step_px2, reading.ring_step_u95_px2)
    if reading.radius_difference_mm is not None:
        radius = plus_minus(
            reading.radius_difference_mm, reading.radius_difference_u95_mm, signed=signed
        )
    return (
        photo.name,
        power,
        reading.sense if reading.power_fringes is not None else "",
        decimals(reading.irregularity_fringes),
        decimals(reading.tilt_fringes),
        radius,
        step,
    )
