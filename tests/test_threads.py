"""BLAS threads while something is calculated from Python, and afterwards."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

# In a process of its own: the threads of this one are limited before numpy is loaded.
_PLAIN_USER = """
import os, sys, threading
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.pop(name, None)
import fringe
assert "numpy" not in sys.modules and "threadpoolctl" not in sys.modules
import fringe.orders.read as module
from fringe.errors import Refused
from fringe.photo.load import photo_from_array
from fringe.threads import one_thread
from threadpoolctl import ThreadpoolController
import numpy as np

blas = ThreadpoolController().select(user_api="blas")
blas.limit(limits=3)  # as a user has it, on a machine of few cores, too
threads = lambda: {one["num_threads"] for one in blas.info()}
before = threads()
seen = []
real = module._read
module._read = lambda *what: (seen.append(threads()), real(*what))[1]
grey = photo_from_array(np.full((64, 64), 90, np.uint8))
try:
    fringe.read(grey, lamp="sodium")
except Refused:
    print("refused")
print(before == {3}, seen == [{1}], threads() == {3})

# two at once, the first of which ends first
first, second = one_thread(), one_thread()
first.__enter__(), second.__enter__(), first.__exit__(None, None, None)
print(threads() == {1})
second.__exit__(None, None, None)
print(threads() == {3})
os.environ["OMP_NUM_THREADS"] = "2"
with one_thread():
    print(threads() == {2})
"""


def test_threads_are_limited_within_a_reading_and_given_back() -> None:
    """One thread while a picture is read, also where it is refused; then as many as before.

    Several at once give them back when the last ends, and what the user asked for stands.
    """
    done = subprocess.run(
        [sys.executable, "-c", _PLAIN_USER],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent,
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout.split("\n") == ["refused", "True True True", "True", "True", "True", ""]


def test_the_command_line_starts_with_one_thread() -> None:
    """Before numpy is loaded the environment says so, and what the user said there stays."""
    code = (
        "import os, sys; os.environ['OPENBLAS_NUM_THREADS'] = '4';"
        "os.environ.pop('OMP_NUM_THREADS', None);"
        "from fringe.threads import one_thread, start_with_one_thread; start_with_one_thread();"
        "exec('with one_thread(): pass');"
        "print(os.environ['OPENBLAS_NUM_THREADS'], os.environ['OMP_NUM_THREADS'],"
        " 'threadpoolctl' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "4 1 False\n"
