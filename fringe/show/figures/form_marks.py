"""Zones, turned edges, holes and astigmatism marked on maps and profiles, and their key."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from matplotlib.patheffects import Normal, Stroke

from fringe.optics.feature import FormFeature
from fringe.show.figures.style import INK, MUTED, PAPER, SMALL_PT

# corners of a map, outside its disc, in the order in which they are taken: letters stand there,
# where no contour is labelled
_CORNERS = ((1, -1), (-1, -1), (1, 1), (-1, 1))
_CORNER = 0.9  # of a letter, along x and y [semi-diameter]
_SHORT = 0.84  # where its line begins


def lettered(features: Sequence[FormFeature]) -> list[tuple[str, FormFeature]]:
    """Features with the letters that figures call them by."""
    return list(zip("ABCD", features, strict=False))


def key_lines(features: Sequence[FormFeature], *, placed: bool = False) -> list[str]:
    """What each letter stands for, a line each; of those that have a place alone, if wished."""
    return [
        f"{letter}: {one.text()}"
        for letter, one in lettered(features)
        if one.place is not None or not placed
    ]


def mark_map(axes: Axes, features: Sequence[FormFeature]) -> None:
    """Draw a thin dotted ring, or the axis of astigmatism, for each, with its letter outside.

    Parameters
    ----------
    axes : Axes
        A map in semi-diameters, y down.
    features : sequence of FormFeature
        At most four.
    """
    casing = [Stroke(linewidth=3.0, foreground=PAPER), Normal()]
    for (letter, one), (x, y) in zip(lettered(features), _CORNERS, strict=False):
        if one.axis_deg is None:
            reach = (one.place or 0.0) / math.sqrt(2)
            end = (x * reach, y * reach)
            ring = Circle((0, 0), one.place or 0.0, fill=False, edgecolor=INK, linewidth=1.3)
            ring.set_linestyle((0, (1.0, 1.6)))
            ring.set_path_effects(casing)
            axes.add_patch(ring)
        else:
            end = _draw_axis(axes, one.axis_deg, (x, y), both=not one.signed)
        leader = axes.annotate(
            "",
            xy=end,
            xytext=(x * _SHORT, y * _SHORT),
            arrowprops={"arrowstyle": "-", "linewidth": 0.8, "color": INK, "shrinkA": 0},
            annotation_clip=False,
        )
        if leader.arrow_patch is not None:
            leader.arrow_patch.set_path_effects(casing)
        axes.text(
            x * _CORNER,
            y * _CORNER,
            letter,
            fontsize=SMALL_PT,
            fontweight="bold",
            color=INK,
            ha="center",
            va="center",
        )


def _draw_axis(
    axes: Axes, axis_deg: float, corner: tuple[int, int], *, both: bool
) -> tuple[float, float]:
    """Draw the axis across the disc, the one across it too where either may be high."""
    ends = []
    for turn in (0.0, 90.0) if both else (0.0,):
        angle = math.radians(axis_deg + turn)
        u, v = 0.97 * math.cos(angle), 0.97 * math.sin(angle)
        (line,) = axes.plot((-u, u), (-v, v), color=INK, linewidth=1.3, linestyle=(0, (1.0, 1.6)))
        line.set_path_effects([Stroke(linewidth=3.0, foreground=PAPER), Normal()])
        ends += [(u, v), (-u, -v)]
    return min(ends, key=lambda end: math.dist(end, corner))


def mark_profile(axes: Axes, features: Sequence[FormFeature], half: float) -> None:
    """Draw an upright line on either side of the centre where each lies, with its letter on top.

    Parameters
    ----------
    axes : Axes
        A profile, its middle at zero.
    features : sequence of FormFeature
        Astigmatism has no place on it.
    half : float
        Where the rim is, in the axes' unit.
    """
    taken: list[float] = []
    for letter, one in lettered(features):
        if one.place is None:
            continue
        place = one.place * half
        for side in (-place, place):
            axes.axvline(side, color=MUTED, linewidth=0.9, linestyle=(0, (1.0, 1.6)), zorder=0.5)
        # letters of places that nearly meet stand side by side
        shown = place
        while taken and np.min(np.abs(np.array(taken) - shown)) < 0.045 * half:
            shown -= 0.05 * half
        taken.append(shown)
        axes.text(
            shown,
            1.02,
            letter,
            transform=axes.get_xaxis_transform(),
            fontsize=SMALL_PT,
            fontweight="bold",
            color=INK,
            ha="center",
            va="bottom",
        )
