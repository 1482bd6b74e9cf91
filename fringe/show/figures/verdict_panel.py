"""The column of numbers beside a picture."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fringe.show.figures.style import (
    AMBER,
    BODY_PT,
    INK,
    MUTED,
    SMALL_PT,
    Sheet,
    printable,
    text_width_in,
    wavelength_text,
)
from fringe.show.words import headline, quality_rows, reading_rows, sense_text, warnings_of

_LARGEST_PT = 17.0


def verdict_panel(
    sheet: Sheet, left: float, top: float, width: float, reading: Mapping[str, Any]
) -> float:
    """Write a reading's numbers and warnings in a column.

    Parameters
    ----------
    sheet : Sheet
    left, top, width : float
        Place of the column [inch].
    reading : mapping
        Keys of `fringe read --json`.

    Returns
    -------
    float
        Where the column ends [inch].
    """
    top = _headline(sheet, left, top, width, reading)
    if reading.get("power_fringes") is not None:
        top = sheet.paragraph(left, top + 0.03, width, sense_text(reading), BODY_PT)
    top += 0.09
    for label, value in reading_rows(reading):
        top = _row(sheet, left, top, width, label, value)
    code = reading.get("iso10110")
    if code:
        top = _row(sheet, left, top, width, "ISO 10110-5", str(code))
    for label, value in quality_rows(reading):
        top = _row(sheet, left, top, width, label, value)
    for warning in warnings_of(reading):
        top = _warning(sheet, left, top + 0.1, width, warning)
    return top


def _headline(
    sheet: Sheet, left: float, top: float, width: float, reading: Mapping[str, Any]
) -> float:
    head = headline(reading)
    label = f"{head.label}, ± at 95 %" if "±" in head.value else head.label
    top = sheet.text(left, top, label, SMALL_PT, colour=MUTED)
    natural = text_width_in(printable(head.value), _LARGEST_PT, bold=True)
    size = min(_LARGEST_PT, 0.99 * _LARGEST_PT * width / natural)
    top = sheet.text(left, top, head.value, size, bold=True)
    wavelength = reading.get("wavelength_nm")
    if head.unit:
        unit = head.unit
        if wavelength is not None:
            unit += f" at {wavelength_text(wavelength)}"
        top = sheet.paragraph(left, top, width, unit, BODY_PT)
    return top


def _row(sheet: Sheet, left: float, top: float, width: float, label: str, value: str) -> float:
    sheet.rule(left, top, width)
    top += 0.025
    shown = printable(value)
    indent = 0.1 if label.startswith("  ") else 0.0
    room = width - text_width_in(printable(label), BODY_PT) - indent - 0.12
    if text_width_in(shown, BODY_PT) <= room:
        sheet.text(left + width, top, shown, BODY_PT, align="right")
        return sheet.text(left + indent, top, label, BODY_PT, colour=MUTED) + 0.02
    top = sheet.text(left + indent, top, label, BODY_PT, colour=MUTED)
    return sheet.paragraph(left + 0.1, top, width - 0.1, shown, BODY_PT) + 0.02


def _warning(sheet: Sheet, left: float, top: float, width: float, warning: str) -> float:
    start = top
    top = sheet.text(left + 0.12, top, "Warning", SMALL_PT, bold=True, colour=INK)
    top = sheet.paragraph(left + 0.12, top, width - 0.12, warning, SMALL_PT)
    sheet.rule(left + 0.02, start, 0.0, down=top - start, colour=AMBER, weight_pt=3.0)
    return top
