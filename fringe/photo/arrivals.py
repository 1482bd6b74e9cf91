"""Photographs that arrive in a folder: each once, and only when it is there whole."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fringe.errors import BadInput

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff")
_Stamp = tuple[int, int]


@dataclass
class _Candidate:
    stamp: _Stamp
    since_s: float
    done: bool = False


class Arrivals:
    """The photographs of a folder, as they come.

    The folder is looked through again and again, which also works where a file system tells
    nobody of changes (network shares, synced folders, cameras).

    Parameters
    ----------
    folder : Path
        Its files are looked at, not those of folders in it; names that start with a dot are
        passed over, as are all that do not end like a photograph.
    still_s : float
        How long a file's size and time must have stood still for it to be whole [s].
    old_too : bool
        Take photographs that are there at the start, too.
    clock : callable
        Seconds that only grow.

    Raises
    ------
    BadInput
        If the folder is not there.
    """

    def __init__(
        self,
        folder: Path,
        *,
        still_s: float = 2.0,
        old_too: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if not folder.is_dir():
            raise BadInput(f"{folder}: there is no such folder; make it, or connect the camera")
        self.folder, self.still_s, self._clock = folder, still_s, clock
        self._known: dict[Path, _Candidate] = {}
        if not old_too:
            now = clock()
            self._known = {p: _Candidate(s, now, done=True) for p, s in self._stamps().items()}

    def ready(self) -> list[Path]:
        """Return photographs that are whole and were not returned before, the oldest first.

        A file that was returned and is written again is a new photograph.
        """
        now, stamps = self._clock(), self._stamps()
        for gone in set(self._known) - set(stamps):
            del self._known[gone]
        found = []
        for path, stamp in stamps.items():
            one = self._known.get(path)
            if one is None or one.stamp != stamp:
                self._known[path] = _Candidate(stamp, now)
            elif not one.done and now - one.since_s >= self.still_s and stamp[0] > 0:
                one.done = True
                found.append((stamp[1], path))
        return [path for _, path in sorted(found)]

    def stood_s(self, path: Path) -> float:
        """How long a file has stood still [s]; 0 for one that is gone."""
        one = self._known.get(path)
        return 0.0 if one is None else self._clock() - one.since_s

    def again(self, path: Path) -> None:
        """Give a photograph back, to be returned once more."""
        if path in self._known:
            self._known[path].done = False

    @property
    def pending(self) -> int:
        """How many photographs are still on their way."""
        return sum(not one.done for one in self._known.values())

    def _stamps(self) -> dict[Path, _Stamp]:
        """Size and time of every photograph; none while the folder is not to be reached."""
        found: dict[Path, _Stamp] = {}
        try:
            entries = list(self.folder.iterdir())
        except OSError:
            return found
        for path in entries:
            if path.name.startswith(".") or path.suffix.lower() not in ENDINGS:
                continue
            try:
                stat = path.stat()
            except OSError:  # gone between the two looks
                continue
            if path.is_file():
                found[path] = (stat.st_size, stat.st_mtime_ns)
        return found
