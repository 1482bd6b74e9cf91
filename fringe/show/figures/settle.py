"""The settling of a piece: powers over the minutes, the curve through them, and its end."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from fringe.judge.settling.powers import SettlingPower
from fringe.judge.settling.settle import Settled
from fringe.judge.settling.words import text_of
from fringe.quantity import half_width
from fringe.show.figures.scales import nm_text
from fringe.show.figures.style import (
    AMBER,
    BAND,
    BODY_PT,
    INK,
    MARGIN_IN,
    MUTED,
    PAPER,
    SMALL_PT,
    TEAL,
    Facts,
    Sheet,
    styled,
    text_width_in,
)

_LEFT_IN, _RIGHT_IN, _HEIGHT_IN = 0.75, 0.15, 3.0
_AHEAD = 0.6  # of the time that was watched, drawn beyond it at most


@styled
def settle_figure(
    minutes: Sequence[float],
    powers: SettlingPower,
    found: Settled,
    *,
    surface_name: str | None = None,
    diameter_mm: float | None = None,
    when: str | None = None,
    title: str | None = None,
) -> Figure:
    """Draw the readings of a settling piece, the fit, and the end that it leads to.

    Parameters
    ----------
    minutes : sequence of float
        When each reading was taken [min].
    powers : SettlingPower
        The readings.
    found : Settled
        What :func:`fringe.judge.settling.settle.settle` made of them.
    surface_name, diameter_mm : str or None, float or None
        Name of the surface, and its aperture's diameter [mm].
    when : str or None
        When the first photograph was taken, in words.
    title : str or None
        Heading.

    Returns
    -------
    Figure
    """
    sheet = Sheet()
    facts = Facts(powers.wavelength_nm, diameter_mm, None, surface_name, when)
    top = sheet.heading(title or "Settling", facts)
    whole = sheet.inner_in
    top = sheet.paragraph(MARGIN_IN, top - 0.04, whole, f"{text_of(found)}.", BODY_PT) + 0.12
    top = _legend(sheet, top, found)
    left, width = MARGIN_IN + _LEFT_IN, whole - _LEFT_IN - _RIGHT_IN
    axes = sheet.axes(left, top + 0.06, width, _HEIGHT_IN)
    _draw(axes, np.asarray(minutes, float), powers, found)
    top += 0.06 + _HEIGHT_IN + 0.52
    for note in found.notes:
        top = sheet.paragraph(MARGIN_IN, top, whole, f"{note}.", SMALL_PT, colour=MUTED)
    return sheet.finish(top + 0.16)


def _legend(sheet: Sheet, top: float, found: Settled) -> float:
    left = MARGIN_IN
    sheet.mark(left + 0.06, top + 0.09, "o", PAPER, INK)
    left = _named(sheet, left + 0.18, top, "readings, 95 %")
    sheet.rule(left, top + 0.08, 0.26, colour=TEAL, weight_pt=1.4)
    left = _named(sheet, left + 0.32, top, "fit, dotted ahead")
    sheet.rule(left, top + 0.08, 0.26, colour=BAND, weight_pt=8.0)
    left = _named(sheet, left + 0.32, top, "where it ends, 95 %")
    if found.limit_fringes is not None:
        sheet.rule(left, top + 0.08, 0.26, colour=AMBER, weight_pt=1.2, dashes="dashed")
        _named(sheet, left + 0.32, top, "within the limit of its end")
    return top + 0.24


def _named(sheet: Sheet, left: float, top: float, text: str) -> float:
    sheet.text(left, top, text, SMALL_PT)
    return left + text_width_in(text, SMALL_PT) + 0.24


def _draw(axes: Axes, minutes: np.ndarray, powers: SettlingPower, found: Settled) -> None:
    values = np.array(powers.powers_fringes)
    half = np.array([half_width(u) for u in powers.u_fringes])
    first, last = float(minutes.min()), float(minutes.max())
    ahead = min(max(found.wait_most_min or 0.0, 0.1 * (last - first)), _AHEAD * (last - first))
    x = np.linspace(first, last + ahead, 300)
    end, low, high = _ends(found)
    curve = end + _decay(found, x, last)
    reach = [*(values - half), *(values + half), end, *curve]
    span = max(reach) - min(reach)
    low, high = max(low, min(reach) - 0.5 * span), min(high, max(reach) + 0.5 * span)
    axes.axhspan(low, high, color=BAND, linewidth=0, zorder=0)
    axes.axhline(end, color=MUTED, linewidth=0.8, zorder=1)
    if found.limit_fringes is not None:
        for sign in (-1, 1):
            edge = end + sign * found.limit_fringes
            if min(reach) - 0.3 * span <= edge <= max(reach) + 0.3 * span:
                axes.axhline(edge, color=AMBER, linewidth=1.0, linestyle="dashed", zorder=1)
    seen = x <= last
    axes.plot(x[seen], curve[seen], color=TEAL, linewidth=1.4, zorder=2)
    axes.plot(x[~seen], curve[~seen], color=TEAL, linewidth=1.2, linestyle="dotted", zorder=2)
    axes.errorbar(
        minutes,
        values,
        yerr=half,
        fmt="o",
        markersize=5.0,
        markerfacecolor=PAPER,
        markeredgecolor=INK,
        markeredgewidth=1.0,
        ecolor=INK,
        elinewidth=0.9,
        capsize=2.0,
        zorder=3,
    )
    room = 0.03 * (x[-1] - x[0])
    axes.set_xlim(x[0] - room, x[-1] + room)
    axes.set_xlabel("minutes")
    axes.set_ylabel("power, fringes" if powers.sense != "unknown" else "power, fringes (no sign)")
    axes.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: nm_text(value, signed=True)))
    axes.xaxis.set_major_locator(MaxNLocator(10, steps=[1, 2, 5, 10]))


def _ends(found: Settled) -> tuple[float, float, float]:
    end = found.power_fringes
    return (
        end.value,
        -math.inf if end.low is None else end.low,
        math.inf if end.high is None else end.high,
    )


def _decay(found: Settled, minutes: np.ndarray, last: float) -> np.ndarray:
    """What is left at each time, back and ahead from the last reading."""
    tau = found.time_constant_min
    if tau is None:
        return np.zeros_like(minutes)
    left: np.ndarray = found.remaining_fringes.value * np.exp(-(minutes - last) / tau.value)
    return left
