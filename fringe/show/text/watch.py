"""A photograph's answer in large letters, to be read from across the room."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich.console import Console
from rich.text import Text

from fringe.archive.views.watching import Answered
from fringe.show.large import large_lines
from fringe.show.words import headline, quality_rows, reading_rows, sense_text, warnings_of

_STYLES = {"inside": "bold green", "unproven": "bold yellow", "outside": "bold red"}


def answered_texts(one: Answered, screen: Console) -> Iterator[Text]:
    """Rows of an answer; large letters where the screen is a terminal, none in a file or pipe."""
    yield Text(f"{datetime.now():%H:%M:%S}  {one.photo.name}", style="bold")
    reading = one.reading
    if reading is None:
        yield Text(f"  {' '.join((one.error or '').split())}\n", style="yellow")
        return
    values = reading.to_json()
    head = headline(values)
    yield from _large(screen, head.value)
    result = f"{head.label}: {head.value} {head.unit}".rstrip()
    yield Text(f"  {result} at {reading.wavelength_nm:.1f} nm")
    if reading.power_fringes is not None:
        yield Text(f"  {sense_text(values)}")
    if one.verdict is not None:
        yield from _large(screen, one.verdict.state, _STYLES[one.verdict.state], rows=6)
        yield Text(f"  {one.verdict.reason}")
    for label, value in (*reading_rows(values), *quality_rows(values)):
        yield Text(f"  {label:<22} {value}")
    for warning in warnings_of(values):
        yield Text(f"  ! {warning}")
    yield Text("")


def _large(screen: Console, text: str, style: str = "bold", rows: int = 9) -> Iterator[Text]:
    if screen.is_terminal:
        yield Text("\n".join(large_lines(text, screen.width - 2, rows=rows)), style=style)
