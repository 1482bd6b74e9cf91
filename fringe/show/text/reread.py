"""What today's code finds otherwise, in rows of text."""

from __future__ import annotations

from fringe.archive.views.reread import Change, Reread
from fringe.format import plus_minus
from fringe.show.text.lines import how_many

_UNITS = {
    "radius_difference_mm": "mm",
    "ring_step_px2": "px²",
    "power_fringes": "fringes",
    "irregularity_fringes": "fringes",
}
_NAMES = {
    "radius_difference_mm": "radius difference",
    "ring_step_px2": "ring step",
    "power_fringes": "power",
    "irregularity_fringes": "irregularity",
}


def reread_rows(name: str, result: Reread) -> list[str]:
    """How much was computed again, then each change."""
    readings, sessions = how_many(result.computed, "reading"), how_many(result.sessions, "session")
    rows = [f"{name}: {readings} of {sessions} computed again by {result.software}"]
    if result.changes:
        rows.append("Changed by more than its uncertainty:")
        rows += [f"  {_change(change)}" for change in result.changes]
    elif result.computed:
        rows.append("Nothing changed by more than its uncertainty.")
    if result.left_out:
        rows.append("Left out:")
        rows += [f"  {line}" for line in result.left_out]
    return rows


def _change(change: Change) -> str:
    shown = []
    for value, u95 in ((change.before, change.u95_before), (change.now, change.u95_now)):
        if isinstance(value, float):
            signed = change.quantity != "ring_step_px2"
            shown.append(plus_minus(value, u95, _UNITS[change.quantity], signed=signed))
        else:
            shown.append("none" if value is None else str(value))
    quantity = _NAMES.get(change.quantity, change.quantity)
    return f"visit {change.visit}, {change.source}: {quantity} {shown[0]} → {shown[1]}"
