"""A plan as lanes over the days: work, rest, and when each surface is likely finished."""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo
from functools import partial

from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, date2num, num2date
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from fringe.judge.advice.plan import Plan
from fringe.show.figures.style import (
    AMBER,
    BAND,
    BODY_PT,
    BRICK,
    HAIRLINE,
    MARGIN_IN,
    MUTED,
    SMALL_PT,
    TEAL,
    Facts,
    Sheet,
    styled,
    text_width_in,
)
from fringe.show.plan_words import day_text, days_range, finished_text, hours_range, whole_range

_LANE_IN, _ABOVE_IN, _BELOW_IN = 0.62, 0.1, 0.5
_LONGEST_NAME_IN = 1.7
_THICK = 0.34  # of a lane


@styled
def plan_figure(one: Plan, *, pair: bool = False) -> Figure:
    """Draw one likely course of a plan, and the 90 % interval of each end.

    Parameters
    ----------
    one : Plan
    pair : bool
        Whether the surfaces are laid on each other at the end.
    """
    sheet = Sheet()
    facts = Facts(when=f"from {one.now:%Y-%m-%d %H:%M}")
    top = sheet.heading("What is still to go", facts)
    whole = sheet.inner_in
    for each in one.surfaces:
        line = (
            f"{each.name}: {whole_range(each.visits)} visits, {hours_range(each.work_hours)} of "
            f"work, finished {finished_text(each)}"
        )
        top = sheet.paragraph(MARGIN_IN, top, whole, line, BODY_PT)
    if pair or len(one.surfaces) > 1:
        what = "The pair, laid on each other" if pair else "All"
        top = sheet.paragraph(
            MARGIN_IN, top, whole, f"{what}: finished {days_range(one.finished)}", BODY_PT
        )
    top = _legend(sheet, top + 0.1)
    names = [text_width_in(each.name, BODY_PT) for each in one.surfaces]
    left = MARGIN_IN + min(_LONGEST_NAME_IN, max(names)) + 0.12
    height = _LANE_IN * len(one.surfaces)
    axes = sheet.axes(left, top + _ABOVE_IN, sheet.width_in - MARGIN_IN - left, height)
    _draw(axes, one)
    for place, each in enumerate(one.surfaces):
        middle = top + _ABOVE_IN + (place + 0.5) * _LANE_IN - 0.09
        sheet.paragraph(MARGIN_IN, middle, left - MARGIN_IN - 0.1, each.name, BODY_PT)
    note = (
        "One course of many, the one that ends in the middle; bars: what is to be done and the "
        "rest after it. The diamonds: half of all courses have ended; the lines: 90 of 100 lie "
        "in them. It holds as far as the work goes on as it did, each next step is followed, and "
        "irregularity comes with power."
    )
    below = top + _ABOVE_IN + height + _BELOW_IN
    end = sheet.paragraph(MARGIN_IN, below, whole, note, SMALL_PT, colour=MUTED)
    return sheet.finish(end + 0.15)


def _legend(sheet: Sheet, top: float) -> float:
    left = MARGIN_IN
    for what, colour, marker in (
        ("work", TEAL, "s"),
        ("read", AMBER, "s"),
        ("rest", BAND, "s"),
        ("finished", BRICK, "D"),
    ):
        edge = MUTED if colour == BAND else colour
        sheet.mark(left + 0.06, top + 0.09, marker, colour, edge)
        sheet.text(left + 0.18, top, what, SMALL_PT, colour=MUTED)
        left += 0.18 + text_width_in(what, SMALL_PT) + 0.2
    sheet.text(left, top, "hatched: nobody at the bench", SMALL_PT, colour=MUTED)
    return top + 0.2


def _draw(axes: Axes, one: Plan) -> None:
    lanes = {each.name: place for place, each in enumerate(one.surfaces)}
    last = max((each.finished.high for each in one.surfaces), default=one.now)
    last = max([last, *(turn.rest_until for turn in one.turns)]) + timedelta(hours=1)
    _closed(axes, one, last)
    for turn in one.turns:
        lane = lanes[turn.surface]
        if turn.rest_until > turn.end:
            _bar(axes, lane, turn.end, turn.rest_until, BAND, MUTED)
        colour = AMBER if turn.what == "read" else TEAL
        _bar(axes, lane, turn.start, turn.end, colour, colour)
    for each in one.surfaces:
        y = lanes[each.name] + 0.34
        ends = [_days(t) for t in (each.finished.low, each.finished.high)]
        axes.plot(ends, [y, y], color=BRICK, linewidth=1.3, solid_capstyle="butt")
        axes.plot([_days(each.finished.median)], [y], "D", color=BRICK, markersize=4.5)
    axes.set_ylim(len(lanes) - 0.5, -0.5)
    axes.set_xlim(_days(one.now), _days(last))
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    locator = AutoDateLocator(minticks=3, maxticks=8, tz=one.now.tzinfo)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(FuncFormatter(partial(_tick, one.now.tzinfo)))
    axes.xaxis_date(one.now.tzinfo)


def _tick(zone: tzinfo | None, place: float, _: object) -> str:
    """A day where it begins, else the time of day."""
    when = num2date(place, zone)  # type: ignore[no-untyped-call]
    return day_text(when) if when.hour == when.minute == 0 else f"{when:%H:%M}"


def _bar(axes: Axes, lane: int, start: datetime, end: datetime, face: str, edge: str) -> None:
    begin = _days(start)
    axes.barh(
        lane - 0.08,
        _days(end) - begin,
        left=begin,
        height=_THICK,
        color=face,
        edgecolor=edge,
        linewidth=0.5,
    )


def _closed(axes: Axes, one: Plan, last: datetime) -> None:
    """Shade when there is nobody at the bench, as long as that can be told apart."""
    if (last - one.now).days > 21:
        return
    midnight = one.now.replace(hour=0, minute=0, second=0, microsecond=0)
    while midnight < last:
        opens = midnight + timedelta(minutes=one.day.begins_minutes)
        closes = opens + timedelta(minutes=one.day.minutes)
        following = midnight + timedelta(days=1)
        for a, b in ((midnight, opens), (closes, following)):
            axes.axvspan(
                _days(a), _days(b), facecolor="none", edgecolor=HAIRLINE, hatch="///", linewidth=0
            )
        midnight = following


def _days(when: datetime) -> float:
    """A time as matplotlib counts it: in days."""
    return float(date2num(when))  # type: ignore[no-untyped-call]
