"""An archive of thousands: what listing it and the progress of one surface cost.

    python tests/benchmarks/scale.py                      2,000 surfaces, 20,000 sessions
    python tests/benchmarks/scale.py --surfaces 50 --sessions 500 --archive /tmp/shop
    python tests/benchmarks/scale.py --long 2000          one surface with so many visits

The archive is made once and found again; --archive says where. Times are processor seconds of this
process and its workers, the least of several runs where one changes nothing for the next; the
loading of libraries does not count, but with --long, which runs the commands themselves.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.archive.store.index import FOLDER as INDEX
from fringe.archive.store.index import list_archive
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.session import LoggedReading, Visit
from fringe.archive.store.surface import (
    Surface,
    add_surface,
    find_surface,
    list_surfaces,
    load_surface,
)
from fringe.archive.store.write import log_visit, write_visit
from fringe.archive.views.surface_list import surface_list
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.orders.by_eye import by_eye
from fringe.orders.options import ReadOptions
from fringe.parallel import run_many
from sample_visits import power_reading

TOLD = {"action": "polish", "stage": "polish", "minutes": 20.0, "text": "polish about 20 min"}
START = datetime(2024, 1, 8, 9, 0, tzinfo=UTC)


def make(archive: Path, surfaces: int, sessions: int) -> None:
    """Make the archive: some surfaces are logged, the others get copies of their sessions.

    A session takes a tenth of a second to log, so that all would take an hour. What a list or
    a surface's progress reads of the copies is as much as of the originals.
    """
    each, originals = sessions // surfaces, min(surfaces, 40)
    halves = [range(originals // 2), range(originals // 2, originals)]
    logged = [f for part in run_many(partial(make_some, archive, each), halves) for f in part]
    for number in range(originals, surfaces):
        copy = add_surface(archive, a_surface(number), now=START)
        assert copy.folder is not None
        for path in session_files(logged[number % originals]):
            shutil.copy(path, copy.folder)


def a_surface(number: int) -> Surface:
    """A surface of some size."""
    rng = np.random.default_rng(number)
    form = ("convex", "concave")[number % 2]
    diameter = float(rng.uniform(20, 300))
    radius = diameter * float(rng.uniform(2, 30))
    return Surface(f"{form} {number:04d}", form, radius, diameter, lamp="sodium")


def make_some(archive: Path, sessions: int, numbers: range) -> list[Path]:
    """Make some surfaces with so many sessions each: grinding first, then readings."""
    folders = []
    for number in numbers:
        rng = np.random.default_rng(number)
        surface = add_surface(archive, a_surface(number), now=START)
        for visit in range(sessions):
            when = START + timedelta(hours=number / 2 + visit)
            power = float(rng.normal(8 - visit, 0.3))
            log_visit(
                surface,
                Visit(
                    when=when,
                    work=Work("polish", float(rng.uniform(10, 60)), "tool"),
                    readings=(power_reading(power),) if visit > 1 else (),
                ),
                now=when,
            )
        assert surface.folder is not None
        folders.append(surface.folder)
    return folders


def least_s(function: Callable[[], object], runs: int = 5) -> float:
    """Least processor time of several runs [s]."""
    times = []
    for _ in range(runs):
        start = processor_s()
        function()
        times.append(processor_s() - start)
    return min(times)


def processor_s() -> float:
    """Processor time of this process and of those that it has waited for [s]."""
    waited = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + waited.ru_utime + waited.ru_stime


def measure(archive: Path) -> None:
    """Print what the archive costs."""
    folders = list_surfaces(archive)
    chosen = folders[len(folders) // 2]
    name = load_surface(chosen).name
    files = session_files(chosen)
    print(f"{archive}: {len(folders)} surfaces; {name} has {len(files)} sessions")

    opening = least_s(lambda: [open_session(path) for path in files])
    summaries = least_s(lambda: survey(chosen))
    found = least_s(lambda: find_surface(f"{archive}/{name}"))
    print(f"its sessions opened one by one    {opening * 1e3:8.1f} ms")
    print(f"their summaries                   {summaries * 1e3:8.1f} ms")
    print(f"the surface found by its name     {found * 1e3:8.1f} ms")
    shown = least_s(lambda: progress_of(f"{archive}/{name}"))
    print(f"its progress                      {shown * 1e3:8.1f} ms")
    print(f"progress / opening                {shown / opening:8.2f}     (at most 2)")

    shutil.rmtree(archive / INDEX, ignore_errors=True)
    rebuilt = least_s(lambda: list_archive(archive), 1)
    listed = least_s(lambda: list_archive(archive))
    read = list_archive(archive).read
    size = sum(path.stat().st_size for path in (archive / INDEX).iterdir())
    print(f"list, the index made anew         {rebuilt:8.2f} s")
    print(f"list, from the index              {listed:8.2f} s, {read} surfaces read again")
    print(f"the index                         {size / 1e6:8.2f} MB")
    attributes = least_s(lambda: [path.stat() for path in archive.rglob("*")], 2)
    print(f"attributes of all files           {attributes:8.2f} s")
    for what, steps in (("states", False), ("next steps", True)):
        anew = least_s(partial(surface_list, archive, steps=steps), 1)
        again = least_s(partial(surface_list, archive, steps=steps), 3)
        print(f"{what + ' of all, decided anew':33s} {anew:8.2f} s; again {again:.2f} s")
    surface = find_surface(f"{archive}/{name}")
    log_visit(surface, Visit(work=Work("polish", 5.0, "tool")))
    time.sleep(2.1)  # what changed this shortly ago is not relied on
    after = least_s(lambda: surface_list(archive, steps=True), 1)
    print(f"next steps, after one visit       {after:8.2f} s")


def make_long(archive: Path, visits: int) -> None:
    """Make a pair whose convex surface has so many visits, read by eye, and advice kept with each.

    The files are written as any, but without judging all visits before each of them.
    """
    sodium = lamp("sodium")
    rng = np.random.default_rng(1)
    for form, count in (("convex", visits), ("concave", 12)):
        made = Surface(form, form, 500.0, 100.0, lamp="sodium", tolerance=Tolerance(1.0))
        surface = add_surface(archive, made, now=START)
        for visit in range(count):
            when = START + timedelta(hours=2 * visit)
            text = f"rings {max(0.1, rng.normal(8 * np.exp(-visit / 40) + 1, 0.2)):.1f} centre"
            read = LoggedReading(by_eye(text, ReadOptions(lamp=sodium)), "eye", lamp=sodium)
            work = Work("polish", float(rng.uniform(10, 60)), "tool" if visit % 2 else "work")
            logged = Visit(work=work, readings=(read,) if visit > 1 else ())
            write_visit(surface, logged, now=when, advise=lambda _: TOLD)


def measure_long(archive: Path) -> None:
    """Print what the commands of daily work cost on a surface with many visits."""
    one = f"{archive}/convex"
    print(f"{one}: {len(session_files(find_surface(one).folder or archive))} visits")
    for words in (
        ("progress", one),
        ("progress", one),
        ("log", one, "--by-eye", "rings 1.1 centre", "--lamp", "sodium", "--yes"),
        ("progress", one),
        ("pair", one, f"{archive}/concave"),
    ):
        command = [str(Path(sys.executable).with_name("fringe")), *words, "--json"]
        start = processor_s()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        print(f"fringe {words[0]:10s} {processor_s() - start:6.2f} s")


def progress_of(text: str) -> object:
    """What `fringe progress` works out."""
    from fringe.archive.views.surface_state import surface_state

    return surface_state(find_surface(text))


def main() -> None:
    """Make the archive if it is not there, and measure it."""
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--surfaces", type=int, default=2000)
    parser.add_argument("--sessions", type=int, default=20_000)
    parser.add_argument("--archive", type=Path)
    parser.add_argument("--long", type=int)
    given = parser.parse_args()
    if given.long:
        archive = given.archive or Path(tempfile.gettempdir()) / f"fringe-scale-long-{given.long}"
        if not archive.exists():
            make_long(archive, given.long)
        measure_long(archive)
        return
    name = f"fringe-scale-{given.surfaces}-{given.sessions}"
    archive = given.archive or Path(tempfile.gettempdir()) / name
    if not archive.exists():
        make(archive, given.surfaces, given.sessions)
    measure(archive)


if __name__ == "__main__":
    main()
