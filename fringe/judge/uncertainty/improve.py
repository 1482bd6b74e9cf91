"""What would settle an unproven verdict: which input to better, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fringe.format import figures
from fringe.judge.tolerance.verdict import Verdict, guard_band, rejection_band
from fringe.judge.uncertainty.budget import Budget, Row

# what a person can do about an input; the longest name that an input's name begins or ends with
ADVICE = {
    "fit": "take more photographs, with more contrast or a little more tilt",
    "edge": "show the whole edge, evenly lit, or give it with --edge",
    "light": "light the work evenly, and tilt it a little more",
    "dirt": "clean both surfaces",
    "gap": "clean both surfaces, or take the camera further away",
    "eye": "photograph the fringes, or have others look as well",
    "eye angle": "look straight down, from afar",
    "view angle": "give the camera's distance",
    "repeatability": "read more often",
    "diameter": "measure the diameter, and tell the chamfer",
    "wavelength": "use a lamp with one narrow line",
    "plate radius": "have the plate certified better",
    "plate form": "have the plate's form tested",
    "temperature": "wait until the glass has settled",
    "temperature, pieces": "let work and plate come to one temperature",
    "gauge drift": "have the gauge calibrated",
    "zero": "set the zero on the flat again, and more often",
    "plate reading": "use a finer gauge on the plate",
    "work reading": "use a finer gauge on the work",
    "ring size": "measure the spherometer's ring",
    "inner edge": "measure the ring's inner edge",
    "outer edge": "measure the ring's outer edge",
    "ball size": "measure the balls",
}


@dataclass(frozen=True)
class Suggestion:
    """One input to better.

    Attributes
    ----------
    input : str
        Its name in the budget.
    factor : float or None
        By how much its standard uncertainty must shrink for the verdict to be settled; None:
        even without it the verdict stays unproven.
    advice : str
        What to do about it.
    share : float
        Its part of the variance.
    """

    input: str
    factor: float | None
    advice: str
    share: float


@dataclass(frozen=True)
class Settling:
    """What would settle a verdict.

    Attributes
    ----------
    text : str
        One line for the person.
    u_needed : float or None
        Standard uncertainty that would settle it with the value as it is; None: no
        uncertainty would, or there is nothing to settle.
    suggestions : tuple of Suggestion
        Most useful first.
    """

    text: str
    u_needed: float | None = None
    suggestions: tuple[Suggestion, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return text, needed uncertainty and the suggestions."""
        return {
            "text": self.text,
            "u_needed": self.u_needed,
            "suggestions": [
                {"input": one.input, "factor": one.factor, "advice": one.advice, "share": one.share}
                for one in self.suggestions
            ],
        }


def what_settles(budget: Budget, verdict: Verdict) -> Settling:
    """Say which input to better, so that an unproven verdict becomes proven.

    The measured value is taken to stay as it is.

    Parameters
    ----------
    budget : Budget
        Of the quantity that was judged, in any unit of it.
    verdict : Verdict
        On that quantity, or on a surface (the part that `budget` belongs to is taken).

    Returns
    -------
    Settling
    """
    part = next((one for one in verdict.parts if one.quantity == budget.name), verdict)
    if part.state != "unproven":
        return Settling(f"nothing to settle: {part.state} is proven")
    if part.value is None or part.u is None or part.u == 0:
        return Settling(f"{part.quantity or budget.name} must be measured first")
    if "unknown sense" in part.reason:
        return Settling("find the sense: press at the edge and watch the rings, or use two lamps")
    margin = _margin(part)
    if margin <= 0:
        return Settling("the value lies on its limit: no better measurement settles that")
    # in units of the present uncertainty, so that the budget may be in another unit
    band = rejection_band if _beyond(part) else guard_band
    needed = margin / band(part.u, part.rule, part.dof)
    suggestions = _suggestions(budget.rows, needed)
    return Settling(_text(suggestions, needed), needed * part.u, suggestions)


def _beyond(part: Verdict) -> bool:
    """Whether the value lies outside its limits."""
    value, lower, upper = part.value or 0.0, part.lower, part.upper
    return (lower is not None and value < lower) or (upper is not None and value > upper)


def _margin(part: Verdict) -> float:
    """Distance of the value from its nearest limit."""
    assert part.value is not None
    limits = [limit for limit in (part.lower, part.upper) if limit is not None]
    return min(abs(part.value - limit) for limit in limits)


def _suggestions(rows: Sequence[Row], needed: float) -> tuple[Suggestion, ...]:
    found = []
    for row in rows:
        if row.share <= 0.005:
            continue
        left = needed**2 - (1.0 - row.share)
        factor = math.sqrt(row.share / left) if left > 0 else None
        found.append(Suggestion(row.input.name, factor, _advice(row.input.name), row.share))
    found.sort(key=lambda one: (one.factor is None, one.factor or 0.0, -one.share))
    return tuple(found)


def _text(suggestions: Sequence[Suggestion], needed: float) -> str:
    if not suggestions:
        return f"the uncertainty must become {figures(1 / needed, 2)} times smaller"
    first = suggestions[0]
    if first.factor is not None:
        if first.input.startswith("repeatability"):
            return f"{first.advice}: {math.ceil(first.factor**2)} times as many readings settle it"
        return f"{first.advice}: {first.input} {figures(first.factor, 2)} times better settles it"
    largest = sorted(suggestions, key=lambda one: -one.share)
    gone, names = 0.0, []
    for one in largest:
        gone += one.share
        names.append(one.input)
        if 1.0 - gone < needed**2:
            break
    return f"no single input settles it; better {' and '.join(names)} together"


def _advice(name: str) -> str:
    own = name.split(", ")[-1] if name.split(", ")[-1] in ADVICE else name
    for key in sorted(ADVICE, key=len, reverse=True):
        if own == key or own.startswith(key):
            return ADVICE[key]
    return f"know {name} better"
