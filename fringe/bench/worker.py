"""Read photographs in a process of its own, one after the other.

So the page stays responsive while a reading runs, a reading can be cancelled at any time, and a
picture that crashes a decoder does not crash the server.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from fringe.archive.store.session import Photograph
from fringe.errors import BadInput, FringeError, Refused
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading

LONGEST_S = 180.0
Result = Reading | FringeError
Done = Callable[[Result], None]


@dataclass(frozen=True)
class Job:
    """A photograph to be read.

    Attributes
    ----------
    data : bytes
        The file's bytes.
    name : str
        For messages.
    options : ReadOptions
        How to read it.
    frames : tuple of Photograph
        All frames of the contact, where it is read from several.
    """

    data: bytes
    name: str
    options: ReadOptions
    frames: tuple[Photograph, ...] = ()


class Reader(Protocol):
    """Reads photographs one after the other, and reports each result by a call."""

    def submit(self, job: Job, started: Callable[[], None], done: Done) -> Callable[[], None]:
        """Queue a photograph; the function returned cancels it, and no result is reported then."""

    def close(self) -> None:
        """End at once."""


def read_job(job: Job) -> Result:
    """Read one photograph, or the frames of one contact; an error is returned as the result."""
    from fringe.archive.views.photographs import read_kept
    from fringe.orders.read import read
    from fringe.photo.load import photo_from_bytes

    try:
        if job.frames:
            return read_kept(job.frames, job.options)
        return read(photo_from_bytes(job.data, job.name), job.options)
    except FringeError as error:
        return type(error)(str(error))
    except MemoryError:
        return BadInput(f"{job.name}: there is not enough memory for it; take a smaller picture")


def _serve(pipe: Connection) -> None:
    """Read what comes through the pipe until it is closed."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to handle
    import fringe.orders.read
    import fringe.photo.load  # noqa: F401  loaded before the first photograph needs them

    with contextlib.suppress(EOFError, OSError):
        while True:
            pipe.send(read_job(pipe.recv()))


@dataclass
class _Order:
    job: Job
    started: Callable[[], None]
    done: Done
    given_up: bool = False


class ProcessReader:
    """Reads in another process, which is started anew when it dies or is given up.

    Parameters
    ----------
    longest_s : float
        A reading that takes longer is given up [s].
    """

    def __init__(self, longest_s: float = LONGEST_S) -> None:
        self.longest_s = longest_s
        self._context = multiprocessing.get_context("spawn")
        self._orders: SimpleQueue[_Order] = SimpleQueue()
        self._closing = threading.Event()
        self._process: Any = None
        self._pipe: Connection | None = None
        self._thread = threading.Thread(target=self._work, name="reader", daemon=True)
        self._thread.start()

    def submit(self, job: Job, started: Callable[[], None], done: Done) -> Callable[[], None]:
        """Queue a photograph; see :class:`Reader`."""
        order = _Order(job, started, done)
        self._orders.put(order)

        def give_up() -> None:
            order.given_up = True

        return give_up

    def close(self) -> None:
        """End the process, whatever it is doing."""
        self._closing.set()
        self._thread.join()

    def _work(self) -> None:
        with contextlib.suppress(OSError, RuntimeError):  # tried again with the first order
            self._start()
        while not self._closing.is_set():
            with contextlib.suppress(Empty):
                order = self._orders.get(timeout=0.2)
                if not order.given_up:
                    order.started()
                    result = self._result(order)
                    if result is not None and not order.given_up:
                        order.done(result)
        self._end()

    def _result(self, order: _Order) -> Result | None:
        """Result of an order; None where it was given up."""
        name = order.job.name
        try:
            if self._process is None or not self._process.is_alive():
                self._start()
            assert self._pipe is not None
            self._pipe.send(order.job)
            waited = 0.0
            while not self._pipe.poll(0.1):
                waited += 0.1
                if order.given_up or self._closing.is_set():
                    self._end()
                    return None
                if waited > self.longest_s:
                    self._end()
                    return Refused(
                        f"{name}: reading took more than {self.longest_s:.0f} s; give the edge, "
                        "or take a smaller picture"
                    )
            result: Result = self._pipe.recv()
        except RuntimeError as error:
            self._end()
            return BadInput(f"{name}: the reader cannot be started: {error}")
        except (EOFError, OSError):
            self._end()
            return BadInput(f"{name}: the picture could not be read; export it again")
        return result

    def _start(self) -> None:
        self._end()
        mine, its = self._context.Pipe()
        self._process = self._context.Process(target=_serve, args=(its,), daemon=True)
        self._process.start()
        its.close()
        self._pipe = mine

    def _end(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
            self._process = None
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None
