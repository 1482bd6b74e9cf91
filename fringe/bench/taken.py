"""Readings that lie on the bench without a photograph: by eye, and on the spherometer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from fringe.archive.views.visit_request import Lists, VisitRequest
from fringe.errors import BadInput
from fringe.length_lists import typed_lengths

PIECES = ("plate", "work", "zero")
MOST_READINGS = 50  # on one piece


@dataclass(frozen=True)
class Taken:
    """What was read without a photograph, each reading as it was typed.

    Attributes
    ----------
    by_eye : str or None
        Fringes seen without a camera, as `rings 3.5 centre`.
    spherometer : str or None
        The one on record that was used; without it, point feet.
    plate, work, zero : tuple of str
        Its readings on plate, work and flat, with their unit.
    """

    by_eye: str | None = None
    spherometer: str | None = None
    plate: tuple[str, ...] = ()
    work: tuple[str, ...] = ()
    zero: tuple[str, ...] = ()

    @property
    def any(self) -> bool:
        """Whether anything was read."""
        return bool(self.by_eye or self.plate or self.work or self.zero)

    def with_reading(self, piece: str, text: str) -> Taken:
        """Add a reading of the spherometer; `BadInput` for what is none."""
        there = self._of(piece)
        if len(there) >= MOST_READINGS:
            raise BadInput(f"{MOST_READINGS} readings on one piece are enough; log the visit")
        made = typed_lengths(text, "the reading", "um", signed=True)
        return self._with(piece, (*there, *(one.text for one in made)))

    def without_last(self, piece: str) -> Taken:
        """Take the last reading on a piece back."""
        return self._with(piece, self._of(piece)[:-1])

    def onto(self, request: VisitRequest) -> VisitRequest:
        """Say it with a visit."""

        def typed(piece: str) -> Lists:
            return tuple(typed_lengths(text, piece, "um", signed=True) for text in self._of(piece))

        return replace(
            request,
            by_eye=self.by_eye,
            spherometer=self.spherometer if self.plate or self.work or self.zero else None,
            sag_plate=typed("plate"),
            sag_work=typed("work"),
            zero=typed("zero"),
        )

    def to_json(self) -> dict[str, Any]:
        """Return the form that is kept, and that a device is shown."""
        return {name: list(v) if isinstance(v, tuple) else v for name, v in asdict(self).items()}

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> Taken:
        """Read the kept form."""
        lists = {piece: tuple(map(str, values.get(piece, ()))) for piece in PIECES}
        return cls(values.get("by_eye"), values.get("spherometer"), **lists)

    def _with(self, piece: str, readings: tuple[str, ...]) -> Taken:
        changed: dict[str, Any] = {piece: readings}
        return replace(self, **changed)

    def _of(self, piece: str) -> tuple[str, ...]:
        if piece not in PIECES:
            raise BadInput(f"{piece!r} is not plate, work or zero")
        there: tuple[str, ...] = getattr(self, piece)
        return there
