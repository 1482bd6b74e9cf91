"""Lengths as people write them (`150mm`, `6in`, `5 3/4 in`, `793um`), to millimetres.

The usual units are read here, since loading a unit library would cost more time than a
whole command; anything else is handed to :mod:`pint`.
"""

from __future__ import annotations

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
    match = _NUMBER.match(text)
    if match is None:
        return _by_pint(text, what)
    if match["unit"] is None:
        raise BadInput(f"{what}: {text!r} has no unit; write for example {text.strip()}mm")
    if match["decimal"] is not None:
        value = float(match["decimal"].replace(",", "."))
    else:
        denominator = int(match["den1"] or match["den2"])
        if denominator == 0:
            raise BadInput(f"{what}: {text!r} divides by zero")
        value = int(match["whole"] or 0) + int(match["num1"] or match["num2"]) / denominator
    factor = MM_PER_UNIT.get(match["unit"].strip())
    if factor is None:
        return _by_pint(text, what)
    return (-value if match["sign"] == "-" else value) * factor


def positive_length_mm(text: str, what: str = "length") -> float:
    """Read a length that must be greater than zero [mm]; raises `BadInput` otherwise."""
    value = length_mm(text, what)
    if not 0 < value < float("inf"):
        raise BadInput(f"{what}: {text!r} is not a length greater than zero")
    return value


def _by_pint(text: str, what: str) -> float:
    import pint

    try:
        return float(pint.UnitRegistry().Quantity(text).to("mm").magnitude)
    except Exception as error:  # pint raises many kinds; each means that the text is no length
        raise BadInput(
            f"{what}: cannot read {text!r} as a length; write a number and a unit, as 150mm or 6in"
        ) from error
