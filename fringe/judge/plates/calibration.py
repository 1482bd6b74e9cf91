"""When a plate's certificate is to be renewed."""

from __future__ import annotations

import calendar
import re
from datetime import date

from fringe.errors import BadInput
from fringe.units import number

_MONTHS_A_YEAR = 12
_INTERVAL = re.compile(r"^\s*(?P<count>[\d.,/ ]*\d)\s*(?P<unit>months?|mo|years?|y|a)\s*$", re.I)


def months(text: str, option: str = "--recalibrate") -> float:
    """Read a time as ``24 months`` or ``2 years`` [months].

    Raises
    ------
    BadInput
        If it is no such time, or not greater than zero.
    """
    match = _INTERVAL.match(text)
    count = None if match is None else number(match["count"], option)
    if match is None or count is None or count <= 0:
        raise BadInput(f"{option}: {text!r} is not a time; write '24 months' or '2 years'")
    return count * (1 if match["unit"].lower().startswith("m") else _MONTHS_A_YEAR)


def due_on(certified: date, after_months: float) -> date:
    """The day that many months after another; the month's last where it has no such day."""
    whole = round(after_months)
    year, month = divmod(certified.year * _MONTHS_A_YEAR + certified.month - 1 + whole, 12)
    if not 1 <= year <= date.max.year:
        return date.max
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(certified.day, last))
