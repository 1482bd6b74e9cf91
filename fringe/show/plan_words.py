"""Ranges of a plan in words, the same on the terminal and in the picture."""

from __future__ import annotations

from datetime import datetime

from fringe.format import figures
from fringe.judge.advice.plan import Days, PlannedSurface, Range


def finished_text(one: PlannedSurface) -> str:
    """When a surface is finished; one that nothing is left to do on, is already."""
    return days_range(one.finished) if one.visits.high else "already"


def whole_range(one: Range) -> str:
    """Whole numbers, as `3 (2 to 6)`."""
    low, high = round(one.low), round(one.high)
    return f"{round(one.median)}" + (f" ({low} to {high})" if low < high else "")


def hours_range(one: Range) -> str:
    """Hours, as `2.1 h (1.2 to 4 h)`."""
    low, middle, high = (figures(value, 2) for value in (one.low, one.median, one.high))
    return f"{middle} h" + (f" ({low} to {high} h)" if low != high else "")


def days_range(one: Days) -> str:
    """Days, as `Mon 2026-11-30 (Sun 29 Nov to Wed 2 Dec)`."""
    middle = f"{one.median:%a %Y-%m-%d}"
    if one.low.date() == one.high.date():
        return f"{middle}, {one.low:%H:%M} to {one.high:%H:%M}"
    return f"{middle} ({day_text(one.low)} to {day_text(one.high)})"


def day_text(when: datetime) -> str:
    """A day, as `Sun 29 Nov`."""
    return f"{when:%a} {when.day} {when:%b}"
