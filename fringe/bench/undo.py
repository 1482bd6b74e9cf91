"""A visit that was just logged, and what it was logged from, while it can be taken back."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

from fringe.bench.settings import Settings
from fringe.bench.shots import Shot
from fringe.bench.taken import Taken

UNDO_S = 60.0
UNDONE = "taken back on the bench page right after it was logged"


@dataclass(frozen=True)
class Undoable:
    """A visit that was just logged.

    Attributes
    ----------
    visit_id : str
        Its identity on the bench.
    surface, number : str and int
        Where it is in the record.
    shots, taken, settings : tuple of Shot, Taken and Settings
        What lay on the bench.
    logged_s : float
        When, by the machine's clock [s since 1970]: it outlives the program.
    """

    visit_id: str
    surface: str
    number: int
    shots: tuple[Shot, ...]
    taken: Taken
    settings: Settings
    logged_s: float = field(default_factory=time.time)

    @property
    def seconds_left(self) -> float:
        """How long it can still be taken back [s]; 0 where it cannot."""
        gone = time.time() - self.logged_s
        return max(0.0, UNDO_S - gone) if gone >= 0 else 0.0  # a clock that was set back tells none

    def view(self) -> dict[str, object] | None:
        """What a device shows of it; None once it is too late."""
        if not self.seconds_left:
            return None
        return {
            "id": self.visit_id,
            "visit": self.number,
            "surface": self.surface,
            "seconds": self.seconds_left,
        }
