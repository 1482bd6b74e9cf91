"""What one kind of work will do to a surface, as numbers."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

SHARE = 0.9  # of the forecasts' intervals
LONGEST_MINUTES = 6000.0  # beyond that a stage does not get there in any useful time


@dataclass(frozen=True, order=True)
class Kind:
    """A kind of work: stage and upper piece, as rates are learned by.

    Attributes
    ----------
    stage : str
        The stage's key.
    on_top : str
        `work`, `tool`, or empty where it was not logged.
    name : str
        How the log calls the stage; makes no difference between kinds.
    """

    stage: str
    on_top: str = ""
    name: str = field(default="", compare=False)


@dataclass(frozen=True)
class Interval:
    """A forecast value with the interval that holds it in 90 of 100 cases; None: never."""

    median: float | None
    low: float | None
    high: float | None

    def to_json(self) -> dict[str, float | None]:
        """Return the three numbers under their names."""
        return dataclasses.asdict(self)


@dataclass(frozen=True)
class Forecast:
    """What one kind of work will do.

    Attributes
    ----------
    kind : Kind
        The work.
    rate_um_h : Interval
        Rate of a spell to come: change of the height of power [um/h].
    half_width_um : float
        Height of power, of either sign, that it is to come within: the tolerance, or a grain
        of the grit [um].
    minutes : Interval
        Until the surface is there [min]; an end is None where that lies beyond all useful time.
    chance : float
        That this work gets there at all.
    advised_minutes : float or None
        The next spell: to the middle, but so short that it hardly passes through the width
        [min]; None where no time helps.
    after_um : Interval or None
        Height of power after that spell [um].
    inside_after : float or None
        Chance that it ends within the width.
    spells, learned_minutes, surfaces : int, float, int
        What the rate was learned from: own spells, their minutes, like surfaces.
    borrowed : bool
        Learned from the same work with the other piece on top.
    """

    kind: Kind
    rate_um_h: Interval
    half_width_um: float
    minutes: Interval
    chance: float
    advised_minutes: float | None
    after_um: Interval | None
    inside_after: float | None
    spells: int
    learned_minutes: float
    surfaces: int
    borrowed: bool

    def to_json(self) -> dict[str, object]:
        """Return the numbers under their names, the kind of work in two keys."""
        return {
            "stage": self.kind.stage,
            "on_top": self.kind.on_top or None,
            "rate_um_h": self.rate_um_h.to_json(),
            "half_width_um": self.half_width_um,
            "minutes": self.minutes.to_json(),
            "chance": self.chance,
            "advised_minutes": self.advised_minutes,
            "after_um": self.after_um and self.after_um.to_json(),
            "inside_after": self.inside_after,
            "learned_from": {
                "spells": self.spells,
                "minutes": self.learned_minutes,
                "like_surfaces": self.surfaces,
                "reversed": self.borrowed,
            },
        }
