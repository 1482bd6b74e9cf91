"""Photographs that arrive in a folder, each reported once, when its file is complete."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fringe.errors import BadInput

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".dng")
_Stamp = tuple[int, int]


@dataclass
class _Candidate:
    stamp: _Stamp
    since_s: float
    done: bool = False


def photographs_in(folder: Path) -> list[Path]:
    """Photographs of a folder, by their names' endings; `BadInput` where it cannot be read."""
    try:
        found = sorted(folder.iterdir())
    except OSError as error:
        raise BadInput(f"{folder}: cannot be read: {error.strerror}") from error
    return [path for path in found if _is_photograph(path) and path.is_file()]


def _is_photograph(path: Path) -> bool:
    return not path.name.startswith(".") and path.suffix.lower() in ENDINGS


class Arrivals:
    """The photographs of a folder, as they arrive.

    The folder is polled, which also works where a file system sends no notice of changes
    (network shares, synced folders, cameras).

    Parameters
    ----------
    folder : Path
        Its own files are watched, not those of folders in it; names that start with a dot or
        do not end like a photograph's are ignored.
    settle_s : float
        Time without a change of size or date after which a file counts as complete [s].
    include_existing : bool
        Report photographs that are there at the start as well.
    clock : callable
        Monotonic time [s].

    Raises
    ------
    BadInput
        If the folder is not there.
    """

    def __init__(
        self,
        folder: Path,
        *,
        settle_s: float = 2.0,
        include_existing: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if not folder.is_dir():
            raise BadInput(f"{folder}: there is no such folder; make it, or connect the camera")
        self.folder, self.settle_s, self._clock = folder, settle_s, clock
        self._known: dict[Path, _Candidate] = {}
        if not include_existing:
            now = clock()
            self._known = {p: _Candidate(s, now, done=True) for p, s in self._stamps().items()}

    def ready(self) -> list[Path]:
        """Return photographs that are complete and were not returned before, the oldest first.

        A file that was returned and is written again is a new photograph.
        """
        now, stamps = self._clock(), self._stamps()
        for gone in set(self._known) - set(stamps):
            del self._known[gone]
        whole = []
        for path, stamp in stamps.items():
            candidate = self._known.get(path)
            if candidate is None or candidate.stamp != stamp:
                self._known[path] = _Candidate(stamp, now)
            elif not candidate.done and now - candidate.since_s >= self.settle_s and stamp[0] > 0:
                candidate.done = True
                whole.append((stamp[1], path))
        return [path for _, path in sorted(whole)]

    def unchanged_s(self, path: Path) -> float:
        """Time since a file last changed [s]; 0 for one that is gone."""
        candidate = self._known.get(path)
        return 0.0 if candidate is None else self._clock() - candidate.since_s

    def return_again(self, path: Path) -> None:
        """Give a photograph back, to be returned once more."""
        if path in self._known:
            self._known[path].done = False

    @property
    def pending(self) -> int:
        """Number of photographs that are not complete yet."""
        return sum(not candidate.done for candidate in self._known.values())

    def _stamps(self) -> dict[Path, _Stamp]:
        """Size and time of every photograph; none while the folder cannot be reached."""
        stamps: dict[Path, _Stamp] = {}
        try:
            entries = list(self.folder.iterdir())
        except OSError:
            return stamps
        for path in entries:
            if not _is_photograph(path):
                continue
            try:
                stat = path.stat()
            except OSError:  # removed between listing and stat
                continue
            if path.is_file():
                stamps[path] = (stat.st_size, stat.st_mtime_ns)
        return stamps
