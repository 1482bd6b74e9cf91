"""The words of a verdict."""

from __future__ import annotations

from fringe.format import figures


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
