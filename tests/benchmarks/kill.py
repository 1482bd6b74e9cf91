"""Kill a writer at random moments, a thousand times, and look at what is left.

    python tests/benchmarks/kill.py               1,000 kills
    python tests/benchmarks/kill.py --kills 50

A process logs visits without end until SIGKILL takes it somewhere in the middle. After each
kill every session that was there before must be the same file, every session that the writer
told of must be there, and at most one more; the newcomers are proven byte by byte. Every
hundred kills the whole archive is checked and a new one begun. Any loss ends the run.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.archive.store.surface import Surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_session
from sample_visits import full_surface, full_visit, plain_visit

ROUND = 100


def write_without_end(surface: Surface, seed: int, told: int) -> None:
    """Log without end, and tell of each visit when it is done.

    Most of a large visit's time goes into its building; in small ones the writing is hit more.
    """
    visits = [plain_visit()] if seed % 4 else [full_visit(np.random.default_rng(seed))]
    while True:
        for visit in visits:
            os.write(told, log_visit(surface, visit).name.encode() + b"\n")


def killed_after(surface: Surface, rng: np.random.Generator) -> list[str]:
    """Start a writer, kill it at some moment, and return what it had told of."""
    read, write = os.pipe()
    seed = int(rng.integers(1 << 30))
    child = os.fork()
    if child == 0:
        os.close(read)
        write_without_end(surface, seed, write)
    os.close(write)
    time.sleep(float(rng.uniform(0, 0.6)))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read, "rb") as pipe:
        return pipe.read().decode().split()


def facts(folder: Path) -> dict[str, tuple[int, int]]:
    """Size and time of each session's file."""
    found = {path.name: path.stat() for path in folder.glob("[0-9]*.h5")}
    return {name: (state.st_size, state.st_mtime_ns) for name, state in found.items()}


def one_round(place: Path, kills: int, rng: np.random.Generator) -> Counter[str]:
    """Kill so often in one archive; return what was seen."""
    surface = full_surface(place / "shop")
    assert surface.folder is not None
    seen: Counter[str] = Counter()
    before: dict[str, tuple[int, int]] = {}
    for _ in range(kills):
        told = killed_after(surface, rng)
        after = facts(surface.folder)
        new = set(after) - set(before)
        assert {name: after.get(name) for name in before} == before, "an earlier session changed"
        assert set(told) <= new, "a session that was told of is gone"
        assert len(new) <= len(told) + 1, "more sessions than were written"
        for name in new:
            problem = check_session(surface.folder / name)
            assert problem is None, problem
        seen["kills"] += 1
        seen["sessions"] += len(new)
        seen["killed before it could tell"] += len(new) - len(told)
        before = after
    found = check_archive(place / "shop")
    assert found.problems == found.unknown == (), (found.problems, found.unknown)
    assert all(path.name.startswith(".") for path in found.leftovers)
    seen["left half-written"] += len(found.leftovers)
    return seen


def main() -> None:
    """Kill, look, and say what was seen."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    given = parser.parse_args()
    print(f"seed {given.seed}")
    rng = np.random.default_rng(given.seed)
    seen: Counter[str] = Counter()
    while seen["kills"] < given.kills:
        with tempfile.TemporaryDirectory() as place:
            seen += one_round(Path(place), min(ROUND, given.kills - seen["kills"]), rng)
        print(", ".join(f"{count} {what}" for what, count in seen.items()), flush=True)
    print("nothing was lost")


if __name__ == "__main__":
    main()
