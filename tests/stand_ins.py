"""Stand-ins for a reader of photographs, of a module that other processes can import."""

from __future__ import annotations

import os
import signal
import time
from multiprocessing import parent_process
from pathlib import Path

from fringe.archive.store.session import Photograph
from fringe.errors import BadInput, Refused
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading
from sample_visits import power_reading


def by_name(path: Path) -> Reading:
    """Read power from the file's name; `blank`, `none` and `bug` are what they are called."""
    if path.stem.startswith("blank"):
        raise Refused("no fringes to be seen")
    if path.stem.startswith("none"):
        raise BadInput(f"{path.name}: is not a picture")
    if path.stem.startswith("bug"):
        raise ZeroDivisionError("by zero")
    return power_reading(float(path.stem)).reading


def of_kept(photographs: tuple[Photograph, ...], options: ReadOptions) -> Reading:
    """Read a photograph of a visit, by the name of its file."""
    return by_name(Path(photographs[0].file_name))


def meet(path: Path) -> int:
    """Wait until all files of the folder are being read at once; return this process's number."""
    mark = path.with_suffix(".here")
    mark.touch()
    others = [other.with_suffix(".here") for other in path.parent.glob("*.jpg")]
    for _ in range(60000):
        if all(other.exists() for other in others):
            return os.getpid()
        time.sleep(0.01)
    raise TimeoutError("the others never came")


def die(path: Path) -> Reading:
    """Die as for want of memory, unless it is the first process of all."""
    if parent_process() is not None:
        os.kill(os.getpid(), signal.SIGKILL)
    return by_name(path)


def threads(_: object) -> tuple[int, list[str | None]]:
    """Tell which process this is, and how many threads numeric libraries may start in it."""
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    return os.getpid(), [os.environ.get(name) for name in names]


def slowly(number: int) -> tuple[int, int]:
    """Take some time; return the number and this process's."""
    time.sleep(0.05)
    return number, os.getpid()
