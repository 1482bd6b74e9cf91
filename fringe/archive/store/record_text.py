"""The text of a surface's record: JSON that a person can read, with its own SHA-256."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fringe.errors import BadInput

SCHEMA = "fringe surface"
SCHEMA_VERSION = 1
RESTORE = "restore it from a copy, or remove it to go back to the version before"
_MAX_BYTES = 1_000_000
_ZEROS = "0" * 64


def read_text_record(path: Path) -> dict[str, Any]:
    """Read a record's file and prove that it is as it was written.

    Raises
    ------
    BadInput
        If it is too large, not JSON, not ours, of a newer schema, or was altered.
    """
    try:
        if not path.is_file() or path.stat().st_size > _MAX_BYTES:
            raise BadInput(f"{path}: no file of a surface's record, or too large for one")
        text = path.read_bytes().decode()
        values = json.loads(text)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{path}: the record is damaged; {RESTORE}") from error
    if not isinstance(values, dict) or values.get("schema") != SCHEMA:
        raise BadInput(f"{path}: not a surface's record")
    version = values.get("schema_version")
    if not isinstance(version, int) or version > SCHEMA_VERSION:
        raise BadInput(
            f"{path}: schema version {version} is newer than this program's {SCHEMA_VERSION}; "
            "use a newer fringe"
        )
    digest = values.get("sha256")
    if not isinstance(digest, str) or digest != _digest(_swap(text, digest, _ZEROS)):
        raise BadInput(f"{path}: the record was altered after it was written; {RESTORE}")
    return values


def record_text(record: Mapping[str, Any]) -> str:
    """Return a record's keys and values as the text of its file, digest and all."""
    from importlib.metadata import version

    values = dict(record) | {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "software": f"fringe {version('fringe')}",
        "sha256": _ZEROS,
    }
    text = json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    return _swap(text, _ZEROS, _digest(text))


def _swap(text: str, old: str, new: str) -> str:
    """Replace the last occurrence; a note may hold the same characters further up."""
    head, found, tail = text.rpartition(old)
    return head + new + tail if found else text


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
