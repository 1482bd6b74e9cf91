"""Options and printing that commands share."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from fringe.units import length_mm, positive_length_mm

F = TypeVar("F", bound=Callable[..., Any])


class Length(click.ParamType):  # type: ignore[type-arg]
    """A length with its unit on the command line; the command gets millimetres."""

    name = "length"

    def __init__(self, *, signed: bool = False, unit: str = "mm") -> None:
        self.signed = signed
        self.unit = unit  # what is proposed where none was typed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; a BadInput passes through to the one-line error of `main`."""
        if isinstance(value, float):
            return value
        what = param.opts[0] if param is not None else "length"
        return (length_mm if self.signed else positive_length_mm)(str(value), what, self.unit)


LENGTH = Length()
SIGNED_LENGTH = Length(signed=True)
WAVELENGTH = Length(unit="nm")


def json_option(function: F) -> F:
    """Add `--json`, which the function receives as `as_json`."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON object instead of text."
    )(function)


def print_json(values: Mapping[str, Any]) -> None:
    """Print one JSON object; not-a-number and infinity have no JSON, so they are an error."""
    click.echo(json.dumps(values, allow_nan=False, ensure_ascii=False))
