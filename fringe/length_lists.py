"""Lengths in a row as people write them: `808um,807.5um`, `376,377um`, `376;377 um`."""

from __future__ import annotations

import re

from fringe.errors import BadInput
from fringe.units import TypedLength, length_mm, positive_length_mm

# A comma separates after a unit, before a blank or a sign; between two digits it may be a decimal.
_SEPARATOR = re.compile(r"(?<=\D),|,(?=\s)|,(?=[+-])|;")
_COMMAS = re.compile(r"(?P<numbers>[+-]?\d[\d.]*(?:,\d[\d.]*)+)\s*(?P<unit>[^\d\s,.].*)?")
_BARE = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+|\d+/\d+)")
# Whole numbers are readings of one thing if they have three digits or more, where a decimal
# with as many would be told from thousands by nobody, and lie within this factor.
_DIGITS, _FACTOR = 3, 2.0


def typed_lengths(
    text: str, what: str = "lengths", unit: str = "mm", *, signed: bool = False
) -> tuple[TypedLength, ...]:
    """Read lengths in a row, in millimetres.

    Parameters
    ----------
    text : str
        Separated by ``;``, or by a comma where that cannot be a decimal one. The last unit counts
        for all numbers before it without one.
    what : str
        What they are, for the error message.
    unit : str
        Unit that the error message proposes where there is none.
    signed : bool
        Whether zero and less are taken.

    Returns
    -------
    tuple of TypedLength
        Each with its own text and unit.

    Raises
    ------
    BadInput
        If one is not a length, or a comma may be a decimal one as well as a separator.
    """
    read = length_mm if signed else positive_length_mm
    words = [word.strip() for word in _SEPARATOR.split(text.replace("−", "-"))]
    split = [each for word in words for each in _at_commas(word, text, what, unit)]
    named: list[str] = []
    last = ""
    for word in reversed(split):
        if _BARE.fullmatch(word):
            named.append(word + last)
        else:
            named.append(word)
            last = _unit_of(word)
    return tuple(TypedLength(read(word, what, unit), word) for word in reversed(named))


def _at_commas(word: str, text: str, what: str, unit: str) -> list[str]:
    """Numbers of a word with commas between digits; the word itself where one is a decimal."""
    match = _COMMAS.fullmatch(word)
    if match is None:
        return [word]
    numbers = match["numbers"].split(",")
    tail = match["unit"] or ""
    separate = [*numbers[:-1], numbers[-1] + tail]
    if any("." in number for number in numbers[:-1]) or _alike(numbers):
        return separate
    if len(numbers) == 2 and "." not in numbers[1] and not _may_be_thousands(numbers):
        return [word]
    named = tail.strip() or unit
    raise BadInput(
        f"{what}: {text!r} may mean decimals, thousands or several readings; put a unit on each, "
        f"as {numbers[0]}{named},{numbers[1]}{named}, or separate them by ;"
    )


def _alike(numbers: list[str]) -> bool:
    """Whether all are whole, of as many digits, and near one another as repeated readings are."""
    digits = [number.lstrip("+-") for number in numbers]
    if not all(each.isdigit() and len(each) >= _DIGITS and each[0] != "0" for each in digits):
        return False
    sizes = [int(each) for each in digits]
    return len({len(each) for each in digits}) == 1 and max(sizes) <= _FACTOR * min(sizes)


def _may_be_thousands(numbers: list[str]) -> bool:
    return len(numbers[1]) == 3 and numbers[0].lstrip("+-")[0] != "0" and len(numbers[0]) <= 4


def _unit_of(word: str) -> str:
    match = re.search(r"[^\d\s.,/+-].*$", word)
    return "" if match is None else match[0]
