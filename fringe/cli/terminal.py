"""Letters that a terminal's encoding lacks are written with what it has."""

from __future__ import annotations

import codecs
import io
import sys

_NAME = "fringe.plain"
_PLAIN = {
    "−": "-",
    "±": "+-",
    "µ": "u",
    "μ": "u",
    "λ": "lambda",
    "°": "deg",
    "²": "2",
    "³": "3",
    "→": "->",
    "…": "...",
    "–": "-",
    "─": "-",
}


def write_with_what_it_has() -> None:
    """Let standard output and error take any text; what they cannot write is put plainly."""
    codecs.register_error(_NAME, _plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_NAME)


def can_write(text: str) -> bool:
    """Whether standard output takes a text letter by letter."""
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return False
    except (AttributeError, LookupError):
        return True
    return True


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    return "".join(_PLAIN.get(letter, "?") for letter in missing), error.end
