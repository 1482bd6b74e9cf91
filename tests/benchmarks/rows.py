"""What is slow besides the usual photograph, each held against what it is to cost at most.

    python tests/benchmarks/rows.py                     all rows, some minutes
    python tests/benchmarks/rows.py burst clip          some of them (`--list` names them)
        [--repeats 3] [--keep FOLDER] [--save OUT.json]

Photographs are made once, in a temporary folder or in `--keep`. Each figure is the processor's
time of a whole process, its children counted; the two sides of a row take turns. The ratio is
that of the medians, the spread the least and greatest ratio of runs side by side.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from speed import DECODE, FRINGE, IMPORTS, NO_BYTECODE, SIZES, frames, photograph

WATCH = """
import json, os, sys, time
away = [(os.POSIX_SPAWN_OPEN, fd, os.devnull, os.O_WRONLY, 0) for fd in (1, 2)]
start = time.perf_counter()
process = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=away)
_, status, usage = os.wait4(process, 0)
wall = time.perf_counter() - start
done = os.waitstatus_to_exitcode(status)
print(json.dumps([usage.ru_utime + usage.ru_stime, wall, usage.ru_maxrss / 1024, done]))
"""
FILM = """
import sys, av, numpy
with av.open(sys.argv[1]) as film:
    stream = film.streams.video[0]
    stream.thread_type = "AUTO"
    for frame in film.decode(stream):
        pass
"""
FIGURE = """
import sys, numpy, matplotlib
matplotlib.use("Agg")
import matplotlib.pyplot as plt
figure, ax = plt.subplots()
ax.imshow(numpy.zeros((600, 800, 3), numpy.uint8))
figure.savefig(sys.argv[1])
"""
RESIDENT = """
import sys, time
from pathlib import Path
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.load import photo_from_bytes
def once():
    start = time.process_time()
    read(photo_from_bytes(Path(sys.argv[1]).read_bytes(), "photo"), ReadOptions(lamp("sodium")))
    return time.process_time() - start
once()
print(min(once() for _ in range(3)))
"""
CLUSTER = """
import resource, sys, time
from functools import partial
from pathlib import Path
def main():
    from distributed import Client, LocalCluster
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.read import read_file
    from fringe.parallel import read_many
    paths = [Path(one) for one in sys.argv[1:]]
    reader = partial(read_file, options=ReadOptions(lamp("sodium")))
    read_many(paths[:1], reader, workers=1)
    start = time.perf_counter()
    read_many(paths, reader, workers=1)
    alone = time.perf_counter() - start
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        read_many(paths[:4], reader, scheduler=cluster.scheduler_address)
        start = time.perf_counter()
        read_many(paths, reader, scheduler=cluster.scheduler_address)
        print(alone / (time.perf_counter() - start))
if __name__ == "__main__":
    main()
"""
REFUSED = ("spiral r^1", "rings of one spacing", "turning marks", "curtain", "face", "noise")


@dataclass(frozen=True)
class Run:
    """Processor's time and wall time [s], most memory [MB] and exit status of a process."""

    cpu_s: float
    wall_s: float
    most_mb: float
    status: int


@dataclass
class Row:
    """One line of the table."""

    name: str
    ours_s: float
    theirs_s: float
    ratio: float
    low: float
    high: float
    bar: float
    note: str = ""
    least: bool = False  # whether the bar is one from below

    def told(self) -> str:
        """As a line of text."""
        missed = self.ratio < self.bar if self.least else self.ratio > self.bar
        bar = f"{'at least' if self.least else 'at most'} {self.bar:g}"
        return (
            f"{self.name:<44}{self.ours_s:8.2f} {self.theirs_s:8.2f} {self.ratio:7.2f}"
            f"  {self.low:.2f} to {self.high:.2f}   {bar}{'  MISSED' if missed else ''}"
            f"{'  ' + self.note if self.note else ''}"
        )


@dataclass
class Table:
    """The rows measured so far, told as they come."""

    folder: Path
    repeats: int
    rows: list[Row] = field(default_factory=list)

    def add(self, row: Row) -> None:
        """Take a row down, and tell it."""
        self.rows.append(row)
        print(row.told(), flush=True)

    def compare(
        self,
        name: str,
        ours: Sequence[str],
        theirs: Sequence[Sequence[str]],
        bar: float,
        *,
        status: int = 0,
    ) -> None:
        """Compare a process with one or more others, which take turns with it."""
        pairs = []
        for turn in range(self.repeats + 1):
            mine = run(ours, status)
            other = sum(run(one).cpu_s for one in theirs)
            if turn:  # what is on the disk is in memory from here on
                pairs.append((mine.cpu_s, other))
        mine_s, other_s = np.array(pairs).T
        each = mine_s / other_s
        own, their = float(np.median(mine_s)), float(np.median(other_s))
        self.add(Row(name, own, their, own / their, float(each.min()), float(each.max()), bar))


def run(command: Sequence[str], status: int | None = 0) -> Run:
    """Run a whole process, its output thrown away."""
    plain = {name: value for name, value in os.environ.items() if name != NO_BYTECODE}
    watched = subprocess.run(
        (sys.executable, "-c", WATCH, *command), stdout=subprocess.PIPE, check=True, env=plain
    )
    found = Run(*json.loads(watched.stdout))
    if status is not None and found.status != status:
        raise SystemExit(f"{' '.join(command)}: ended with {found.status}")
    return found


def _read(path: Path, *words: str) -> tuple[str, ...]:
    return (FRINGE, "read", str(path), "--lamp", "sodium", "--json", *words)


def usual(table: Table) -> None:
    """The usual photograph, and its memory at 1 megapixel."""
    for megapixels, bar in ((12, 1.2), (1, 2.2)):
        path = photograph(table.folder, *SIZES[megapixels])
        plain = (sys.executable, "-c", DECODE, str(path))
        table.compare(f"read, {megapixels} MP / decode + FFT", _read(path), [plain], bar)
    bare = run((sys.executable, "-c", IMPORTS)).most_mb
    over = [run(_read(path)).most_mb - bare for _ in range(table.repeats)]
    most = float(np.median(over))
    table.add(Row("memory over imports, 1 MP [MB]", most, bare, most, min(over), max(over), 25))


def fringes(table: Table) -> None:
    """Many fringes against few."""
    few = photograph(table.folder, 2309, 1732, 4.0)
    for power in (64.0, 128.0):
        many = photograph(table.folder, 2309, 1732, power)
        table.compare(f"{power:g} fringes / 4, 4 MP", _read(many), [_read(few)], 2.0)


def burst(table: Table) -> None:
    """Eight frames of one contact against one of them."""
    for width, height in ((2309, 1732), (1155, 866)):
        paths = frames(table.folder, width, height, 8)
        ours = (FRINGE, "read", "--burst", *map(str, paths), "--lamp", "sodium", "--json")
        table.compare(
            f"burst of 8, {width * height / 1e6:.0f} MP / one frame", ours, [_read(paths[0])], 4.0
        )


def _clip(folder: Path) -> Path:
    """Film three seconds of full HD while the work is pressed by 1.3 fringes."""
    from fringe.optics.lamps import lamp
    from fringe.synth import Form, Scene, Step, render_sequence

    sys.path.insert(0, str(Path(__file__).parents[1]))
    from filming import film

    path = folder / "press.mp4"
    if not path.exists():
        rng = np.random.default_rng(21)
        form = Form(power=6.0, tilt=2.0, zernike=(((2, 2), 0.15),))
        scene = Scene(1920, 1080, form=form, lamp=lamp("sodium"))
        share = np.linspace(0, 1, 90)
        lean = np.cumsum(rng.normal(0, 0.012, (90, 2)), axis=0)
        steps = [
            Step(1.3 * float(a), float(x), float(y), 0.0, float(3 * a), 1.0)
            for a, (x, y) in zip(share, lean, strict=True)
        ]
        film(path, [shot.image for shot in render_sequence(scene, rng, steps)])
    return path


def clip(table: Table) -> None:
    """A clip, chosen from and solved, against decoding it."""
    path = _clip(table.folder)
    ours = (FRINGE, "read", "--burst", str(path), "--lamp", "sodium", "--json")
    table.compare(
        "clip of 3 s, full HD / decoding it", ours, [(sys.executable, "-c", FILM, str(path))], 3
    )


def refusals(table: Table) -> None:
    """Refusals of pictures without fringes, and of rings without an edge, against a reading."""
    from fringe.synth import distractor, save_picture
    from fringe.synth.lookalikes import LOOKALIKES

    reading = _read(photograph(table.folder, 900, 760))
    known = [one for one in (*LOOKALIKES, "face", "noise", "wall") if one in _kinds()]
    for kind in known:
        path = table.folder / f"{kind.replace(' ', '-').replace('^', '')}.png"
        if not path.exists():
            save_picture(distractor(kind, np.random.default_rng(22), (900, 760)), path)
        if run(_read(path), None).status == 2:
            table.compare(f"refusal, {kind} / a reading", _read(path), [reading], 2.0, status=2)


def _kinds() -> Sequence[str]:
    from fringe.synth import DISTRACTORS

    return list(DISTRACTORS)


def rings(table: Table) -> None:
    """Rings that fill the frame, the edge out of view: found to have none, and read without."""
    from fringe.optics.lamps import lamp
    from fringe.synth import Form, Scene, render, save

    path = table.folder / "rings.jpg"
    if not path.exists():
        scene = Scene(
            1600,
            1200,
            form=Form(power=20.0, tilt=2.0),
            lamp=lamp("sodium"),
            centre_px=(820.0, 590.0),
            radius_px=1500.0,
        )
        save(render(scene, 23), path)
    reading = _read(photograph(table.folder, 1600, 1200))
    table.compare(
        "rings without an edge, looked for / a reading", _read(path), [reading], 2.0, status=2
    )
    table.compare("rings, --edge none / a reading", _read(path, "--edge", "none"), [reading], 2.0)


def picture(table: Table) -> None:
    """A reading with its picture."""
    path = photograph(table.folder, *SIZES[12])
    out = str(table.folder / "shown.png")
    figure = (sys.executable, "-c", FIGURE, str(table.folder / "plain.png"))
    ours = _read(path, "--picture", out)
    table.compare("read --picture, 12 MP / reading + a figure", ours, [_read(path), figure], 1.4)


def demo(table: Table) -> None:
    """The demonstration, by wall time, and the report of its ten visits."""
    import shutil

    place = table.folder / "demo"
    walls = []
    for _ in range(max(1, table.repeats // 2)):
        shutil.rmtree(place, ignore_errors=True)
        walls.append(run((FRINGE, "demo", "--out", str(place))))
    wall = [one.wall_s for one in walls]
    most = float(np.median(wall))
    note = f"(CPU {walls[-1].cpu_s:.0f} s)"
    table.add(Row("fringe demo [s, wall]", most, 1, most, min(wall), max(wall), 20, note))
    surface = next((one for one in sorted(place.rglob("*convex*")) if one.is_dir()), None)
    if surface is not None:
        out = str(table.folder / "report.html")
        took = []
        for _ in range(table.repeats):
            Path(out).unlink(missing_ok=True)
            took.append(run((FRINGE, "report", str(surface), "--out", out)).cpu_s)
        most = float(np.median(took))
        table.add(Row("report of ten visits [s]", most, 1, most, min(took), max(took), 2.5))


def resident(table: Table) -> None:
    """A reader that has begun against the whole process."""
    path = photograph(table.folder, *SIZES[12])
    inside, whole = [], []
    for _ in range(table.repeats):
        told = subprocess.run(
            (sys.executable, "-c", RESIDENT, str(path)), stdout=subprocess.PIPE, check=True
        )
        inside.append(float(told.stdout))
        whole.append(run(_read(path)).cpu_s)
    each = np.array(inside) / np.array(whole)
    mine, other = float(np.median(inside)), float(np.median(whole))
    table.add(
        Row(
            "resident reader, 12 MP / whole process",
            mine,
            other,
            mine / other,
            float(each.min()),
            float(each.max()),
            0.7,
        )
    )


def cluster(table: Table) -> None:
    """64 photographs on a Dask cluster of two workers on this machine, against one process."""
    paths = [str(photograph(table.folder, 1155, 866, 3.0 + k / 8)) for k in range(64)]
    program = table.folder / "cluster.py"
    program.write_text(CLUSTER)
    gains = [
        float(
            subprocess.run(
                (sys.executable, str(program), *paths), stdout=subprocess.PIPE, check=True
            ).stdout
        )
        for _ in range(max(1, table.repeats // 2))
    ]
    most = float(np.median(gains))
    table.add(
        Row(
            "64 photographs, Dask of two / one", 0, 0, most, min(gains), max(gains), 1.7, least=True
        )
    )


ROWS: dict[str, Callable[[Table], None]] = {
    "usual": usual,
    "fringes": fringes,
    "burst": burst,
    "clip": clip,
    "refusals": refusals,
    "rings": rings,
    "picture": picture,
    "resident": resident,
    "demo": demo,
    "cluster": cluster,
}


def main() -> None:
    """Measure what was asked for."""
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("row", nargs="*", choices=[*ROWS, []])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--save", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = given.keep or Path(place)
        folder.mkdir(parents=True, exist_ok=True)
        table = Table(folder, given.repeats)
        print(f"{'':<44}{'CPU s':>8} {'other':>8} {'ratio':>7}  spread")
        for name in given.row or ROWS:
            ROWS[name](table)
    if given.save:
        given.save.write_text(json.dumps([vars(row) for row in table.rows], indent=1))


if __name__ == "__main__":
    if os.environ.get("OPENBLAS_NUM_THREADS"):
        main()
    else:  # as `fringe` itself does; it must be said before numpy is loaded
        os.execve(
            sys.executable, [sys.executable, *sys.argv], os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        )
