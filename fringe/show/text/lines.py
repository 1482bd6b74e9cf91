"""Rows of text as all commands print them: a label and its value, a remark, a count."""

from __future__ import annotations

import shutil
import textwrap

from fringe.format import figures

LABEL = 19  # width of the labels in front of the results


def counted(value: float, what: str, count: int = 4, *, signed: bool = False) -> str:
    """Return a number with what it counts, as `1 fringe` and `1.2 fringes`."""
    shown = figures(value, count, signed=signed)
    return f"{shown} {what}" + ("" if shown.strip("+−") == "1" else "s")


def how_many(count: int, what: str) -> str:
    """Return a whole number with what it counts, as `1 file` and `12 files`."""
    return f"{count} {what}" + ("" if count == 1 else "s")


def line(label: str, text: str, width: int = LABEL) -> str:
    """One line of results: label, then value."""
    return f"  {label:<{width}}{text}"


def wrapped_line(label: str, text: str, width: int = LABEL) -> str:
    """One result whose text may be long: wrapped to the terminal under itself."""
    return _wrapped(line(label, text, width), " " * (width + 2))


def remark(text: str) -> str:
    """A remark under the results, wrapped to the terminal."""
    return _wrapped(f"! {text}", "  ")


def line_width() -> int:
    """Columns that a row may have, on this terminal."""
    return max(40, min(shutil.get_terminal_size().columns, 100))


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(
        text, line_width(), subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
    )
