"""All that the advice looks at: visits, tolerance, what is believed of the surface, its stages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fringe.format import plus_minus
from fringe.judge.advice.ladder import Ladder
from fringe.judge.advice.step import Pits
from fringe.judge.advice.wrong_way import OTHER_PIECE, wrong_way
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.belief import Belief
from fringe.judge.state.shop import HEIGHT, POWER_SHARE

if TYPE_CHECKING:
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.tolerance import Aperture
    from fringe.judge.tolerance.verdict import Tolerance

# chance of pits at which they count as gone, or as left; and share of depths and times that are
# told
_GONE, _DEEP = 0.05, 0.9
LEAST_PACE_UM = 1e-6  # um/min
_LIKELY = 0.25  # of the likeliest part's weight
_OPTICAL = ("fringes", "eye")
# where reading and all visits together differ by more than this share of the reading's
# uncertainty, the latter are told
_DIFFERS = 0.5


@dataclass(frozen=True)
class Situation:
    """A surface after its last visit.

    Attributes
    ----------
    rows : sequence of VisitRow
        Its visits in their order, at least one.
    tolerance : Tolerance
        What is allowed, in the fringes of the rows.
    belief : Belief
        What all visits say of it together.
    fringe_um : float
        Height that one fringe stands for [um].
    half_width_um : float or None
        Largest height of power that is allowed [um]; None: no limit to it.
    ladder : Ladder
        The stages that the shop has.
    aperture : Aperture or None
        The surface, for which way its radius moves.
    pits_told : bool
        Whether the shop tells of pits: by loupe, or by a gauge.
    brief : bool
        Only what is to be done is asked, not what comes of it.
    """

    rows: Sequence[VisitRow]
    tolerance: Tolerance
    belief: Belief
    fringe_um: float
    half_width_um: float | None
    ladder: Ladder
    aperture: Aperture | None = None
    pits_told: bool = False
    brief: bool = False

    @property
    def row(self) -> VisitRow:
        """The last visit."""
        return self.rows[-1]

    @cached_property
    def stage(self) -> Stage | None:
        """The stage that the surface is in; None where nothing tells it.

        What shows fringes is polished, unless the visit that read them was logged after a grit.
        """
        last = self.belief.last_stage
        if last is not None and (last.polish or (last.size_um is not None and self._ground())):
            return last
        if self._fringes_seen():
            return last if last is not None and last.name else self.ladder.polish
        return last if last is not None and last.name else None

    @property
    def polished(self) -> bool:
        """Whether the surface is polished, as far as log and readings tell."""
        one = self.stage
        return (
            one is not None
            and (one.polish or one.size_um is None)
            and (one.polish or self._fringes_seen())
        )

    @cached_property
    def likely(self) -> Belief:
        """What is believed, without slips and turns that are hardly likely."""
        one = self.belief
        keep = one.weights >= _LIKELY * one.weights.max()
        means = one.means[:, HEIGHT]
        apart = keep & (np.abs(means) > np.sqrt(one.covariances[:, HEIGHT, HEIGHT]))
        above, below = (one.weights[apart & side].sum() for side in (means > 0, means < 0))
        if above > 0 and below > 0:  # on one side or the other: what lies between is not likely
            keep &= (means > 0) == (above > below)
        weights = one.weights[keep] / one.weights[keep].sum()
        return replace(
            one, weights=weights, means=one.means[keep], covariances=one.covariances[keep]
        )

    def pace(self, stage: Stage, on_top: str) -> float:
        """The likeliest size of what a minute of a stage does [um/min], never 0."""
        return max(abs(self.likely.pace(stage, on_top)), LEAST_PACE_UM)

    @cached_property
    def median_um(self) -> float:
        """Height of power, as likely exceeded as not [um]."""
        return self.likely.height.median

    def toward(self, stage: Stage) -> str:
        """Which piece on top leads toward the middle in a stage.

        Power > 0: the gap opens toward the edge. A convex work is curved too strongly then, a
        concave one too weakly; either has to turn more concave, as the upper piece does, unless
        the surface's own spells say otherwise.
        """
        usual = "work" if self.median_um > 0 else "tool"
        return OTHER_PIECE[usual] if wrong_way(self.rows, stage, usual) else usual

    @property
    def chance_inside(self) -> float:
        """Probability that power lies within its limits, warmth counted."""
        return 1.0 if self.half_width_um is None else self.belief.chance_inside(self.half_width_um)

    @property
    def readings_since_work(self) -> int:
        """Visits that read power since the last work."""
        count = 0
        for row in reversed(self.rows):
            count += row.power_fringes is not None
            if row.stage or row.minutes:
                break
        return count

    @cached_property
    def pits(self) -> Pits | None:
        """How far the pits of the grits before are gone; None where there were none."""
        found, stage = self.belief.pits, self.stage
        if found is None or stage is None or found.left_by is None:
            return None
        chance = found.chance_left
        gone = None if _GONE < chance < 1 - _GONE else chance <= _GONE
        return Pits(
            found.left_by,
            chance,
            max(0.0, found.deepest_um.quantile(_DEEP)),
            None if gone else found.minutes_needed(stage, _DEEP),
            gone,
        )

    @property
    def unseen(self) -> bool:
        """Whether it is polished, but read by a spherometer that cannot tell where it stands."""
        height = self.likely.height
        alone = self.polished and self.row.method == "spherometer"
        return alone and abs(height.median) <= 2 * height.u

    @property
    def pits_seen(self) -> bool:
        """Whether a loupe saw pits since the last work, by its last look."""
        return self._look == "left"

    @property
    def pits_untold(self) -> bool:
        """Whether neither loupe nor gauge told of pits since the last work."""
        last = next((row for row in reversed(self.rows) if row.stage or row.minutes), None)
        return self._look is None and (last is None or last.removed_um is None)

    @property
    def _look(self) -> str | None:
        for row in reversed(self.rows):
            if row.pits is not None:
                return row.pits
            if row.stage or row.minutes:
                break
        return None

    @property
    def chance_of_pits(self) -> float:
        """Probability that pits of a grit before are left."""
        return 0.0 if self.belief.pits is None else self.belief.pits.chance_left

    def removal_um_min(self, stage: Stage) -> float:
        """Glass that a minute of a stage takes off, at the likeliest rate [um/min]."""
        pits = self.belief.pits
        if pits is None:
            return self.pace(stage, "work") / POWER_SHARE
        return pits.removal_um_min(stage)

    def power_text(self) -> str:
        """Power as the last visit read it, or as all visits tell it where that differs."""
        row, height = self.row, self.likely.height
        if row.power_fringes is None:
            return "no power was read"
        low, high = (end / self.fringe_um for end in height.interval(0.95))
        mean, u95 = (low + high) / 2, (high - low) / 2
        read_u95 = row.power_u95_fringes
        signed = row.sense != "unknown"
        off = abs(mean - row.power_fringes) if signed else 0.0
        if read_u95 is None or (off <= _DIFFERS * read_u95 and u95 > (1 - _DIFFERS) * read_u95):
            text = plus_minus(row.power_fringes, read_u95, "fringes", signed=signed)
            return f"power is {text}{_since(self.rows)}"
        return f"by all visits power is {plus_minus(mean, u95, 'fringes', signed=True)}"

    def moves(self, on_top: str) -> str:
        """Which way the surface moves with one piece on top."""
        if self.aperture is None:
            return "power falls" if on_top == "work" else "power grows"
        return radius_moves(self.aperture.work, on_top)

    def _ground(self) -> bool:
        """Whether the last grit is the last that is known of the surface."""
        for row in reversed(self.rows):
            if row.stage or row.minutes:
                return True
            if row.method is not None and _optical(row.method):
                return False
        return True

    def _fringes_seen(self) -> bool:
        """Whether fringes were read since the last work, or with it."""
        for row in reversed(self.rows):
            if row.method is not None and _optical(row.method):
                return True
            if row.stage or row.minutes:
                return False
        return False


def radius_moves(form: str, on_top: str) -> str:
    """Which way a surface's radius goes with one piece on top (common practice, no source)."""
    grows = (form == "convex") == (on_top == "work")
    return "the radius grows" if grows else "the radius falls"


def _since(rows: Sequence[VisitRow]) -> str:
    """What became of the reading before: gone past the middle, or moved without work."""
    signed = [r for r in rows if r.power_fringes is not None and r.sense != "unknown"]
    if len(signed) < 2 or signed[-1] is not rows[-1]:
        return ""
    before, after = signed[-2:]
    p, q = before.power_fringes or 0.0, after.power_fringes or 0.0
    was = plus_minus(p, before.power_u95_fringes, signed=True)
    if before.verdict == after.verdict == "outside" and p * q < 0:
        return f", gone past the middle from {was}"
    u95 = math.hypot(before.power_u95_fringes or 0.0, after.power_u95_fringes or 0.0)
    worked = any(r.stage or r.minutes for r in rows[rows.index(before) + 1 :])
    return f", {was} before it rested" if not worked and abs(q - p) > u95 else ""


def _optical(method: str) -> bool:
    return any(one in method for one in _OPTICAL)
