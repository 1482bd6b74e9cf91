"""Which program decided: a digest of the code and the tables that verdicts and advice come from.

What the index keeps of a decision counts only under the same code, so that a better program shows
its own answer at once, and one that decides as before works nothing out again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

_PACKAGE = Path(__file__).parents[2]
_ROOMS = ("judge", "optics", "archive/views")
_MODULES = ("format.py", "quantity.py", "student_t.py", "units.py")


@cache
def deciding_code() -> str:
    """Digest of all that decides; the program's version where its source is not there."""
    digest = hashlib.sha256()
    try:
        for name, data in _sources():
            digest.update(f"{name}\0{len(data)}\0".encode() + data)
    except OSError:
        return f"fringe {version('fringe')}"
    return digest.hexdigest()


def _sources() -> Iterator[tuple[str, bytes]]:
    # in a room without its modules the reading of the first one fails
    modules = [_PACKAGE / name for name in _MODULES]
    for room in _ROOMS:
        modules += [_PACKAGE / room / "__init__.py", *sorted((_PACKAGE / room).rglob("*.py"))]
    for path in modules:
        yield path.relative_to(_PACKAGE).as_posix(), path.read_bytes()
    tables = (one for one in files("fringe.calibration").iterdir() if one.name.endswith(".toml"))
    for table in sorted(tables, key=lambda one: one.name):
        yield table.name, table.read_bytes()
