"""Parameter types and options of the commands that calculate: numbers, lengths in a row, light."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

import click

from fringe.cli._options import WAVELENGTH
from fringe.errors import BadInput
from fringe.units import length_mm, number, positive_length_mm

F = TypeVar("F", bound=Callable[..., Any])
NM_PER_MM = 1e6
LABEL = 19  # width of the labels in front of the results


class Number(click.ParamType):  # type: ignore[type-arg]
    """A finite number: a decimal comma is taken as well as a point, and a fraction as `1/4`."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        what = param.opts[0] if param is not None else "number"
        return value if isinstance(value, float) else number(str(value), what)


class Percent(Number):
    """A finite number, with or without its per cent sign."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text as `Number` does."""
        return super().convert(
            value.strip().removesuffix("%") if isinstance(value, str) else value, param, ctx
        )


class PositiveNumber(Number):
    """A finite number greater than zero."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text as `Number` does, and refuse zero and less."""
        read = super().convert(value, param, ctx)
        if read <= 0:
            what = param.opts[0] if param is not None else "number"
            raise BadInput(f"{what}: {value!r} is not greater than zero")
        return read


class LengthList(click.ParamType):  # type: ignore[type-arg]
    """Lengths in a row, as `808um,807.5um`; the command gets (millimetres, text) of each.

    A comma between two digits is a decimal comma, so each length carries its own unit.
    """

    name = "lengths"

    def __init__(self, *, signed: bool = False, unit: str = "mm") -> None:
        self.signed = signed
        self.unit = unit  # what is proposed where none was typed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, str], ...]:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        if isinstance(value, tuple):
            return value
        what = param.opts[0] if param is not None else "lengths"
        read = length_mm if self.signed else positive_length_mm
        words = [word.strip() for word in re.split(r"(?<=\D),|;", str(value).replace("−", "-"))]
        return tuple((read(word, what, self.unit), word) for word in words)


NUMBER = Number()
PERCENT = Percent()
LENGTHS = LengthList()
SIGNED_LENGTHS = LengthList(signed=True)
SAGITTAS = LengthList(signed=True, unit="um")


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
        "--wavelength", type=WAVELENGTH, metavar="L", help="Wavelength in air, as 589.3nm."
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
        raise BadInput(
            f"--wavelength: {wavelength:g} nm is no light that fringes are seen in; "
            "write for example 589.3nm"
        )
    return wavelength


def counted(value: float, what: str, count: int = 4, *, signed: bool = False) -> str:
    """Return a number with what it counts, as `1 fringe` and `1.2 fringes`."""
    from fringe.format import figures

    shown = figures(value, count, signed=signed)
    return f"{shown} {what}" + ("" if shown.strip("+−") == "1" else "s")


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
