"""Uncertainties as certificates print them: `0.3 mm (k=2)`, `± 0,3 mm, 95 %`.

A bare uncertainty is a standard one. An expanded one says its coverage: a factor, a probability
or a number of sigma; of a probability the factor is that of the normal distribution.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from fringe.errors import BadInput
from fringe.units import length_mm, number, positive_length_mm

_SIGN = r"(?:\+\s*/?\s*[-−]|±)"
_DECIMAL = r"\d+(?:[.,]\d+)?"
# at the end of the text, with or without brackets or a comma before it
_COVERAGE = re.compile(
    rf"""[\s,;]*[(\[]?\s*(?:mit|with|avec|at|bei|à)?\s*
        (?:k\s*[=:]\s*(?P<k>{_DECIMAL})
          |(?:[pP]\s*[=:]\s*)?(?P<percent>{_DECIMAL})\s*%
          |(?P<sigma>{_DECIMAL})\s*[-\s]?\s*(?:σ|sigma|s\.?d\.?)
        )\s*[)\]]?\s*$""",
    re.VERBOSE,
)
_NAME = re.compile(r"^\s*[uU]\s*(?:[(]\s*k\s*=\s*(?P<k>[\d.,]+)\s*[)])?\s*=\s*")
_PAIR = re.compile(rf"^(?P<value>.*?)\s*{_SIGN}(?P<u>.*)$", re.DOTALL)
_BARE = re.compile(rf"[+-]?\s*{_DECIMAL}")


class Stated(NamedTuple):
    """A number as typed with what its uncertainty comes to.

    Attributes
    ----------
    value : float or None
        The value; None where an uncertainty alone was typed.
    u : float or None
        Standard uncertainty, in the value's unit.
    text : str or None
        As typed, where an expanded uncertainty was; None: the number says it all.
    """

    value: float | None
    u: float | None
    text: str | None


def standard_uncertainty(
    text: str, what: str = "uncertainty", unit: str = "mm", *, plain: bool = False
) -> Stated:
    """Read a standard uncertainty, or an expanded one with its coverage, as a standard one.

    Parameters
    ----------
    text : str
        For example ``0.15mm`` (a standard uncertainty), ``0.3 mm (k=2)``, ``±0,3 mm, 95 %``.
    what, unit : str
        For the error message: what it is, and the unit that is proposed.
    plain : bool
        The number carries no unit of length.

    Returns
    -------
    Stated
        Without a value; `u` in mm, or as typed where `plain`.

    Raises
    ------
    BadInput
        If it cannot be read, is negative or zero, or has a ± but no coverage.
    """
    named = _NAME.match(text)
    body = text[named.end() :] if named else text
    amount, factor = _without_coverage(body, what)
    if factor is None and named and named["k"]:
        factor = _factor(number(named["k"], what), text, what)
    signed = re.match(rf"^\s*{_SIGN}\s*", amount)
    if factor is None and (signed or (named and "U" in named[0])):
        raise BadInput(
            f"{what}: {text!r} does not say what it covers; write (k=2) or 95% behind it, or "
            "leave ± out for a standard uncertainty"
        )
    amount = amount[signed.end() :] if signed else amount
    read: Callable[[str], float] = (
        (lambda one: number(one, what))
        if plain
        else (lambda one: positive_length_mm(one, what, unit) if factor else length_mm(one, what))
    )
    u = read(amount.strip())
    return Stated(None, u if factor is None else u / factor, None if factor is None else text)


def certified(text: str, what: str = "length", unit: str = "mm") -> Stated:
    """Read a length with or without its expanded uncertainty, as a certificate prints it.

    Parameters
    ----------
    text : str
        For example ``3048mm``, ``3048.60 ± 0.30 mm (k=2)``, ``(3048,6 +/- 0,3) mm, 95 %``. A
        number without a unit has that of the uncertainty.
    what, unit : str
        For the error message: what it is, and the unit that is proposed.

    Returns
    -------
    Stated
        Value and, if it is there, standard uncertainty [mm].

    Raises
    ------
    BadInput
        If it is no length greater than zero, or the uncertainty cannot be read or does not say
        what it covers.
    """
    pair = _PAIR.match(text)
    if pair is None:
        return Stated(positive_length_mm(text, what, unit), None, None)
    left, right = pair["value"].strip(), pair["u"]
    if left.startswith("("):  # (3048.6 ± 0.3) mm
        left, right = left[1:].strip(), re.sub(r"\)", " ", right, count=1)
    amount, _ = _without_coverage(right, what)
    if _BARE.fullmatch(left):
        left += _unit_behind(amount)
    elif _BARE.fullmatch(amount.strip()):
        right = right.replace(amount, amount.rstrip() + _unit_behind(left), 1)
    stated = standard_uncertainty("±" + right, what, unit)
    return Stated(positive_length_mm(left, what, unit), stated.u, text)


def _without_coverage(text: str, what: str) -> tuple[str, float | None]:
    """Split text into the amount and the coverage factor behind it; None without one."""
    match = _COVERAGE.search(text)
    if match is None or not text[: match.start()].strip():
        return text, None
    if match["percent"]:
        share = number(match["percent"], what) / 100
        if not 0.5 <= share < 1:
            raise BadInput(f"{what}: {text!r}: a coverage lies between 50 and 100 %")
        from fringe.student_t import student_quantile

        return text[: match.start()], student_quantile((1 + share) / 2)
    return text[: match.start()], _factor(number(match["k"] or match["sigma"], what), text, what)


def _factor(factor: float, text: str, what: str) -> float:
    if not 1 <= factor <= 10:
        raise BadInput(f"{what}: {text!r}: a coverage factor lies between 1 and 10")
    return factor


def _unit_behind(text: str) -> str:
    match = re.search(r"[^\d\s.,+-].*$", text.strip())
    return "" if match is None else " " + match[0]
