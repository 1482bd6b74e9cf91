"""How a settling is told: its answer in a line, a time to wait, and a value with its interval."""

from __future__ import annotations

from fringe.format import figures, fixed, plus_minus, uncertainty_decimals
from fringe.judge.settling.settle import Settled, Span


def text_of(found: Settled) -> str:
    """The answer in one line."""
    end = found.power_fringes
    shown = plus_minus(end.value, end.u95, "fringes", signed=True)
    if found.state == "settled":
        return f"Settled: power {shown}"
    if not found.end_in_view:
        return (
            "Wait: where it will end is not in view yet, the readings lie too near each other "
            "in time"
        )
    tau = found.time_constant_min
    if tau is not None and tau.high is None and end.u95 > abs(found.remaining_fringes.value):
        return f"Wait: where it will end is not in view yet ({shown})"
    if found.wait_min is None:
        return f"Settling toward {shown}"
    if found.state == "unknown" and found.wait_min <= 0:
        return f"Not proven to have settled: power {shown}; go on photographing"
    return f"Wait about {duration(found.wait_min)}: settling toward {shown}"


def duration(minutes: float) -> str:
    """A time in minutes or hours, as `35 min` or `2.5 h`."""
    if minutes < 90:
        return f"{max(0, round(minutes))} min"
    return f"{figures(minutes / 60, 2)} h"


def span_text(span: Span, unit: str, *, signed: bool = True, way: float = 1.0) -> str:
    """A value with the ends of its interval, as `+0.31 (+0.22 to +0.47) fringes`."""
    ends = sorted(way * end for end in (span.low, span.high) if end is not None)
    wide = (ends[-1] - ends[0]) / 2 if len(ends) == 2 else abs(span.value) / 10
    decimals = uncertainty_decimals(wide) if wide > 0 else 2
    value, *shown = (fixed(one, decimals, signed=signed) for one in (way * span.value, *ends))
    if len(shown) == 2:
        inside = f"{shown[0]} to {shown[1]}"
    elif shown:
        inside = f"{shown[0]} or {'more' if (span.high is None) == (way > 0) else 'less'}"
    else:
        inside = "anything"
    return f"{value} ({inside}) {unit}"
