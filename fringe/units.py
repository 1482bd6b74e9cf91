"""Lengths as people write them (`150mm`, `6in`, `5 3/4 in`, `793um`), to millimetres.

The usual units are read here, since loading a unit library would cost more time than a
whole command; anything else is handed to :mod:`pint`.
"""

from __future__ import annotations

import math
import re

from fringe.errors import BadInput

MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "um": 1e-3,
    "µm": 1e-3,  # micro sign
    "μm": 1e-3,  # Greek mu
    "micron": 1e-3,
    "microns": 1e-3,
    "nm": 1e-6,
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    '"': 25.4,
    "″": 25.4,
    "ft": 304.8,
    "thou": 0.0254,
}

_NUMBER = re.compile(
    r"""^\s*(?P<sign>[+-]?)\s*
        (?:(?P<whole>\d+)\s+(?P<num1>\d+)/(?P<den1>\d+)
          |(?P<num2>\d+)/(?P<den2>\d+)
          |(?P<decimal>(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?))
        \s*(?P<unit>[^\d\s].*)?$""",
    re.VERBOSE,
)

# 1,500 is a decimal to some and thousands to others; 0,500 can only be a decimal
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


def length_mm(text: str, what: str = "length") -> float:
    """Read a length with its unit, in millimetres.

    Parameters
    ----------
    text : str
        For example ``150mm``, ``6in``, ``5 3/4 in``, ``793um``, ``3048 mm``.
    what : str
        What the length is, for the error message.

    Returns
    -------
    float
        The length [mm]; may be negative.

    Raises
    ------
    BadInput
        If no number or no unit of length can be read.
    """
    match = _NUMBER.match(text.replace("−", "-"))  # fringe itself prints true minus signs
    if match is None:
        raise _unreadable(text, what)
    if match["unit"] is None:
        raise BadInput(f"{what}: {text!r} has no unit; write for example {text.strip()}mm")
    value = _magnitude(match, text, what)
    unit = match["unit"].strip()
    factor = MM_PER_UNIT[unit] if unit in MM_PER_UNIT else _mm_by_pint(unit, text, what)
    length = (-value if match["sign"] == "-" else value) * factor
    if not math.isfinite(length):
        raise BadInput(f"{what}: {text!r} is too large")
    return length


def positive_length_mm(text: str, what: str = "length") -> float:
    """Read a length that must be greater than zero [mm]; raises `BadInput` otherwise."""
    value = length_mm(text, what)
    if not 0 < value < float("inf"):
        raise BadInput(f"{what}: {text!r} is not a length greater than zero")
    return value


def _magnitude(match: re.Match[str], text: str, what: str) -> float:
    decimal = match["decimal"]
    if decimal is None:
        denominator = int(match["den1"] or match["den2"])
        if denominator == 0:
            raise BadInput(f"{what}: {text!r} divides by zero")
        return int(match["whole"] or 0) + int(match["num1"] or match["num2"]) / denominator
    if _THOUSANDS.fullmatch(decimal):
        raise BadInput(
            f"{what}: {text!r} may mean a decimal or thousands; "
            f"write {decimal.replace(',', '.')} or {decimal.replace(',', '')} and the unit"
        )
    return float(decimal.replace(",", "."))


def _mm_by_pint(unit: str, text: str, what: str) -> float:
    # pint also evaluates arithmetic, which no unit of length needs
    if not unit.replace(" ", "").isalpha():
        raise _unreadable(text, what)
    import pint

    try:
        return float(pint.UnitRegistry().Quantity(1.0, unit).to("mm").magnitude)
    except Exception as error:  # pint raises many kinds; each means that this is no length
        raise _unreadable(text, what) from error


def _unreadable(text: str, what: str) -> BadInput:
    return BadInput(
        f"{what}: cannot read {text!r} as a length; write a number and a unit, as 150mm or 6in"
    )
