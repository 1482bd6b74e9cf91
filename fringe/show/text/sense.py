"""Where the contact is, by two photographs, in rows of text."""

from __future__ import annotations

from collections.abc import Iterator

from fringe.format import capital, plus_minus
from fringe.orders.read_pair import SensePair
from fringe.show.words import headline_text, sense_text, warnings_of

_WAYS = {
    "pressed-centre": "pressed at the centre",
    "lower-eye": "seen from lower down",
    "lamp": "in {name} light",
}


def sense_rows(before: str, after: str, pair: SensePair) -> Iterator[str]:
    """The sense and why, then the first photograph's power; `before` and `after` are names."""
    reading, change = pair.reading, pair.change
    values = reading.to_json()
    yield f"{before}, then {after} {_WAYS[change.kind].format(name=change.after.name)}"
    yield f"  {sense_text(values)}"
    yield f"  {capital(pair.reason)}"
    yield f"  Power {headline_text(values)} at {reading.wavelength_nm:.1f} nm"
    if reading.radius_difference_mm is not None:
        shown = plus_minus(
            reading.radius_difference_mm,
            reading.radius_difference_u95_mm,
            "mm",
            signed=reading.sense != "unknown",
        )
        yield f"  Radius, work − plate {shown}"
    for warning in warnings_of(values):
        yield f"  ! {warning}"
