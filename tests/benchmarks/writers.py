"""Thirty writers at once: visits, corrections, strikes and moves on two surfaces of one archive.

    python tests/benchmarks/writers.py                        30 writers, 5 changes each
    python tests/benchmarks/writers.py --writers 8 --changes 20
    python tests/benchmarks/writers.py --without-locks       as on a network share

Each writer is a process of its own and does what the killed ones of `kill.py` do. Afterwards
every session that one of them told of must be there, each visit must have one number, and the
check may name nothing but what two writers did to one visit at once: corrections that knew
nothing of each other, and a visit that was moved by one while another changed it.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from kill import change_something

from fringe.archive.store import claim
from fringe.archive.store.order import survey
from fringe.archive.store.surface import Surface
from fringe.archive.transfer.check import check_archive
from fringe.errors import BadInput
from sample_visits import full_surface

AT_ONCE = re.compile(r"neither knew of the other|it was moved from")


def writer(surfaces: list[Surface], seed: int, changes: int, told: int) -> None:
    """Make so many changes, and tell of each file when it is done."""
    rng = np.random.default_rng(seed)
    for _ in range(changes):
        try:
            _, path = change_something(surfaces, rng)
            line = f"kept {path.parent.name}/{path.name}\n"
        except BadInput as error:  # somebody struck it out meanwhile
            line = f"refused {error}\n"
        os.write(told, line.encode())


def main() -> None:
    """Let them write, look, and say what was seen."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--writers", type=int, default=30)
    parser.add_argument("--changes", type=int, default=5)
    parser.add_argument(
        "--without-locks", action="store_true", help="as on a share that has none of the system's"
    )
    parser.add_argument("--seed", type=int, default=int(time.time()))
    given = parser.parse_args()
    print(f"seed {given.seed}")
    if given.without_locks:
        claim.fcntl = None
    with tempfile.TemporaryDirectory() as place:
        archive = Path(place) / "shop"
        surfaces = [full_surface(archive, name) for name in ("one", "two")]
        read, write = os.pipe()
        children = []
        for number in range(given.writers):
            child = os.fork()
            if child == 0:
                os.close(read)
                writer(surfaces, given.seed + number, given.changes, write)
                os._exit(0)
            children.append(child)
        os.close(write)
        with os.fdopen(read, "rb") as pipe:
            lines = pipe.read().decode().splitlines()
        ends = [os.waitpid(child, 0)[1] for child in children]
        assert not any(ends), "a writer failed"
        look(archive, surfaces, lines)


def look(archive: Path, surfaces: list[Surface], lines: list[str]) -> None:
    """Hold the archive against what its writers told of."""
    told = [line.removeprefix("kept ") for line in lines if line.startswith("kept ")]
    there = {f"{path.parent.name}/{path.name}" for path in archive.glob("*/[0-9]*.h5")}
    assert set(told) <= there, "a session that was told of is gone"
    for surface in surfaces:
        assert surface.folder is not None
        found = survey(surface.folder)
        numbers = [visit.number for visit in found.visits]
        assert len(set(numbers)) == len(numbers), "two visits of one number"
        assert sorted(numbers) == list(range(1, len(numbers) + 1)), "a number was left out"
    problems = check_archive(archive).problems
    others = [line for line in problems if not AT_ONCE.search(line)]
    assert not others, others
    kinds = Counter(AT_ONCE.search(line)[0] for line in problems)  # type: ignore[index]
    print(f"{len(there)} sessions, {len(told)} told of, {len(lines) - len(told)} refused")
    print(f"named by the check: {dict(kinds)}")


if __name__ == "__main__":
    main()
