"""The one pool of the program: many items at once, on this machine's cores or on a cluster.

Both use an executor of :mod:`concurrent.futures`; results come in the order of the items.
"""

from __future__ import annotations

import itertools
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from multiprocessing import active_children, get_context, parent_process
from typing import Any, Protocol, TypeVar, cast

from fringe.errors import BadInput, FringeError, Refused
from fringe.threads import start_with_one_thread

T = TypeVar("T")
U = TypeVar("U")


class WorkerKilled(BadInput):
    """A process of the pool ended before its work was done."""


class Named(Protocol):
    """What is read: a file's path, or something else that messages can name."""

    @property
    def name(self) -> str:
        """The file's name."""


N = TypeVar("N", bound=Named)
_SECONDS = 10  # within which a scheduler must answer


def cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def read_many(
    paths: Sequence[N],
    reader: Callable[[N], T],
    *,
    workers: int | None = None,
    scheduler: str | None = None,
) -> tuple[T | Refused, ...]:
    """Read photographs side by side.

    Parameters
    ----------
    paths : sequence of Path, or of anything with a `name`
        Photographs. Workers of a cluster must find files under the same names.
    reader : callable
        Makes a reading of one photograph. Unless one worker does it all, it must be a
        function of a module, or an instance of a class of one, so that it can be sent.
    workers : int or None
        Processes on this machine; None takes one a core, 1 reads here and now.
    scheduler : str or None
        Address of a Dask scheduler that reads instead, as `tcp://10.0.0.7:8786`.

    Returns
    -------
    tuple of Reading or Refused
        In the order of `paths`; what would not be read stands there with its reason.

    Raises
    ------
    BadInput
        For the first photograph, in the order of `paths`, that is none; the line names it.
        Also if a worker is killed, or no scheduler answers.
    """
    found: list[T | Refused] = []
    for answer in read_each(paths, reader, workers=workers, scheduler=scheduler):
        if isinstance(answer, FringeError) and not isinstance(answer, Refused):
            raise answer
        found.append(answer)  # type: ignore[arg-type]
    return tuple(found)


def read_each(
    paths: Sequence[N],
    reader: Callable[[N], T],
    *,
    workers: int | None = None,
    scheduler: str | None = None,
) -> tuple[T | FringeError, ...]:
    """Read photographs as :func:`read_many` does; what is no photograph stands for itself, too."""
    answers = run_many(partial(_attempt, reader), paths, workers=workers, scheduler=scheduler)
    return tuple(answers)


def run_many(
    function: Callable[[T], U],
    items: Sequence[T],
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    tell: Callable[[int, int], None] | None = None,
) -> list[U]:
    """Call a function for each item, side by side; answers come in the order of the items.

    Parameters
    ----------
    function : callable
        As `reader` in :func:`read_many`.
    items : sequence
        What to call it with.
    workers, scheduler
        As in :func:`read_many`.
    tell : callable or None
        Told how many items are done, of how many.

    Raises
    ------
    BadInput
        If a worker is killed, or no scheduler answers; and whatever the function raises.
    """
    if workers is not None and workers < 1:
        raise BadInput(f"workers: {workers} cannot do anything; give 1 or more")
    count = min(workers or cores(), len(items))
    one_done = _counter(len(items), tell)
    if scheduler is None and count <= 1:
        return [_counted(function, item, one_done) for item in items]
    if scheduler is not None:
        with _cluster(scheduler) as executor:
            return _answers(executor, function, items, one_done)
    # this process is one of the workers: it has everything loaded already
    with _pool(count - 1) as executor:
        return _answers(executor, function, items, one_done, here=True)


def _counter(total: int, tell: Callable[[int, int], None] | None) -> Callable[[], None]:
    """What is to be called after each item, from whatever thread."""
    done, lock = itertools.count(1), threading.Lock()

    def one_done() -> None:
        if tell is not None:
            with lock:
                tell(next(done), total)

    return one_done


def _counted(function: Callable[[T], U], item: T, one_done: Callable[[], None]) -> U:
    answer = function(item)
    one_done()
    return answer


def in_order(
    function: Callable[[T], U],
    items: Sequence[T],
    *,
    workers: int | None = None,
    pool: Executor | None = None,
) -> Iterator[U]:
    """Give the function's results in the order of the items, each as soon as it is there.

    This process is free for what is done with them; see :func:`run_many` for the rest. With a
    pool of :func:`shared_pool` its processes do the work, and begin at once.
    """
    if pool is not None:
        return _submitted(pool, function, items)
    return _begun_when_asked(function, items, min(workers or cores(), len(items)))


def _begun_when_asked(function: Callable[[T], U], items: Sequence[T], count: int) -> Iterator[U]:
    if count < 2:
        yield from map(function, items)
        return
    with _pool(count) as executor:
        yield from _submitted(executor, function, items)


def _submitted(pool: Executor, function: Callable[[T], U], items: Sequence[T]) -> Iterator[U]:
    """The results in order; a pool of which a process dies meanwhile is broken, however it fails.

    Until the pool knows that a process was killed it tries to start others, with handles that are
    being closed. Errors of the function come later, with its result.
    """
    try:
        return pool.map(function, items)
    except (OSError, ValueError) as error:
        raise BrokenProcessPool(str(error)) from error


@contextmanager
def shared_pool() -> Iterator[Executor | None]:
    """Give a pool for several calls of :func:`in_order`; None where there is one core.

    Its processes start with the first items. For what comes later they have everything loaded,
    which takes longer than reading a photograph.
    """
    if cores() < 2:
        yield None
        return
    with _pool(cores()) as executor:
        yield executor


def _answers(
    executor: Executor,
    function: Callable[[T], U],
    items: Sequence[T],
    one_done: Callable[[], None],
    *,
    here: bool = False,
) -> list[U]:
    """Process items; with `here` this process does the last one, and those not yet begun."""
    away = len(items) - here
    futures = [executor.submit(function, item) for item in items[:away]]
    for future in futures:
        future.add_done_callback(lambda done: None if done.cancelled() else one_done())
    try:
        own = [_counted(function, item, one_done) for item in items[away:]]
        while here and futures and futures[-1].cancel():
            futures.pop()
            own.append(_counted(function, items[len(futures)], one_done))
        return [*(future.result() for future in futures), *reversed(own)]
    finally:  # after an error the rest need not be done
        for future in futures:
            future.cancel()


def run_apart(function: Callable[[T], U], items: Sequence[T]) -> list[U | None]:
    """Call a function for each item in another process, which may die of it.

    Returns
    -------
    list
        In the order of the items; None where the process died.
    """
    found: list[U | None] = []
    while len(found) < len(items):
        try:
            with _processes(1) as pool:
                found.extend(pool.submit(function, item).result() for item in items[len(found) :])
        except BrokenProcessPool:
            found.append(None)
    return found


@contextmanager
def _pool(workers: int) -> Iterator[Executor]:
    try:
        with _processes(workers) as pool:
            yield pool
    except BrokenProcessPool as error:
        raise WorkerKilled(
            "a worker process was killed, probably out of memory; try again with --workers 1"
        ) from error


@contextmanager
def _processes(workers: int) -> Iterator[Executor]:
    """Start the pool; when something goes wrong its processes end at once."""
    before = set(active_children())
    # spawned, not forked: a fork would copy locks that threads of this process hold
    pool = ProcessPoolExecutor(workers, get_context("spawn"), _set_up)
    try:
        yield pool
    except BaseException:
        # nobody waits for results any more
        for child in set(active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


@contextmanager
def _cluster(scheduler: str) -> Iterator[Executor]:
    import asyncio

    try:
        from distributed import Client, KilledWorker
        from distributed.comm.core import connect
    except ImportError as error:
        raise BadInput("a cluster needs Dask: pip install 'fringe[cluster]'") from error

    new_client, reach = cast(Any, Client), cast(Any, connect)  # they have no annotations

    async def greet() -> None:
        comm = await reach(scheduler, timeout=_SECONDS)
        await comm.close()

    try:
        # asked before a client is made: one that finds no scheduler is left half alive, and
        # once collected it may stop the next for ever
        asyncio.run(asyncio.wait_for(greet(), _SECONDS))
        client = new_client(scheduler, timeout=_SECONDS, set_as_default=False)
    except Exception as error:  # an address that makes no sense raises many kinds
        raise BadInput(f"{scheduler}: no Dask scheduler answers there") from error
    with client:
        try:
            yield client.get_executor(pure=False)
        except KilledWorker as error:
            raise BadInput(
                f"{scheduler}: worker processes were killed, probably out of memory; "
                "read fewer at once"
            ) from error


def _set_up() -> None:
    """Set up a worker; it has not loaded any numeric library yet.

    An interrupt from the keyboard is left to the parent process, and a worker ends with it.
    """
    # workers share the cores already; more threads inside each get in each other's way
    start_with_one_thread(always=True)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)  # it was killed: nobody waits for results, nor sends more work


def _attempt(reader: Callable[[N], T], path: N) -> T | FringeError:
    """Read one photograph; what is foreseen comes back as a value that names the file."""
    try:
        return reader(path)
    except FringeError as error:
        named = path.name in str(error)
        return error if named else type(error)(f"{path.name}: {error}")
    except Exception as error:
        error.add_note(f"while reading {path}")
        raise
