"""The next step as a value, and its wording."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fringe.format import figures

if TYPE_CHECKING:
    from fringe.judge.state.abrasives import Pits
    from fringe.judge.state.forecast import Forecast


@dataclass(frozen=True)
class NextStep:
    """What to do next.

    Attributes
    ----------
    action : {'grind', 'polish', 'wait', 'stop', 'remeasure'}
        What to do.
    reason : str
        Why, in one line.
    piece_on_top : {'work', 'tool'} or None
        Which piece to put on top; None where it does not matter or is not known.
    minutes : float or None
        How long, from the rates that the log tells; None where it tells none.
    stage : str or None
        The stage to do it in, where it is another than the last one.
    moves : str or None
        Which way that moves the surface: `the radius grows`, `the radius falls`.
    forecast : Forecast or None
        What the work of this step does.
    pits : Pits or None
        How far the pits of the grit before are gone.
    """

    action: str
    reason: str
    piece_on_top: str | None = None
    minutes: float | None = None
    stage: str | None = None
    moves: str | None = None
    forecast: Forecast | None = field(default=None, repr=False)
    pits: Pits | None = field(default=None, repr=False)

    def text(self) -> str:
        """Action, stage, duration and piece on top in a few words."""
        words = self.action
        if self.stage is not None and self.stage != self.action:
            words += f" with {self.stage}"
        if self.minutes is not None:
            words += f" about {round_minutes(self.minutes)} min"
        return words + (f", {self.piece_on_top} on top" if self.piece_on_top else "")

    def short(self) -> str:
        """Action, stage and duration alone, for a narrow column."""
        minutes = "" if self.minutes is None else f"{round_minutes(self.minutes)} min"
        stage = self.stage if self.stage != self.action else None
        return " ".join(filter(None, [self.action, stage, minutes]))

    def sentence(self) -> str:
        """What to do and why, as every view says it."""
        return f"{self.text()}: {self.reason}"

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names."""
        return {
            "action": self.action,
            "reason": self.reason,
            "piece_on_top": self.piece_on_top,
            "minutes": self.minutes,
            "stage": self.stage,
            "moves": self.moves,
            "forecast": self.forecast and self.forecast.to_json(),
            "pits": self.pits and dataclasses.asdict(self.pits),
        }


def round_minutes(minutes: float) -> int:
    """Round a time to what it is worth: minutes, fives, or tens."""
    step = 1 if minutes < 15 else 5 if minutes < 90 else 10
    return max(step, round(minutes / step) * step)


def minutes_text(low: float | None, high: float | None) -> str:
    """Ends of a forecast in minutes or hours, as `25 to 50 min`."""
    if low is None:
        return "never"
    if high is None:
        return f"{_time(low)} or never"
    if max(low, high) < 1:
        return "under a minute"
    if high < 120:
        return f"{round_minutes(low)} to {round_minutes(high)} min"
    return f"{figures(low / 60, 2)} to {figures(high / 60, 2)} h"


def _time(minutes: float) -> str:
    if minutes < 120:
        return f"{round_minutes(minutes)} min"
    return f"{figures(minutes / 60, 2)} h"
