"""Map a function over items on all processors."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

from fringe.parallel import cores

T = TypeVar("T")
R = TypeVar("R")


def in_parallel(function: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
    """Yield the function's results in the order of the items, each as soon as it is there.

    Parameters
    ----------
    function : callable
        Of a module's top level, so that another process can find it.
    items : sequence
        What it is called with, one at a time; must be picklable, as the results.
    """
    workers = min(cores(), len(items))
    if workers < 2:
        yield from map(function, items)
        return
    before = set(multiprocessing.active_children())
    # spawned: a forked child would inherit the threads of a progress bar half-way
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, context, initializer=_set_up)
    try:
        yield from pool.map(function, items)
    except BaseException:
        # the results are not needed any more
        for child in set(multiprocessing.active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _set_up() -> None:
    """Leave an interrupt from the keyboard to the parent process, and end when that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)  # the parent is gone: no results are needed, and no work will come
