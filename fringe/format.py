"""Numbers as they are printed: the uncertainty fixes the digits, and both end at the same one."""

from __future__ import annotations

import math
import re

MINUS = "−"


def uncertainty_decimals(uncertainty: float) -> int:
    """Decimals that an uncertainty deserves; negative when tens or hundreds are rounded off.

    Rounding rule of the Particle Data Group (Review of Particle Physics, introduction,
    section 5.3): of the three leading digits, 100 to 354 keep two figures, 355 to 949 keep
    one, and 950 to 999 round up to 1000 and keep two.

    Parameters
    ----------
    uncertainty : float
        Any uncertainty greater than zero.

    Returns
    -------
    int
        Digits after the decimal point.
    """
    exponent = math.floor(math.log10(uncertainty))
    leading = round(uncertainty / 10.0 ** (exponent - 2))
    if leading >= 950:  # rounds up into the next decade, where it keeps two figures
        return -exponent
    return (1 if leading < 355 else 0) - exponent


def fixed(value: float, decimals: int, *, signed: bool = False) -> str:
    """Print a number rounded to a decimal place, with a true minus sign and no minus zero."""
    rounded = round(value, decimals)
    digits = max(decimals, 0)
    text = f"{abs(rounded):.{digits}f}"
    if rounded < 0:
        return MINUS + text
    return ("+" if signed and rounded > 0 else "") + text


def figures(value: float, count: int = 4, *, signed: bool = False) -> str:
    """Print a number that has no stated uncertainty, to a count of significant figures."""
    if value == 0:
        return "0"  # never a minus zero
    if not math.isfinite(value):
        return f"{value:g}"
    decimals = count - 1 - math.floor(math.log10(abs(value)))
    if decimals > 9:  # too small for a row of zeros
        return f"{value:.{count - 1}e}"
    text = fixed(value, max(decimals, 0), signed=signed)
    return text.rstrip("0").rstrip(".") if "." in text else text


def plus_minus(
    value: float, u95: float | None, unit: str = "", *, signed: bool = False, digits: int = 4
) -> str:
    """Print `value ± U unit`, the digits set by U.

    Parameters
    ----------
    value : float
        The value, in `unit`.
    u95 : float or None
        Half-width of the 95 % interval, in `unit`. None, zero or not finite: the value
        alone, to `digits` significant figures.
    unit : str
        Printed after the numbers.
    signed : bool
        Print a plus sign before values greater than zero.
    digits : int
        Significant figures where there is no uncertainty.

    Returns
    -------
    str
        For example ``1523.8 ± 0.4 mm``.
    """
    tail = f" {unit}" if unit else ""
    if u95 is None or not math.isfinite(u95) or u95 <= 0 or not math.isfinite(value):
        return figures(value, digits, signed=signed) + tail
    decimals = uncertainty_decimals(u95)
    return f"{fixed(value, decimals, signed=signed)} ± {fixed(u95, decimals)}{tail}"


def percent_text(probability: float) -> str:
    """Print a probability in per cent that never rounds to a certainty.

    For example ``97 %``, ``> 99.9 %``, ``< 0.1 %``.
    """
    if probability > 0.999:
        return "> 99.9 %"
    if probability < 0.001:
        return "< 0.1 %"
    decimals = 1 if probability > 0.99 or probability < 0.01 else 0
    return f"{100 * probability:.{decimals}f} %"


def share_text(share: float) -> str:
    """Print a share of a variance in per cent: whole, with a decimal where it is small.

    For example ``52 %``, ``3.8 %``, ``< 0.1 %``; below zero where a correlation takes away.
    """
    value = 100 * share
    if 0 < value < 0.05:
        return "< 0.1 %"
    return f"{fixed(value, 0 if abs(value) >= 9.95 else 1)} %"


def capital(text: str) -> str:
    """Begin a sentence: the first letter large, the others as they are; a file keeps its name."""
    if re.match(r"[^:]*\.\w{2,5}:", text):
        return text
    return text[:1].upper() + text[1:]
