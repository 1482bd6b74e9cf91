"""What a session's file must hold: each missing or strange part is one line that names the file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fringe.archive.store import hdf5
from fringe.archive.store.layout import MAX_VALUE
from fringe.errors import BadInput


def need(group: Any, name: str) -> Any:
    """A group that must be there."""
    item = hdf5.member(group, name)
    if item is None or hasattr(item, "shape"):
        raise not_ours(group, f"it has no group {name}")
    return item


def needed_text(item: Any, name: str) -> str:
    """A text attribute that must be there."""
    value: str | None = hdf5.text(item, name)
    if value is None:
        raise not_ours(item, f"it has no {name}")
    return value


def needed_number(item: Any, name: str) -> float:
    """A number that must be there."""
    value = hdf5.number(item, name)
    if value is None:
        raise not_ours(item, f"it has no {name}")
    return value


def time(item: Any, name: str) -> datetime:
    """A time with its zone, from ISO 8601."""
    value = datetime.fromisoformat(needed_text(item, name))
    if value.utcoffset() is None:
        raise not_ours(item, f"{name} has no time zone")
    return value


def mapping(item: Any, name: str) -> dict[str, Any]:
    """A JSON object; empty where there is none."""
    value = hdf5.text(item, name)
    if value is None:
        return {}
    try:
        values = json.loads(value)
    except (ValueError, RecursionError) as error:
        raise not_ours(item, f"{name} is not JSON") from error
    if not isinstance(values, dict):
        raise not_ours(item, f"{name} is not a JSON object")
    return values


def flag(item: Any, names: tuple[str, ...], value: Any) -> str:
    """Name of a flag's value."""
    if value is None or not 0 <= value < len(names):
        raise not_ours(item, f"an unknown flag {value}")
    return names[int(value)]


def check_values(item: Any, values: Mapping[str, Any]) -> None:
    """Refuse numbers that no visit measures, by their names; None is what was not measured."""
    for name, value in values.items():
        if not isinstance(value, int | float) or isinstance(value, bool):
            continue
        if not abs(value) <= MAX_VALUE:
            raise not_ours(item, f"{name} is {value:g}, which cannot be")
        if value < 0 and ("_u_" in name or "_u95_" in name or name == "wavelength_nm"):
            raise not_ours(item, f"{name} is {value:g}, and must not be negative")


def not_ours(item: Any, what: str) -> BadInput:
    """The refusal of a file that says something no session of ours does."""
    return BadInput(f"{item.file.filename}: not a session of fringe: {what}")
