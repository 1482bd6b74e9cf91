"""The words of a verdict."""

from __future__ import annotations

from fringe.format import capital, figures, percent_text

# of a surface, and of a pair, by the state of the verdict
SURFACE = {
    "inside": "proven inside the tolerance",
    "outside": "proven outside the tolerance",
    "unproven": "neither proven inside nor outside the tolerance",
}
PAIR = {
    "inside": "the pair matches",
    "outside": "the pair does not match",
    "unproven": "neither proven to match nor proven not to",
}


def state_phrase(state: str, rule: str) -> str:
    """A state as it stands in a sentence; a guarding rule proves, simple acceptance does not."""
    if state == "unproven":
        return "neither proven inside nor outside"
    return state if rule == "simple" else f"proven {state}"


def limits_phrase(lower: float | None, upper: float | None, unit: str) -> str:
    """Limits as they stand in a sentence, with their unit."""
    tail = f" {unit}" if unit else ""
    if lower is None:
        return f"the limit {figures(upper or 0.0)}{tail}"
    if upper is None:
        return f"the limit {figures(lower)}{tail} from below"
    if lower == -upper:
        return f"±{figures(upper)}{tail}"
    return f"{figures(lower, signed=True)} to {figures(upper, signed=True)}{tail}"


def with_probability(words: str, probability: float | None) -> str:
    """Words of a verdict, and how probable conformity is where that is known."""
    if probability is None:
        return words
    return f"{words} ({percent_text(probability)} probable to conform)"


def probability_cell(probability: float | None) -> str:
    """A probability of conformity; empty where it hangs on what was not measured."""
    return "" if probability is None else percent_text(probability)


def probability_sentence(reason: str, probability: float | None) -> str:
    """A verdict's reason and its probability of conformity, in whole sentences."""
    if probability is None:
        return f"{capital(reason)}."
    chance = f"Probability of conformity: {percent_text(probability)}."
    return f"{capital(reason)}. {chance}" if reason else chance
