"""Scales and contours that several figures share."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Colormap, to_rgb
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import ArrayLike, NDArray

from fringe.format import MINUS, figures
from fringe.show.figures.style import INK, PAPER, SMALL_PT, line_height_in, text_width_in

Array = NDArray[np.float64]

_LONGEST_NM = 6  # characters that labels beside each other have room for


def nice_step(span: float, most: int) -> float:
    """Return the least step of 1, 2 or 5 times a power of ten with at most `most` in a span."""
    if not span > 0 or not math.isfinite(span):
        return 1.0
    decade = 10.0 ** math.floor(math.log10(span / most))
    return next(
        (decade * k for k in (1, 2, 5, 10) if span / (decade * k) <= most * (1 + 1e-9)),
        10 * decade,
    )


def steps_between(low: float, high: float, step: float) -> list[float]:
    """Return the multiples of a step from `low` to `high`, both included."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [step * k for k in range(first, last + 1)]


def tick_text(value: float, step: float, *, signed: bool = False) -> str:
    """Return a value on a scale of a given step, with a true minus sign."""
    decimals = next((d for d in range(12) if abs(step * 10**d - round(step * 10**d)) < 1e-6), 12)
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+" if signed else "") + text


def colour_scale(
    axes: Axes,
    colours: Colormap,
    low: float,
    high: float,
    *,
    nm_per_fringe: float,
    ticks: list[float],
    step: float,
    signed: bool,
) -> None:
    """Draw a lying scale of colours: fringes below, nanometres above.

    Parameters
    ----------
    axes : Axes
        To draw in; its frame is the scale.
    colours : Colormap
    low, high : float
        Its ends [fringe].
    nm_per_fringe : float
        Half the wavelength [nm].
    ticks : list of float
        Where contours are [fringe]; as many are labelled as have room.
    step : float
        Distance between them [fringe].
    signed : bool
        Label with plus signs.
    """
    axes.imshow(
        np.linspace(0, 1, 256)[None, :], extent=(low, high, 0, 1), aspect="auto", cmap=colours
    )
    axes.set_yticks([])
    for side in ("top", "right"):
        axes.spines[side].set_visible(True)
    every = 1 + (len(ticks) - 1) // 6
    anchor = round(ticks[0] / step) if ticks else 0
    labelled = [(k + anchor) % every == 0 for k in range(len(ticks))]
    axes.set_xticks(ticks)
    axes.set_xticklabels(
        [
            tick_text(one, every * step, signed=signed) if shown else ""
            for one, shown in zip(ticks, labelled, strict=True)
        ]
    )
    axes.set_xlabel("fringes", labelpad=2)
    # the same contours in nm, so that each can be read in both
    upper = axes.secondary_xaxis("top", functions=_nm_functions(nm_per_fringe))
    heights = [one * nm_per_fringe for one in ticks]
    upper.set_xticks(heights)
    decimals = 0 if step * nm_per_fringe >= 5 else 1
    names = [nm_text(round(one, decimals), signed=signed) for one in heights]
    if max((len(name) for name in names), default=0) > _LONGEST_NM:  # room for every second
        labelled = [(k + anchor) % (2 * every) == 0 for k in range(len(ticks))]
    upper.set_xticklabels(
        [name if shown else "" for name, shown in zip(names, labelled, strict=True)]
    )
    upper.set_xlabel("nm", labelpad=3)


def nm_axis(axes: Axes, nm_per_fringe: float) -> None:
    """Repeat a vertical scale of fringes in nanometres, on the right."""
    right = axes.secondary_yaxis("right", functions=_nm_functions(nm_per_fringe))
    right.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    right.yaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))
    right.set_ylabel("nm")


def _nm_functions(nm: float) -> tuple[Callable[[ArrayLike], Array], Callable[[ArrayLike], Array]]:
    def to_nm(count: ArrayLike) -> Array:
        return np.asarray(count, float) * nm

    def to_fringes(height: ArrayLike) -> Array:
        return np.asarray(height, float) / nm

    return to_nm, to_fringes


def nm_text(value: float, *, signed: bool = False) -> str:
    """Return a height in nanometres for a scale, thousands set apart by a thin space."""
    if abs(value) < 1e-9:
        return "0"
    text = figures(abs(value), 4)
    if abs(value) >= 10_000:
        text = f"{abs(value):,.0f}".replace(",", "\u2009")
    return (MINUS if value < 0 else "+" if signed else "") + text


def label_contours(
    axes: Axes,
    profile: tuple[Array, Array, Array],
    levels: list[float],
    step: float,
    colour_of: Colormap,
    limits: tuple[float, float],
    *,
    inch: float,
    signed: bool,
) -> None:
    """Write levels along one line across a map, leaving out those without room.

    Parameters
    ----------
    axes : Axes
        The map.
    profile : (ndarray, ndarray, ndarray), shape (K,) each
        Places x, y of the line in data units, and the height there [fringe].
    levels : list of float
        Heights of the contours [fringe].
    step : float
        Distance between them [fringe].
    colour_of : Colormap
        Colours of the map, to set the writing off against.
    limits : (float, float)
        Heights at the ends of the colours [fringe].
    inch : float
        Length of an inch on the map [data unit].
    signed : bool
        Write plus signs.
    """
    x, y, height = profile
    tall = 1.2 * line_height_in(SMALL_PT) * inch
    taken: list[tuple[float, float, float]] = []
    for level in sorted(levels, key=abs):
        text = tick_text(level, step, signed=signed)
        wide = (text_width_in(text, SMALL_PT) + 0.1) * inch
        above = height >= level
        for k in np.flatnonzero(above[1:] != above[:-1]):
            place = (float(x[k]), float(y[k]))
            if any(
                abs(place[0] - a) < (wide + w) / 2 and abs(place[1] - b) < tall for a, b, w in taken
            ):
                continue
            taken.append((*place, wide))
            colour = colour_of(float(np.clip((level - limits[0]) / (limits[1] - limits[0]), 0, 1)))
            red, green, blue = to_rgb(colour)
            dark = 0.3 * red + 0.59 * green + 0.11 * blue < 0.55
            axes.text(
                *place,
                text,
                fontsize=SMALL_PT,
                ha="center",
                va="center",
                parse_math=False,
                color=PAPER if dark else INK,
                bbox={"boxstyle": "square,pad=0.12", "linewidth": 0, "facecolor": colour},
            )
            break
