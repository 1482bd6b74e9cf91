"""The bench on disk: what is not logged yet outlives the program, the machine and its power.

It lies in a folder of the archive, `.bench`: one file says what is on the bench, and each
photograph is a file beside it, named by its content. The photographs are there before the file
that names them, and each file is whole or not at all, so whatever ends the program leaves the
bench as it was before or after a change. What is removed is deleted at once, what is logged when
it cannot be taken back any more; so it never holds more than two benches may.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from fringe.archive.store.claim import held
from fringe.archive.store.layout import BENCH_FOLDER
from fringe.archive.store.session import Photograph
from fringe.bench.logged_once import LoggedOnce
from fringe.bench.settings import Settings
from fringe.bench.shots import Shot
from fringe.bench.taken import Taken
from fringe.bench.undo import Undoable
from fringe.errors import BadInput
from fringe.files import PARTIAL, make_folders, write_whole
from fringe.photo.ellipse import Edge

_FILE, _SCHEMA = "bench.json", 1
NOTHING = Taken()
MOST_REMEMBERED = 50  # visits that are known to have been on the bench


@dataclass(frozen=True)
class Content:
    """What is on the bench.

    Attributes
    ----------
    visit : str
        Identity of the visit at hand.
    settings : Settings
    shots : tuple of Shot
    taken : Taken
        What was read without a photograph.
    begun : mapping
        For which surface each visit was begun, by its identity.
    logged : mapping
        What was logged, by the visit's identity.
    last : Undoable or None
        The visit that was logged last, as long as it can be taken back.
    undone : frozenset of str
        Digests of photographs on the bench that are in a visit that was taken back.
    """

    visit: str
    settings: Settings
    shots: tuple[Shot, ...] = ()
    taken: Taken = NOTHING
    begun: Mapping[str, str | None] = field(default_factory=dict)
    logged: Mapping[str, LoggedOnce] = field(default_factory=dict)
    last: Undoable | None = None
    undone: frozenset[str] = frozenset()

    @property
    def all_shots(self) -> tuple[Shot, ...]:
        """Photographs on the bench, and those of a visit that can be taken back."""
        return self.shots if self.last is None else (*self.shots, *self.last.shots)


class KeptBench:
    """The folder of a bench, held as long as the program runs.

    Parameters
    ----------
    archive : Path

    Raises
    ------
    BadInput
        If another bench page is open on this archive.
    """

    def __init__(self, archive: Path) -> None:
        self.folder = archive / BENCH_FOLDER
        self.problem = ""  # why the bench is not kept, where it is not
        self._held = ExitStack()
        self._names: set[str] = set()
        try:
            make_folders(self.folder)
        except OSError as error:
            self.problem = f"{self.folder}: cannot be made: {error.strerror}"
            return
        try:
            self._held.enter_context(held(self.folder, patience_s=0.0))
        except BadInput as error:
            raise BadInput(
                f"{archive}: a bench page is open on this archive already; use that one, or end "
                "it first"
            ) from error

    def load(self) -> Content | None:
        """What was on the bench when it was kept last; None where nothing was, or it is damaged."""
        try:
            values = json.loads((self.folder / _FILE).read_text("utf-8"))
            if values["schema"] != _SCHEMA:
                raise ValueError(values["schema"])
            return Content(
                values["visit"],
                Settings.from_json(values["settings"]),
                self._shots(values["shots"]),
                Taken.from_json(values.get("taken", {})),
                values["begun"],
                {key: LoggedOnce(**one) for key, one in values["logged"].items()},
                self._last(values.get("last")),
                frozenset(values.get("undone", ())),
            )
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            self.problem = f"{self.folder / _FILE}: what was on the bench cannot be read"
            return None

    def save(self, content: Content) -> None:
        """Keep what is on the bench; where that cannot be done, `problem` says why."""
        try:
            for shot in content.all_shots:
                for one in shot.photographs:
                    self._put(f"{one.sha256}.photograph", one.data)
                self._put(f"{shot.sha256}.preview", shot.preview)
            text = json.dumps(_values(content), ensure_ascii=False)
            write_whole(self.folder / _FILE, text.encode())
        except BadInput as error:
            self.problem = str(error)
            return
        self.problem = ""
        self._sweep(digest for shot in content.all_shots for digest in shot.digests)

    def close(self) -> None:
        """Let another program have the bench."""
        self._held.close()

    def _put(self, name: str, data: bytes) -> None:
        if name not in self._names:
            write_whole(self.folder / name, data)
            self._names.add(name)

    def _sweep(self, digests: Iterable[str]) -> None:
        """Delete photographs that are not on the bench any more, and drafts of a killed writer."""
        wanted = set(digests)
        for path in self.folder.iterdir():
            old = path.suffix in (".photograph", ".preview") and path.stem not in wanted
            if old or path.name.endswith(PARTIAL):
                self._names.discard(path.name)
                with contextlib.suppress(OSError):
                    path.unlink()

    def _shots(self, values: Sequence[Mapping[str, Any]]) -> tuple[Shot, ...]:
        found = [self._shot(one) for one in values]
        return tuple(shot for shot in found if shot is not None)

    def _last(self, values: Mapping[str, Any] | None) -> Undoable | None:
        """The visit that was logged last; None where it cannot be taken back."""
        if not values:
            return None
        last = Undoable(
            values["visit"],
            values["surface"],
            values["number"],
            (),
            Taken.from_json(values["taken"]),
            Settings.from_json(values["settings"]),
            values["logged_s"],
        )
        return replace(last, shots=self._shots(values["shots"])) if last.seconds_left else None

    def _shot(self, values: Mapping[str, Any]) -> Shot | None:
        """A photograph of the bench; None where its file is not what was kept."""
        digest = values["sha256"]
        try:
            data = self._photograph(digest)
            others = tuple(
                Photograph(one["name"], self._photograph(one["sha256"]), one["media_type"])
                for one in values.get("others", ())
            )
            preview = (self.folder / f"{digest}.preview").read_bytes()
        except (OSError, ValueError):
            self.problem = f"{values['name']}: this photograph of the bench was lost"
            return None
        self._names.add(f"{digest}.preview")
        return Shot(
            values["id"],
            values["name"],
            values["media_type"],
            data,
            datetime.fromisoformat(values["taken"]),
            None if values["noted"] is None else datetime.fromisoformat(values["noted"]),
            values["width"],
            values["height"],
            preview,
            others,
            place_mm=_pair(values.get("place_mm")),
            said=None if not values.get("said") else datetime.fromisoformat(values["said"]),
            edge=values["edge"] if isinstance(values["edge"], str) else Edge(**values["edge"]),
        )

    def _photograph(self, digest: str) -> bytes:
        """Bytes of a kept photograph; `ValueError` where they are not what was kept."""
        data = (self.folder / f"{digest}.photograph").read_bytes()
        if hashlib.sha256(data).hexdigest() != digest:
            raise ValueError(digest)
        self._names.add(f"{digest}.photograph")
        return data


def _pair(value: Sequence[float] | None) -> tuple[float, float] | None:
    return None if value is None else (float(value[0]), float(value[1]))


def _values(content: Content) -> dict[str, Any]:
    """The bench in a form that JSON has; of old visits the latest are remembered."""
    return {
        "schema": _SCHEMA,
        "visit": content.visit,
        "settings": content.settings.to_json(),
        "shots": [_shot_values(shot) for shot in content.shots],
        "taken": content.taken.to_json(),
        "begun": dict(list(content.begun.items())[-MOST_REMEMBERED:]),
        "logged": {
            key: {"result": one.result, "said": one.said, "words": one.words}
            for key, one in list(content.logged.items())[-MOST_REMEMBERED:]
        },
        "last": None if content.last is None else _last_values(content.last),
        "undone": sorted(content.undone),
    }


def _last_values(last: Undoable) -> dict[str, Any]:
    return {
        "visit": last.visit_id,
        "surface": last.surface,
        "number": last.number,
        "shots": [_shot_values(shot) for shot in last.shots],
        "taken": last.taken.to_json(),
        "settings": last.settings.to_json(),
        "logged_s": last.logged_s,
    }


def _shot_values(shot: Shot) -> dict[str, Any]:
    edge = shot.edge
    return {
        "id": shot.id,
        "name": shot.name,
        "media_type": shot.media_type,
        "sha256": shot.sha256,
        "others": [
            {"name": one.file_name, "media_type": one.media_type, "sha256": one.sha256}
            for one in shot.others
        ],
        "taken": shot.taken.isoformat(),
        "noted": None if shot.noted is None else shot.noted.isoformat(),
        "said": None if shot.said is None else shot.said.isoformat(),
        "place_mm": shot.place_mm,
        "width": shot.width,
        "height": shot.height,
        "edge": edge if isinstance(edge, str) else dict(vars(edge)),
    }
