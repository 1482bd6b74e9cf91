"""The next step for a pair, and the fringes that the two would show in contact."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fringe.format import MINUS, figures, plus_minus
from fringe.judge.advice.step import NextStep
from fringe.judge.pair.contacts import Piece
from fringe.judge.pair.match import UM_PER_MM, Pair
from fringe.judge.tolerance.verdict import Verdict
from fringe.judge.tolerance.verdict_words import PAIR, with_probability
from fringe.judge.uncertainty.evidence import Evidence
from fringe.optics.spheres import radius_difference_mm, sagitta_mm
from fringe.quantity import half_width

# what to do about a contradiction, after its words, by its kind
_MEND = {
    "evidence": "; measure again",
    "sense": " If it is not, correct the visit; else measure again",
    "photograph": "; correct the visit that is wrong",
}
_WORK = ("grind", "polish")
# of the piece's own step, what the pair's tells under the same name
_OF_THE_PIECE = ("stage", "minutes", "alternate", "rest_minutes", "back_at", "trial", "forecast")
_NOTHING: dict[str, Any] = dict.fromkeys(_OF_THE_PIECE) | {"alternate": [], "trial": False}


@dataclass(frozen=True)
class PairStep:
    """What to do with the pair next.

    Attributes
    ----------
    action : {'stop', 'remeasure', 'wait', 'work'}
        `work`: on `piece`.
    text : str
        In words, with the numbers.
    piece : str or None
        Which of the two to work on.
    power_fringes, radius_mm, sagitta_um : float or None
        Change that it needs: of the power between the two [fringe], of its radius [mm], and
        of its sagitta over the common aperture [um].
    on_top : {'work', 'tool'} or None
        Which goes on top, that piece or its tool.
    how : NextStep or None
        What is to be done to that piece, by its own log: stage, minutes, turns.
    """

    action: str
    text: str
    piece: str | None = None
    power_fringes: float | None = None
    radius_mm: float | None = None
    sagitta_um: float | None = None
    on_top: str | None = None
    how: NextStep | None = None

    def sentence(self) -> str:
        """What to do and why, as every view says it."""
        if self.action == "work":
            return self.text
        doing = self.action if self.how is None else self.how.text()
        return f"{doing}: {self.text}"

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names, and those of the piece's step."""
        values = {
            field.name: getattr(self, field.name)
            for field in dataclasses.fields(self)
            if field.name != "how"
        }
        how = _NOTHING if self.how is None else self.how.to_json()
        return values | {name: how[name] for name in _OF_THE_PIECE}


def answer_text(pair: Pair) -> str:
    """Whether the two match, and how probable that is; what they show where nothing is judged."""
    verdict = pair.verdict
    if verdict is None:
        return f"laid together: {together_text(pair)}"
    if pair.conflicts and verdict.state == "unproven":
        return "the evidence contradicts itself: nothing is proven"
    return with_probability(PAIR[verdict.state], verdict.probability)


def next_step(pair: Pair, pieces: Callable[[], Mapping[str, NextStep]] = dict) -> PairStep:
    """Say what to do with a pair: stop, measure again, or which piece to work on, and how far.

    Parameters
    ----------
    pair : Pair
        As estimated, with a verdict.
    pieces : callable
        Gives the next step of each piece by its name, were it the one to be worked: stage,
        minutes and piece on top. Called only where the evidence lets one work or stop.

    Returns
    -------
    PairStep
        `stop` only where the match is proven, neither piece is still warm from its lap and none
        has pits left, and no work on evidence that contradicts itself. The piece that is farther
        from its nominal radius is worked; where neither is, the concave, which is made to the
        convex (common practice, no source).
    """
    verdict = pair.verdict
    if verdict is None:
        return PairStep("remeasure", "say how well they must match: a tolerance, or a system")
    if verdict.state == "inside":
        return _left_to_do(pair, pieces()) or PairStep("stop", "the pair is proven to match")
    if pair.conflicts:
        why = pair.conflicts[0].text
        if verdict.state == "outside":
            why = f"which of the two to work on, and how far, hangs on what is wrong: {why}"
        return PairStep("remeasure", f"{why}{_MEND[pair.conflicts[0].kind]}")
    if verdict.state == "unproven":
        how = pieces().get(_which(pair)[0].name) if _laid(pair) else None
        if how is not None and how.action in _WORK:
            # read often enough without work between: another reading would tell no more
            return _work_on(pair, how)
        if how is not None and how.action == "wait":
            return PairStep("wait", how.why(), how=how)
        return PairStep("remeasure", _what_settles(pair, verdict))
    if all(part.state != "outside" for part in verdict.parts if part.quantity != "irregularity"):
        return PairStep("work", "the radii match, the irregularity is too large: polish the worse")
    how = pieces().get(_which(pair)[0].name)
    if how is not None and how.action in ("remeasure", "wait"):
        return PairStep(how.action, f"{_which(pair)[0].name}: {how.why()}", how=how)
    return _work_on(pair, how)


def _left_to_do(pair: Pair, pieces: Mapping[str, NextStep]) -> PairStep | None:
    """What keeps a pair that matches from being finished: warmth, or pits; None: nothing."""
    for name, how in pieces.items():
        if how.action == "wait" or (how.action == "remeasure" and how.question is None):
            return PairStep(how.action, f"{name}: {how.why()}", name, how=how)
    for name, how in pieces.items():
        if how.action in _WORK and how.pits is not None and not how.pits.gone:
            text = f"work on {name}: {how.sentence()}"
            return PairStep("work", text, name, on_top=how.piece_on_top, how=how)
    return None


def _what_settles(pair: Pair, verdict: Verdict) -> str:
    missing = [part.quantity for part in verdict.parts if part.value is None]
    if missing:
        return f"{' and '.join(missing)} not measured: lay the two on each other and read"
    if _laid(pair):
        return "neither matched nor mismatched is proven: read the contact of the two again"
    return (
        "neither matched nor mismatched is proven: lay the two on each other, which leaves out "
        "the plates"
    )


def _laid(pair: Pair) -> bool:
    """Whether a contact of the two with each other is among the evidence."""
    return any(
        one.evidence.kind == "contact"
        and {pair.convex.name, pair.concave.name} <= set(_named(one.evidence, pair))
        for one in pair.estimate.judged
    )


def _named(one: Evidence, pair: Pair) -> list[str]:
    return [name for name in (pair.convex.name, pair.concave.name) if name in one.name]


def _work_on(pair: Pair, how: NextStep | None) -> PairStep:
    piece, why = _which(pair)
    # worked, it takes the other's radius
    change = -pair.mismatch_mm if piece is pair.concave else pair.mismatch_mm
    radius, _ = pair.radius(piece)
    semi = pair.diameter_mm / 2
    sagitta = UM_PER_MM * (sagitta_mm(radius + change, semi) - sagitta_mm(radius, semi))
    on_top = "work" if pair.power_fringes > 0 else "tool"
    if how is not None and how.piece_on_top is not None:
        on_top = how.piece_on_top
        doing = how.text()
    else:
        doing = f"{'it' if on_top == 'work' else 'its tool'} goes on top"
    deeper = "deeper" if sagitta > 0 else "shallower"
    power = plus_minus(abs(pair.power_fringes), half_width(pair.u_power_fringes), "fringes")
    text = (
        f"work on {piece.name}, {why}: take out {power}, its radius "
        f"{plus_minus(change, half_width(pair.u_mismatch_mm), 'mm', signed=True)}, "
        f"{figures(abs(sagitta), 3)} µm {deeper}; {doing}"
    )
    return PairStep("work", text, piece.name, -pair.power_fringes, change, sagitta, on_top, how)


def _which(pair: Pair) -> tuple[Piece, str]:
    """The piece to work on, and why it."""
    off = {}
    for piece in (pair.convex, pair.concave):
        radius, u = pair.radius(piece)
        off[piece.name] = abs(radius - piece.radius_mm), u
    (convex, u_convex), (concave, u_concave) = off[pair.convex.name], off[pair.concave.name]
    tied = pair.u_mismatch_mm or math.hypot(u_convex, u_concave)
    if abs(convex - concave) > 2 * tied:
        piece = pair.convex if convex > concave else pair.concave
        return piece, "which is farther from its nominal radius"
    return pair.concave, "which is made to the convex"


def together_text(pair: Pair) -> str:
    """What the two would show laid together, in one line."""
    power = plus_minus(pair.power_fringes, half_width(pair.u_power_fringes), "fringes", signed=True)
    if abs(pair.power_fringes) <= half_width(pair.u_power_fringes):
        return f"{power}: alike as far as the evidence goes"
    rings = figures(abs(pair.power_fringes), 3)
    touch = "centre" if pair.power_fringes > 0 else "edge"
    return f"{power}: {rings} rings, contact at the {touch}"


def mismatch_text(pair: Pair) -> str:
    """R_concave less R_convex, with its interval."""
    shown = plus_minus(pair.mismatch_mm, half_width(pair.u_mismatch_mm), "mm", signed=True)
    return f"R concave {MINUS} R convex = {shown}"


def tolerance_step_mm(fringes: float, pair: Pair) -> float:
    """Mismatch that this power between the two stands for [mm]."""
    radius, _ = pair.radius(pair.convex)
    return radius_difference_mm(fringes, radius, pair.diameter_mm, pair.wavelength_nm, "concave")
