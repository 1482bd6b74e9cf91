"""Files of the archive's index: a first line with a digest of the rest, whole or not believed.

The first line names what wrote the rest, and how; a file with another first line is of another
program, or damaged, and is as if it were not there. Nothing is lost with it but time.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable
from pathlib import Path

from fringe.errors import BadInput
from fringe.files import write_whole

# The first line of a file, of the digest of the rest.
First = Callable[[str], bytes]


def header(schema: str, **facts: str | int) -> bytes:
    """Beginning of a compact JSON object of these facts, up to the digest of what follows."""
    text = json.dumps({"schema": schema, **facts, "sha256": ""}, separators=(",", ":"))
    return text.removesuffix('"}').encode()


def digest_of(rest: bytes) -> str:
    """SHA-256 of what follows the digest."""
    return hashlib.sha256(rest).hexdigest()


def read_at_most(place: Path, most: int) -> bytes | None:
    """The bytes of a file, up to so many; None where it cannot be read."""
    try:
        with open(place, "rb") as file:
            return file.read(most)
    except OSError:
        return None


def kept_rest(place: Path, first: First, most: int) -> bytes | None:
    """What follows the first line of a file, where that line fits it; None otherwise."""
    data = read_at_most(place, most)
    if data is None:
        return None
    line, _, rest = data.partition(b"\n")
    return rest if line == first(digest_of(rest)) else None


def keep(place: Path, first: First, rest: bytes) -> None:
    """Write a file with its first line, or not at all: then the next reader takes longer."""
    keep_bytes(place, first(digest_of(rest)) + b"\n", rest)


def keep_bytes(place: Path, *parts: bytes) -> None:
    """Write a file of the index, whole or not at all, and make its folder where there is none."""
    with contextlib.suppress(OSError, BadInput):
        place.parent.mkdir(exist_ok=True)
        write_whole(place, *parts, durable=False)
