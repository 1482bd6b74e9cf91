"""How a command answers: JSON or text on standard output, and problems on standard error."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import RenderableType

Values = Mapping[str, object]


def answer(as_json: bool, values: Callable[[], Values], rows: Callable[[], Iterable[str]]) -> None:
    """Print a result as one JSON object or as rows of text; only what is printed is made."""
    if as_json:
        print_json(values())
    else:
        for row in rows():
            click.echo(row)


def print_json(values: Values) -> None:
    """Print one JSON object; not-a-number and infinity have no JSON, so they are an error."""
    click.echo(json.dumps(values, allow_nan=False, ensure_ascii=False))


def show(view: Callable[[int], Iterable[RenderableType]], wide: int = 160) -> None:
    """Print tables and text as wide as the terminal; `wide` columns where there is none."""
    from rich.console import Console

    screen = Console(highlight=False)
    if not screen.is_terminal and "COLUMNS" not in os.environ:
        screen = Console(highlight=False, width=wide)
    for one in view(screen.width):
        screen.print(one)


def tell(problems: Iterable[str]) -> None:
    """Say on standard error what went wrong by the way, a line each."""
    for problem in problems:
        click.echo(f"fringe: {problem}", err=True)


def write_picture(path: Path | None, draw: Callable[[], bytes]) -> None:
    """Write a picture where one was asked for; only then is it drawn."""
    if path is not None:
        from fringe.files import write_whole

        write_whole(path, draw())
