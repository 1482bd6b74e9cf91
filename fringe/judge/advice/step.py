"""The next step as a value, and its wording."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fringe.format import figures

if TYPE_CHECKING:
    from fringe.judge.state.belief import Doubt
    from fringe.judge.state.forecast import Forecast


@dataclass(frozen=True)
class Pits:
    """How far a stage has removed the pits of the grits before.

    Attributes
    ----------
    left_by : str
        The grit that they are from.
    chance_left : float
        Probability that some are left.
    depth_um : float
        They are not deeper than that, in 9 of 10 cases [um].
    minutes_left : float or None
        Time after which they are gone, in 9 of 10 cases [min]; None where they are gone.
    gone : bool or None
        Whether they are gone; None where that is open.
    """

    left_by: str
    chance_left: float
    depth_um: float
    minutes_left: float | None = None
    gone: bool | None = None


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
        Which piece to put on top; of a spell that is split, the one that it begins with. None
        where there is no work to do.
    minutes : float or None
        How long to work in all, or to wait from the last visit on [min].
    stage : str or None
        The stage to work in.
    moves : str or None
        Which way that moves the surface: `the radius grows`, `the radius falls`.
    forecast : Forecast or None
        What the work of this step does.
    pits : Pits or None
        How far the pits of the grit before are gone.
    alternate : tuple of (str, float)
        Where one spell is split: each piece on top in turn, and its minutes.
    rest_minutes : float or None
        How long the work is to rest after the spell, before it is read [min].
    back_at : datetime or None
        When the waiting is over.
    trial : bool
        Whether the spell is to show how fast this work goes, which nothing logged tells.
    question : str or None
        A slip that the person is asked about, with what each answer would mean.
    doubt : Doubt or None
        That slip.
    """

    action: str
    reason: str
    piece_on_top: str | None = None
    minutes: float | None = None
    stage: str | None = None
    moves: str | None = None
    forecast: Forecast | None = field(default=None, repr=False)
    pits: Pits | None = field(default=None, repr=False)
    alternate: tuple[tuple[str, float], ...] = ()
    rest_minutes: float | None = None
    back_at: datetime | None = None
    trial: bool = False
    question: str | None = None
    doubt: Doubt | None = field(default=None, repr=False)

    def text(self) -> str:
        """Action, stage, duration and piece on top in a few words."""
        words = " ".join(filter(None, [self.action, self._with_stage()]))
        if self.alternate:
            turns = [f"{round_minutes(minutes)} min {piece}" for piece, minutes in self.alternate]
            return f"{words} {', then '.join(turns)} on top"
        if self.minutes is not None:
            words += f" about {round_minutes(self.minutes)} min"
        if self.piece_on_top:
            words += f", {self.piece_on_top} on top"
        return words if self.back_at is None else f"{words}, until {self._back_text()}"

    def whole(self) -> str:
        """The same with the rest that the work needs before it is read."""
        if not self.rest_minutes:
            return self.text()
        rest = round_minutes(self.rest_minutes)
        return f"{self.text()}, then let it rest {rest} min before reading it"

    def short(self) -> str:
        """Action, stage and duration alone, for a narrow column."""
        minutes = "" if self.minutes is None else f"{round_minutes(self.minutes)} min"
        stage = self._with_stage().removeprefix("with ")
        return " ".join(filter(None, [self.action, stage, minutes]))

    def why(self) -> str:
        """The reason, and the question where there is one."""
        return self.reason if self.question is None else f"{self.reason}. {self.question}"

    def sentence(self) -> str:
        """What to do and why, as every view says it."""
        return f"{self.whole()}: {self.why()}"

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names."""
        return {
            "action": self.action,
            "reason": self.reason,
            "piece_on_top": self.piece_on_top,
            "minutes": self.minutes,
            "stage": self.stage,
            "alternate": [
                {"piece_on_top": piece, "minutes": minutes} for piece, minutes in self.alternate
            ],
            "rest_minutes": self.rest_minutes,
            "back_at": self.back_at and self.back_at.isoformat(),
            "trial": self.trial,
            "question": self.question,
            "doubt": self.doubt and dataclasses.asdict(self.doubt),
            "moves": self.moves,
            "forecast": self.forecast and self.forecast.to_json(),
            "pits": self.pits and dataclasses.asdict(self.pits),
        }

    def _with_stage(self) -> str:
        """The grit; nothing where the action tells it already."""
        return f"with {self.stage}" if self.stage and self.action == "grind" else ""

    def _back_text(self) -> str:
        assert self.back_at is not None
        before = self.back_at - timedelta(minutes=self.minutes or 0.0)
        same_day = before.date() == self.back_at.date()
        return f"{self.back_at:%H:%M}" if same_day else f"{self.back_at:%Y-%m-%d %H:%M}"


def worked(action: str, reason: str, turns: tuple[tuple[str, float], ...]) -> NextStep:
    """A spell of work: its turns, each piece on top and its minutes, rounded as they are told.

    Parameters
    ----------
    action : {'grind', 'polish'}
        What to do.
    reason : str
        Why.
    turns : tuple of (str, float)
        One, or one for each piece.
    """
    told = tuple((piece, float(round_minutes(minutes))) for piece, minutes in turns)
    total = float(sum(minutes for _, minutes in told))
    return NextStep(action, reason, told[0][0], total, alternate=told if len(told) > 1 else ())


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
