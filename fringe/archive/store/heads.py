"""What a list of surfaces shows of each, in one file for a whole archive: `.index/surfaces.list`.

A head counts only while the stamp of its surface's folder fits, as an entry of the index does;
beside it stands what was decided of the surface, which whoever decides keys by what it hangs on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from fringe.archive.store import index
from fringe.archive.store.index import LISTED, Entry
from fringe.archive.store.kept_file import digest_of, keep, kept_rest
from fringe.archive.store.kept_summaries import (
    FOLDER,
    SCHEMA_VERSION,
    fields_digest,
    summaries_hold,
    summaries_place,
)
from fringe.archive.store.moves import finish_moves
from fringe.archive.store.surface import Surface, surface_from_values
from fringe.judge.state.reference import partner_of

_MAX_BYTES = 200_000_000
_HEAD = "head"
_DECIDED = "decided"


@dataclass(frozen=True)
class Head:
    """What a list shows of a surface, and what tells whether that changed.

    Attributes
    ----------
    folder : Path
        Where it lies.
    stamp : str or None
        Of the folder; None where it is not to be relied on.
    values : mapping
        As the index keeps them.
    decided : mapping
        What was decided of it, as whoever decided wrote it; empty where nothing is known.
    """

    folder: Path
    stamp: str | None
    values: Mapping[str, Any]
    decided: Mapping[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Of the surface; of its folder where the record cannot be read."""
        record = self.values["record"]
        return self.folder.name if record is None else str(record["name"])

    @cached_property
    def surface(self) -> Surface | None:
        """Its record; None if it cannot be read."""
        record = self.values["record"]
        return None if record is None else surface_from_values(record, self.folder)

    @property
    def content(self) -> str:
        """Digest of its record and its visits."""
        return str(self.values["content"])

    @property
    def partner(self) -> str | None:
        """The piece that it is made to; None: its plate."""
        return self.values["partner"] and str(self.values["partner"])

    @property
    def diameter_mm(self) -> float | None:
        """Of its aperture; None where the record cannot be read."""
        record = self.values["record"]
        return None if record is None else float(record["diameter_mm"])

    @property
    def problems(self) -> tuple[str, ...]:
        """What cannot be read of it, a line each."""
        return index.shown_problems(self.values["problems"], self.folder)


def content_of(entry: Entry) -> str:
    """Digest of a surface's record and its visits."""
    return digest_of(index.text_of(entry).encode())


@dataclass(frozen=True)
class Heads:
    """The heads of all surfaces of an archive.

    Attributes
    ----------
    heads : tuple of Head
        In the order of their folders' names.
    changed : bool
        Whether these are others than those that are kept.
    """

    heads: tuple[Head, ...]
    changed: bool


def list_heads(archive: Path, *, now_ns: int | None = None) -> Heads:
    """List the heads of an archive's surfaces, as kept or from their files.

    Raises
    ------
    BadInput
        If the archive is not a folder.
    """
    finish_moves(archive)
    kept = _kept(archive)
    found = {folder: _kept_head(folder, kept, now_ns) for folder in index.folders_of(archive)}
    changed = [folder for folder, one in found.items() if not isinstance(one, Head)]
    entries = {entry.folder: entry for entry, _ in index.look_up(changed, now_ns)}
    heads = []
    for folder, one in found.items():
        if isinstance(one, Head):
            heads.append(one)
        elif folder in entries:
            decided = kept.get(folder.name, {}).get(_DECIDED, {})
            heads.append(Head(folder, one, _values(entries[folder]), decided))
    index.forget_others(archive, [one.folder.name for one in heads])
    trusted = {one.folder.name: one.stamp for one in heads if one.stamp is not None}
    return Heads(tuple(heads), trusted != {name: one["stamp"] for name, one in kept.items()})


def kept_heads(archive: Path) -> dict[str, Any]:
    """The heads as they are kept, by the names of their folders."""
    return _kept(archive)


def index_problems(folder: Path, kept: Mapping[str, Any]) -> list[str]:
    """Compare what the index relies on of a surface with its files; one line a contradiction.

    Parameters
    ----------
    folder : Path
        The surface's.
    kept : mapping
        Its head, from :func:`kept_heads`; empty without one.
    """
    entry = index.kept_entry(folder)
    stamp = index.stamp_if_readable(folder)
    head = kept if stamp is not None and kept.get("stamp") == stamp.digest else None
    many = summaries_place(folder)
    if entry is None and head is None and not many.exists():
        return []
    truth = index.entry_of(folder, anew=True)
    text = index.text_of(truth)  # as text: what is not a number equals nothing, itself included
    lies = []
    if entry is not None and index.text_of(entry) != text:
        lies.append(index.entry_place(folder))
    if many.exists() and not summaries_hold(folder):
        lies.append(many)
    if head is not None and json.dumps(head[_HEAD]) != json.dumps(_values(truth)):
        lies.append(folder.parent / FOLDER / LISTED)
    return [
        f"{place}: it does not say what the files of {folder.name} say; remove it" for place in lies
    ]


def keep_heads(archive: Path, heads: Sequence[Head]) -> None:
    """Keep these for the next list; where that cannot be, it takes longer."""
    surfaces = {
        one.folder.name: {"stamp": one.stamp, _HEAD: one.values, _DECIDED: one.decided}
        for one in heads
        if one.stamp is not None
    }
    rest = json.dumps(surfaces, separators=(",", ":")).encode()
    keep(archive / FOLDER / LISTED, _first, rest)


def _kept(archive: Path) -> dict[str, Any]:
    rest = kept_rest(archive / FOLDER / LISTED, _first, _MAX_BYTES)
    try:
        found = {} if rest is None else json.loads(rest)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _first(digest: str) -> bytes:
    values = {"schema": "fringe surfaces", "schema_version": SCHEMA_VERSION}
    return json.dumps(values | {"fields": fields_digest(), "sha256": digest}).encode()


def _kept_head(folder: Path, kept: Mapping[str, Any], now_ns: int | None) -> Head | str | None:
    """A surface's head where it is kept; else its stamp, None where that is not to be relied on."""
    stamp = index.stamp_if_readable(folder)
    if stamp is None:
        return None
    one = kept.get(folder.name, {})
    if one.get("stamp") == stamp.digest:
        return Head(folder, stamp.digest, one[_HEAD], one[_DECIDED])
    return stamp.digest if stamp.settled(now_ns) else None


def _values(entry: Entry) -> dict[str, Any]:
    surface, visits = entry.surface, entry.visits
    plate = None if surface is None else surface.plate.name
    stages = [one.work.stage for one in visits if one.work.stage]
    return {
        "record": None if surface is None else surface.to_json(),
        "content": content_of(entry),
        "visits": len(visits),
        "sessions": entry.sessions,
        "last_visit": visits[-1].when.isoformat() if visits else None,
        "stage": stages[-1] if stages else None,
        "hours": sum(one.work.minutes or 0.0 for one in visits) / 60,
        "partner": partner_of(visits, plate),
        "problems": index.stored_problems(entry.problems, entry.folder),
    }
