"""Parameter types and options of the commands that calculate: numbers, lengths in a row, light."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, TypeVar

import click

from fringe.cli._options import LENGTH
from fringe.errors import BadInput
from fringe.units import length_mm, positive_length_mm

F = TypeVar("F", bound=Callable[..., Any])
NM_PER_MM = 1e6
LABEL = 19  # width of the labels in front of the results


class Number(click.ParamType):  # type: ignore[type-arg]
    """A finite number; a decimal comma is taken as well as a point."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        what = param.opts[0] if param is not None else "number"
        try:
            number = float(str(value).replace("−", "-").replace(",", "."))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise BadInput(f"{what}: {value!r} is no number")
        return number


class PositiveNumber(Number):
    """A finite number greater than zero."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text as `Number` does, and refuse zero and less."""
        number = super().convert(value, param, ctx)
        if number <= 0:
            what = param.opts[0] if param is not None else "number"
            raise BadInput(f"{what}: {value!r} is not greater than zero")
        return number


class LengthList(click.ParamType):  # type: ignore[type-arg]
    """Lengths in a row, as `808um,807.5um`; the command gets (millimetres, text) of each.

    A comma between two digits is a decimal comma, so each length carries its own unit.
    """

    name = "lengths"

    def __init__(self, *, signed: bool = False) -> None:
        self.signed = signed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, str], ...]:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        if isinstance(value, tuple):
            return value
        what = param.opts[0] if param is not None else "lengths"
        read = length_mm if self.signed else positive_length_mm
        words = [word.strip() for word in re.split(r"(?<=\D),|;", str(value).replace("−", "-"))]
        return tuple((read(word, what), word) for word in words)


NUMBER = Number()
LENGTHS = LengthList()
SIGNED_LENGTHS = LengthList(signed=True)


def flat(lists: tuple[tuple[tuple[float, str], ...], ...]) -> list[tuple[float, str]]:
    """All lengths of an option that was given more than once."""
    return [one for each in lists for one in each]


def last_digit_mm(text: str) -> float | None:
    """One count of the last digit of a length as it was written [mm]; None for fractions."""
    match = re.fullmatch(r"\s*[+-]?\d*(?:[.,](\d+))?\s*([^\d\s].*?)\s*", text)
    if match is None:
        return None
    return length_mm(f"1{match[2]}") * 10.0 ** -len(match[1] or "")


def light_options(function: F) -> F:
    """Add `--lamp` and `--wavelength`; :func:`wavelength_nm` makes one number of them."""
    function = click.option(
        "--wavelength", type=LENGTH, metavar="L", help="Wavelength in air, as 589.3nm."
    )(function)
    return click.option(
        "--lamp", metavar="NAME", help="Lamp of the table, or led:PEAK_NM:FWHM_NM."
    )(function)


def wavelength_nm(lamp: str | None, wavelength_mm: float | None) -> float:
    """Wavelength by the lamp's name or as given [nm]; BadInput without either, or with both."""
    if (lamp is None) == (wavelength_mm is None):
        raise BadInput(
            "fringes need one light: --lamp NAME (see `fringe lamps`) or --wavelength 589.3nm"
        )
    if lamp is not None:
        from fringe.optics.lamps import lamp as find

        return find(lamp).wavelength_nm
    assert wavelength_mm is not None
    wavelength = wavelength_mm * NM_PER_MM
    if not 200 <= wavelength <= 2500:
        raise BadInput(f"--wavelength: {wavelength:g} nm is no light that fringes are seen in")
    return wavelength


def line(label: str, text: str) -> str:
    """One line of results: label, then value."""
    return f"  {label:<{LABEL}}{text}"


def wrapped_line(label: str, text: str) -> str:
    """One result whose text may be long: wrapped to the terminal under itself."""
    return _wrapped(line(label, text), " " * (LABEL + 2))


def remark(text: str) -> str:
    """A remark under the results, wrapped to the terminal."""
    return _wrapped(f"! {text}", "  ")


def _wrapped(text: str, indent: str) -> str:
    import shutil
    import textwrap

    width = max(40, min(shutil.get_terminal_size().columns, 100))
    return textwrap.fill(
        text, width, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
    )
