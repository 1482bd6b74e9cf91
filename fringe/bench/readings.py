"""Readings of the photographs on the bench: begun, given up for another one, and their results."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from fringe.archive.store.surface import Surface
from fringe.archive.views.laid import as_laid
from fringe.archive.views.reading_options import stated_options
from fringe.bench.settings import Settings
from fringe.bench.shots import Shot
from fringe.bench.worker import Job, Reader, Result
from fringe.errors import FringeError


class Readings:
    """Has photographs read, and puts what comes of it to each.

    Parameters
    ----------
    reader : Reader
    lock : threading.RLock
        Held while a photograph changes.
    changed : callable
        Called with the lock held, after each change.
    """

    def __init__(self, reader: Reader, lock: threading.RLock, changed: Callable[[], None]) -> None:
        self._reader = reader
        self._lock = lock
        self._changed = changed

    def begin(self, shot: Shot, surface: Surface | None, settings: Settings) -> None:
        """Begin to read a photograph, and give up what was begun before."""
        shot.give_up()
        shot.reading, shot.refusal, shot.state, shot.turn = None, "", "waiting", None
        if surface is None:
            shot.state, shot.refusal = "refused", "choose the surface first"
            return
        if (settings.lamp or surface.lamp) is None:
            shot.state, shot.refusal = "refused", "choose the lamp first"
            return
        laid = as_laid(surface, settings.aperture_mm, settings.against)
        shot.options = stated_options(laid, settings.stated(shot.edge))
        shot.turn = turn = object()
        shot.give_up = self._reader.submit(
            Job(shot.data, shot.name, shot.options, shot.photographs if shot.others else ()),
            lambda: self._started(shot, turn),
            lambda result: self._done(shot, turn, result),
        )

    def close(self) -> None:
        """End whatever is being read."""
        self._reader.close()

    def _started(self, shot: Shot, turn: object) -> None:
        with self._lock:
            if shot.turn is turn:
                shot.state, shot.started_s = "reading", time.monotonic()
                self._changed()

    def _done(self, shot: Shot, turn: object, result: Result) -> None:
        with self._lock:
            if shot.turn is not turn:
                return  # a newer reading of it is running
            if isinstance(result, FringeError):
                shot.state, shot.refusal = "refused", str(result)
            else:
                shot.state, shot.reading = "read", result
            self._changed()
