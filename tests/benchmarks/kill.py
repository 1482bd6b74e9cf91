"""Kill a writer at random moments, a thousand times, and look at what is left.

    python tests/benchmarks/kill.py               1,000 kills
    python tests/benchmarks/kill.py --kills 50

A process logs, corrects, strikes out and moves visits of two surfaces without end until SIGKILL
takes it somewhere in the middle. After each kill every session that was there before must be the
same file, every session that the writer told of must be there, and no more than one change may
have been under way; the newcomers are proven byte by byte. Every hundred kills the whole archive
is checked, each move that was cut off is named and finished, and a new archive begun. Any loss
ends the run.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.archive.store.order import survey
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_session
from fringe.archive.views.changed_visits import move_visit, strike_visit
from fringe.archive.views.visit_request import VisitRequest
from sample_visits import full_surface, full_visit, plain_visit

ROUND = 100
CUT_OFF = re.compile(r"it was moved from (\w+), where it is still visit (\d+)")


def write_without_end(surfaces: list[Surface], seed: int, told: int) -> None:
    """Log, correct, strike out and move without end, and tell of each file when it is done.

    Most of a large visit's time goes into its building; in small ones the writing is hit more.
    """
    rng = np.random.default_rng(seed)
    large = None if seed % 4 else full_visit(rng)
    while True:
        files, path = change_something(surfaces, rng, large)
        os.write(told, f"{files} {path.parent.name}/{path.name}\n".encode())


def change_something(
    surfaces: list[Surface], rng: np.random.Generator, visit: Visit | None = None
) -> tuple[int, Path]:
    """Log, correct, strike out or move a visit of two surfaces; files written, and the last."""
    here, other = (surfaces[i] for i in rng.permutation(2))
    assert here.folder is not None
    there = [one.number for one in survey(here.folder).visits if not one.struck]
    what = str(rng.choice(["log", "log", "correct", "strike", "move"])) if there else "log"
    if what == "log":
        return 1, log_visit(here, visit or plain_visit())
    number = str(rng.choice(there))
    if what == "correct":
        return 1, log_visit(here, Visit(remarks="corrected", replaces=number))
    if what == "strike":
        return 1, strike_visit(here, number, "not this piece").path
    return 2, move_visit(here, number, VisitRequest(move=number, to_surface=other.name)).path


def killed_after(surfaces: list[Surface], rng: np.random.Generator) -> dict[str, int]:
    """Start a writer, kill it at some moment; what it had told of, and how many files each was."""
    read, write = os.pipe()
    seed = int(rng.integers(1 << 30))
    child = os.fork()
    if child == 0:
        os.close(read)
        write_without_end(surfaces, seed, write)
    os.close(write)
    time.sleep(float(rng.uniform(0, 1.2)))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read, "rb") as pipe:
        lines = pipe.read().decode().splitlines()
    return {name: int(files) for files, name in (line.split(" ", 1) for line in lines)}


def facts(archive: Path) -> dict[str, tuple[int, int]]:
    """Size and time of each session's file."""
    found = {f"{path.parent.name}/{path.name}": path.stat() for path in archive.glob("*/[0-9]*.h5")}
    return {name: (state.st_size, state.st_mtime_ns) for name, state in found.items()}


def one_round(place: Path, kills: int, rng: np.random.Generator) -> Counter[str]:
    """Kill so often in one archive; return what was seen."""
    archive = place / "shop"
    surfaces = [full_surface(archive, name) for name in ("one", "two")]
    seen: Counter[str] = Counter()
    before: dict[str, tuple[int, int]] = {}
    for _ in range(kills):
        told = killed_after(surfaces, rng)
        after = facts(archive)
        new = set(after) - set(before)
        assert {name: after.get(name) for name in before} == before, "an earlier session changed"
        assert set(told) <= new, "a session that was told of is gone"
        assert len(new) <= sum(told.values()) + 2, "more sessions than were written"
        for name in new:
            problem = check_session(archive / name)
            assert problem is None, problem
        seen["kills"] += 1
        seen["sessions"] += len(new)
        seen["killed before it could tell"] += len(new) - sum(told.values())
        before = after
    seen["moves cut off, named and finished"] += finish(archive, surfaces)
    found = check_archive(archive)
    assert found.problems == found.unknown == (), (found.problems, found.unknown)
    assert all(path.name.startswith(".") for path in found.leftovers)
    seen["left half-written"] += len(found.leftovers)
    return seen


def finish(archive: Path, surfaces: list[Surface]) -> int:
    """Finish the moves of visits that the check names; nothing else may be wrong."""
    problems = check_archive(archive).problems
    named = {surface.name: surface for surface in surfaces}
    for problem in problems:
        found = CUT_OFF.search(problem)
        assert found is not None, problem
        here, number = named[found[1]], found[2]
        (other,) = (name for name in named if name != here.name)
        move_visit(here, number, VisitRequest(move=number, to_surface=other))
    return len(problems)


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
