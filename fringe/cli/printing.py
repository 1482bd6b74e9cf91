"""How a command answers: JSON or text on standard output, and problems on standard error."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.terminal import can_write

if TYPE_CHECKING:
    from rich.console import RenderableType

Values = Mapping[str, object]


def answer(as_json: bool, values: Callable[[], Values], rows: Callable[[], Iterable[str]]) -> None:
    """Print a result as one JSON object or as rows of text; only what is printed is made.

    A visit that is `kept` stays so, whatever becomes of its answer: that is only warned of.
    """
    lines = [_json(values())] if as_json else list(rows())
    try:
        for line in lines:
            click.echo(line)
    except OSError as error:
        made = values()
        if made.get("kept") is not True:
            raise
        drop_output()
        tell([f"visit {made['visit']} is kept, do not log it again; {system_line(error)}"])


def _json(values: Values) -> str:
    """One JSON object; not-a-number and infinity have no JSON, so they are an error."""
    text = json.dumps(values, allow_nan=False, ensure_ascii=False)
    return text if can_write(text) else json.dumps(values, allow_nan=False)


def print_json(values: Values) -> None:
    """Print one JSON object."""
    click.echo(_json(values))


def system_line(error: OSError) -> str:
    """What the system says of a file, or of standard output, in one line.

    What fails to be written has no name where it is standard output: every file that is opened,
    or written by :mod:`fringe.files`, has one. Libraries that tell no number word it themselves.
    """
    why = error.strerror or str(error)
    name = error.filename
    if error.errno is None:
        return why
    if name is None:
        return f"the answer cannot be printed: {why}; look at where standard output goes"
    return f"{os.fsdecode(name) if isinstance(name, bytes) else name}: {why}"


def drop_output() -> None:
    """Let what is still to be printed go nowhere, or the interpreter's end would fail on it."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def show(view: Callable[[int], Iterable[RenderableType]], wide: int = 160) -> None:
    """Print tables and text as wide as the terminal; `wide` columns where there is none."""
    from rich.console import Console

    class Screen(Console):
        """A console that treats a closed pipe like any other output that fails."""

        def on_broken_pipe(self) -> None:
            raise  # within the handler that calls it; its own way ends without a word

    screen = Screen(highlight=False)
    if not screen.is_terminal and "COLUMNS" not in os.environ:
        screen = Screen(highlight=False, width=wide)
    for one in view(screen.width):
        screen.print(one)


def tell(problems: Iterable[str]) -> None:
    """Say on standard error what went wrong by the way, a line each."""
    with contextlib.suppress(OSError):  # there is no one left to tell
        for problem in problems:
            click.echo(f"fringe: {problem}", err=True)


def write_picture(path: Path | None, draw: Callable[[], bytes]) -> None:
    """Write a picture where one was asked for; only then is it drawn."""
    if path is not None:
        from fringe.files import write_whole

        write_whole(path, draw())
