"""Linear algebra in one thread: a reading solves many small systems, for which threads only cost.

Threads of BLAS wait for each other busily: on two cores that others use as well a reading took
four times as long with them. The command line sets them before numpy is loaded; from Python, where
numpy has its threads already, they are limited while a reading is made and given back after it.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

# what BLAS asks for how many threads when it is loaded
_NAMES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def start_with_one_thread(*, always: bool = False) -> None:
    """Have BLAS start with one thread; to be called before numpy is loaded.

    Where it is loaded already, :func:`one_thread` limits its threads as from Python.

    Parameters
    ----------
    always : bool
        Also where the user asked for more.
    """
    for name in _NAMES:
        os.environ[name] = "1" if always else os.environ.get(name, "1")
    _HELD.all_along = "numpy" not in sys.modules


@contextmanager
def one_thread() -> Iterator[None]:
    """Limit the threads of BLAS while something is calculated; afterwards they are as before.

    A number that the user set in the environment stands. The limit is the process's: while it
    lasts, it holds for other threads too, and the last of several to end gives the threads back.
    """
    if _HELD.all_along:
        yield
        return
    _HELD.take()
    try:
        yield
    finally:
        _HELD.leave()


class _Held:
    """How many calculations hold the limit now, and what gives the threads back."""

    def __init__(self) -> None:
        self.all_along = False  # since numpy was loaded
        self._lock = threading.Lock()
        self._holders = 0
        self._limit: Any = None

    def take(self) -> None:
        """Limit the threads, unless another calculation does already."""
        with self._lock:
            if self._holders == 0:
                self._limit = _libraries("scipy" in sys.modules).limit(
                    limits=_asked_for(), user_api="blas"
                )
            self._holders += 1

    def leave(self) -> None:
        """Give the threads back, unless another calculation still runs."""
        with self._lock:
            self._holders -= 1
            if self._holders == 0:
                self._limit.restore_original_limits()


_HELD = _Held()


@cache
def _libraries(with_scipy: bool) -> Any:
    """The BLAS libraries of this process: numpy's, and scipy's own where that is loaded."""
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def _asked_for() -> int:
    """Threads that the user asked for; one where nothing was said."""
    for name in _NAMES:
        text = os.environ.get(name, "")
        if text.isdigit() and int(text) > 0:
            return int(text)
    return 1
