"""The vertical scale of a history: linear, or logarithmic beyond a knee, in two units."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator, NullLocator

from fringe.show.figures.scales import nm_text, tick_text
from fringe.show.figures.style import (
    HAIRLINE,
    MUTED,
)

POWER_IN = 2.9  # height of the panel of power, which its labels share [inch]
_DWARFED = 6.0  # beyond so many tolerances a linear scale hides what matters


@dataclass(frozen=True)
class VerticalScale:
    """A vertical scale: linear, or linear out to `knee` and logarithmic beyond it."""

    low: float
    high: float
    knee: float | None


def scale_note(axes: Axes, tolerance: float | None) -> str:
    """Say in words that a scale has a knee; nothing of a linear one."""
    if axes.get_yscale() == "linear":
        return ""
    knee = "one fringe" if tolerance is None else "the tolerance"
    return f"The scale of power is even within {knee} and goes by powers of ten beyond it."


def vertical_scale(
    values: list[float], tolerance: float | None, *, from_zero: bool = False
) -> VerticalScale:
    """Choose a scale that shows all values and the tolerance."""
    reach = [*values, 0.0]
    if tolerance is not None:
        reach += [1.4 * tolerance] if from_zero else [1.4 * tolerance, -1.4 * tolerance]
    low, high = min(reach), max(reach)
    knee = tolerance
    if knee is None:
        knee = 1.0 if max(abs(low), abs(high)) > 12 else None
    if knee is not None and max(abs(low), abs(high)) <= _DWARFED * knee:
        knee = None
    if knee is None:
        room = 0.1 * (high - low) or 1.0
        return VerticalScale(low if from_zero else low - room, high + room, None)
    return VerticalScale(1.5 * low, 1.5 * high, knee)


def apply_scale(axes: Axes, scale: VerticalScale, tolerance: float | None, *, signed: bool) -> None:
    """Give axes a scale, with its ticks and labels."""
    if scale.knee is None:
        axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
        axes.yaxis.set_major_formatter(
            FuncFormatter(lambda value, _: nm_text(value, signed=signed))
        )
        axes.set_ylim(scale.low, scale.high)
        return
    axes.set_yscale("symlog", linthresh=scale.knee, linscale=1.0)
    axes.set_ylim(scale.low, scale.high)
    ticks = _knee_ticks(axes, scale)
    axes.set_yticks(ticks)
    axes.set_yticklabels([_tick(one, signed=signed) for one in ticks])
    axes.yaxis.set_minor_locator(NullLocator())


def _tick(value: float, *, signed: bool) -> str:
    if abs(value) >= 1 or value == 0:
        return nm_text(value, signed=signed)
    return tick_text(value, 10.0 ** (math.floor(math.log10(abs(value))) - 1), signed=signed)


def _knee_ticks(axes: Axes, scale: VerticalScale) -> list[float]:
    """Return zero, the knee and decades on either side, as far as labels have room."""
    assert scale.knee is not None
    transform = axes.yaxis.get_transform()
    ends = transform.transform(np.array([scale.low, scale.high]))
    inches = POWER_IN / float(ends[1] - ends[0])
    first = math.floor(math.log10(scale.knee)) + 1
    decades = [10.0**k for k in range(first, first + 12)]
    ticks: list[float] = []
    for value in (0.0, scale.knee, -scale.knee, *decades, *(-one for one in decades)):
        if not scale.low <= value <= scale.high:
            continue
        places = transform.transform(np.array([value, *ticks]))
        if all(abs(float(places[0] - other)) * inches > 0.17 for other in places[1:]):
            ticks.append(value)
    return sorted(ticks)


def height_scale(axes: Axes, wavelength_nm: float) -> None:
    """The height of power in micrometres, at the right of the same scale."""
    um = wavelength_nm / 2000.0
    twin = axes.twinx()
    if axes.get_yscale() == "symlog":
        knee = float(axes.yaxis.get_transform().linthresh)  # type: ignore[attr-defined]
        twin.set_yscale("symlog", linthresh=knee * um, linscale=1.0)
        low, high = axes.get_ylim()
        twin.set_ylim(low * um, high * um)
        ticks = _knee_ticks(twin, VerticalScale(low * um, high * um, knee * um))
        twin.set_yticks(ticks)
        twin.set_yticklabels([_tick(one, signed=True) for one in ticks])
        twin.yaxis.set_minor_locator(NullLocator())
    else:
        low, high = axes.get_ylim()
        twin.set_ylim(low * um, high * um)
        twin.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
        twin.yaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))
    twin.set_ylabel("gap at the rim − at the centre, µm", color=MUTED)
    twin.tick_params(axis="y", colors=MUTED)
    for side in ("top", "left"):
        twin.spines[side].set_visible(False)
    twin.spines["right"].set_visible(True)
    twin.spines["right"].set_color(HAIRLINE)
