"""Lengths as people write them (`150mm`, `6in`, `5 3/4 in`, `793um`), to millimetres.

The usual units are read here, since loading a unit library would cost more time than a
whole command; anything else is handed to :mod:`pint`.
"""

from __future__ import annotations

import math
import re
import unicodedata
from functools import cache
from typing import Any, NamedTuple

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
    "in.": 25.4,
    '"': 25.4,
    "″": 25.4,
    "”": 25.4,
    "''": 25.4,
    "ft": 304.8,
    "ft.": 304.8,
    "'": 304.8,
    "′": 304.8,
    "thou": 0.0254,
}

# Nothing on a bench lies beyond: a radius of a million kilometres is a flat, and a thousandth of
# a picometre is no height. Formulas that square a length keep their digits between.
LARGEST_MM = 1e12
SMALLEST_MM = 1e-12

_NUMBER = re.compile(
    r"""^\s*(?P<sign>[+-]?)\s*
        (?:(?P<whole>\d+)(?:\s+|\s*-\s*)(?P<num1>\d+)/(?P<den1>\d+)
          |(?P<num2>\d+)/(?P<den2>\d+)
          |(?P<decimal>(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?))
        \s*(?P<unit>[^\d\s].*)?$""",
    re.VERBOSE,
)

# one sign for a fraction, as `5¾ in`
_VULGAR = re.compile("[¼-¾⅐-⅞]")

# 1,500 is a decimal to some and thousands to others; 0,500 can only be a decimal
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


class TypedLength(NamedTuple):
    """A length as typed: its digits give the resolution of the reading."""

    mm: float
    text: str


def length_mm(text: str, what: str = "length", unit: str = "mm") -> float:
    """Read a length with its unit, in millimetres.

    Parameters
    ----------
    text : str
        For example ``150mm``, ``6in``, ``5 3/4 in``, ``5¾"``, ``793um``, ``3048 mm``.
    what : str
        What the length is, for the error message.
    unit : str
        Unit that the error message proposes where there is none.

    Returns
    -------
    float
        The length [mm]; may be negative.

    Raises
    ------
    BadInput
        If no number or no unit of length can be read.
    """
    match = _NUMBER.match(_plain(text))
    if match is None:
        raise _unreadable(text, what)
    if match["unit"] is None:
        raise BadInput(f"{what}: {text!r} has no unit; write for example {text.strip()}{unit}")
    value = _magnitude(match, text, what)
    named = match["unit"].strip()
    factor = _mm_per(named)
    if factor is None:
        factor = _mm_by_pint(named, text, what)
    length = (-value if match["sign"] == "-" else value) * factor
    if not abs(length) <= LARGEST_MM:
        raise BadInput(f"{what}: {text!r} is too large")
    if 0 < abs(length) < SMALLEST_MM:
        raise BadInput(f"{what}: {text!r} is too small")
    return length


def positive_length_mm(text: str, what: str = "length", unit: str = "mm") -> float:
    """Read a length that must be greater than zero [mm]; raises `BadInput` otherwise."""
    value = length_mm(text, what, unit)
    if not 0 < value < float("inf"):
        raise BadInput(f"{what}: {text!r} is not a length greater than zero")
    return value


def number(text: str, what: str = "number") -> float:
    """Read a number without a unit as people write it: `2.5`, `2,5`, `1/4`, `1 1/2`, `½`.

    Raises
    ------
    BadInput
        If it is no finite number, or may be a decimal as well as thousands.
    """
    match = _NUMBER.match(_plain(text))
    if match is None or match["unit"] is not None:
        raise BadInput(f"{what}: {text!r} is not a number")
    value = _magnitude(match, text, what)
    if not math.isfinite(value):
        raise BadInput(f"{what}: {text!r} is too large")
    return -value if match["sign"] == "-" else value


def angle_deg(text: str, what: str = "angle") -> float:
    """Read an angle, with or without its unit, as ``90deg``, ``90°`` or ``-45`` [degree]."""
    bare = text.strip().removesuffix("°").removesuffix("degrees").removesuffix("deg")
    return number(bare, what)


def _plain(text: str) -> str:
    """Text with the minus that fringe itself prints, and signs like ¾, in plain characters."""
    text = text.replace("−", "-")
    return _VULGAR.sub(_as_fraction, text)


def _as_fraction(match: re.Match[str]) -> str:
    """Return ` 3/4` for `¾`; the space keeps it apart from a whole number before it."""
    before = match.string[: match.start()]
    gap = " " if before[-1:].isdigit() else ""
    return gap + unicodedata.normalize("NFKC", match[0]).replace("⁄", "/")


def _mm_per(unit: str) -> float | None:
    """Size of a usual unit; of the inch and foot in any case, since M and m differ in others."""
    lower = unit.lower()
    return MM_PER_UNIT.get(lower if lower[:2] in ("in", "ft") else unit)


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
            f"write {decimal.replace(',', '.')} or {decimal.replace(',', '')}"
            + (" and the unit" if match["unit"] else "")
        )
    return float(decimal.replace(",", "."))


def _mm_by_pint(unit: str, text: str, what: str) -> float:
    # pint also evaluates arithmetic, which no unit of length needs
    if not unit.replace(" ", "").isalpha():
        raise _unreadable(text, what)
    try:
        return float(_rarer_units().Quantity(1.0, unit).to("mm").magnitude)
    except Exception as error:  # pint raises many kinds; each means that this is no length
        raise _unreadable(text, what) from error


@cache
def _rarer_units() -> Any:
    """The units that pint knows; to read its list of them takes half a second."""
    import pint

    return pint.UnitRegistry()


def _unreadable(text: str, what: str) -> BadInput:
    return BadInput(
        f"{what}: cannot read {text!r} as a length; write a number and a unit, as 150mm or 6in"
    )


def last_digit_mm(text: str) -> float | None:
    """One count of the last digit of a length as it was written [mm]; None for fractions."""
    match = re.fullmatch(r"\s*[+-]?\d*(?:[.,](\d+))?\s*([^\d\s].*?)\s*", text)
    if match is None:
        return None
    return length_mm(f"1{match[2]}") * 10.0 ** -len(match[1] or "")


def times(value: float | None, factor: float) -> float | None:
    """Multiply a quantity that may not apply; None stays None."""
    return None if value is None else value * factor
