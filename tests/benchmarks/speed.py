"""What fringe costs in time and memory, as ratios to what anybody would have to pay.

    python tests/benchmarks/speed.py                    all of it, some minutes
    python tests/benchmarks/speed.py start read         some of: start read growth batch archive
        [--repeats 5] [--picture growth.png]

start    whole processes of light commands against `python -c "import click"`: at most 2.5
read     `fringe read --json`, edge found, as a whole process against one that imports numpy,
         Pillow and scipy.fft, decodes the same file and does one full-size real FFT: at most 3
         at 1 megapixel, 2.0 at 12, 1.7 at 50; and the most memory over that of the interpreter
         with its imports, against the decoded 8-bit picture: at most 6
growth   exponents of the time against pixels, fringes, frames of a burst, visits of a surface and
         surfaces, all else fixed: at most 1
batch    64 photographs on one process and on all cores: at least 1.8
archive  the progress of a surface with 200 sessions against reading their attributes with
         h5py: at most 1.5

Ratios are of medians of runs that take turns; the spread is the least and greatest ratio of
runs side by side.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scale import least_s, make, make_long, make_some, progress_of

HERE = Path(__file__).parent
FRINGE = str(Path(sys.executable).with_name("fringe"))
CLICK = (sys.executable, "-c", "import click")
DECODE = """
import sys, numpy, scipy.fft
from PIL import Image
picture = numpy.asarray(Image.open(sys.argv[1]))
scipy.fft.rfft2(picture[..., 0].astype(numpy.float32))
"""
IMPORTS = """
import numpy, scipy.fft, scipy.ndimage, scipy.special
import PIL.JpegImagePlugin, click
"""
NO_BYTECODE = "PYTHONDONTWRITEBYTECODE"
# a process is said to have held at least what the one that started it did: a small one must
WATCH = """
import json, os, sys, time
away = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
start = time.perf_counter()
process = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=away)
_, status, usage = os.wait4(process, 0)
seconds = time.perf_counter() - start
print(json.dumps([seconds, usage.ru_maxrss, os.waitstatus_to_exitcode(status)]))
"""
SIZES = {1: (1155, 866), 12: (4000, 3000), 50: (8165, 6124)}
TICKS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
TICKS_S = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50)
LIGHT = {
    "fringe --help": ("--help",),
    "fringe convert": (
        "convert",
        "--fringes",
        "-3",
        "--radius",
        "3048mm",
        "--diameter",
        "150mm",
        "--lamp",
        "sodium",
    ),
    "fringe tolerance": (
        "tolerance",
        "--power",
        "3",
        "--radius",
        "3048mm",
        "--diameter",
        "150mm",
        "--lamp",
        "sodium",
    ),
    "fringe lamps": ("lamps",),
}


@dataclass(frozen=True)
class Run:
    """Wall time [s] and most memory [MB] of a process."""

    seconds: float
    most_mb: float


def run(command: Sequence[str]) -> Run:
    """Run a whole process, its output thrown away."""
    # what is installed is compiled, as the other process's libraries are
    plain = {name: value for name, value in os.environ.items() if name != NO_BYTECODE}
    watched = subprocess.run(
        (sys.executable, "-c", WATCH, *command), stdout=subprocess.PIPE, check=True, env=plain
    )
    seconds, most_kb, status = json.loads(watched.stdout)
    if status:
        raise SystemExit(f"{' '.join(command)}: ended with {status}")
    return Run(seconds, most_kb / 1024)


def verdict(ratio: float, bar: float) -> str:
    """Say whether a ratio keeps its bar."""
    return f"at most {bar:g}" + ("" if ratio <= bar else "  MISSED")


def compare(name: str, ours: Sequence[str], theirs: Sequence[str], repeats: int, bar: float) -> Run:
    """Print the ratio of two processes that take turns; the last run of ours."""
    run(ours)
    run(theirs)  # what is on the disk is in memory from here on
    pairs = [(run(ours), run(theirs)) for _ in range(repeats)]
    mine, other = (np.array([pair[k].seconds for pair in pairs]) for k in (0, 1))
    each = mine / other
    ratio = float(np.median(mine) / np.median(other))
    print(
        f"{name:<24}{np.median(mine):8.3f} s {np.median(other):8.3f} s {ratio:7.2f}"
        f"  {each.min():.2f} to {each.max():.2f}   {verdict(ratio, bar)}",
        flush=True,
    )
    return pairs[-1][0]


def photograph(folder: Path, width: int, height: int, power: float = 8.0) -> Path:
    """Render a photograph of so many fringes."""
    from fringe.optics.lamps import lamp
    from fringe.synth import Form, Scene, render, save

    path = folder / f"{width}x{height}-{power:g}.jpg"
    if not path.exists():
        form = Form(power=power, tilt=3.0, zernike=(((2, 2), 0.15),))
        save(render(Scene(width, height, form=form, lamp=lamp("sodium")), 5), path)
    return path


def start(folder: Path, repeats: int) -> None:
    """Start-up of light commands."""
    for name, words in LIGHT.items():
        compare(name, (FRINGE, *words), CLICK, 3 * repeats, 2.5)


def read(folder: Path, repeats: int) -> None:
    """Whole readings, and their memory."""
    bare = run((sys.executable, "-c", IMPORTS)).most_mb
    for megapixels, bar in ((1, 3.0), (12, 2.0), (50, 1.7)):
        path = photograph(folder, *SIZES[megapixels])
        ours = (FRINGE, "read", str(path), "--lamp", "sodium", "--json")
        theirs = (sys.executable, "-c", DECODE, str(path))
        last = compare(f"read, {megapixels} MP", ours, theirs, repeats, bar)
        width, height = SIZES[megapixels]
        decoded = 3 * width * height / 2**20
        over = last.most_mb - bare
        share = over / decoded
        print(
            f"    memory over imports {over:8.0f} MB, decoded {decoded:6.1f} MB {share:7.2f}"
            f"  {verdict(share, 6)}"
        )


def read_s(path: Path, repeats: int) -> float:
    """Least time of reading a photograph in this process, from file to numbers [s]."""
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.read import read_file

    return least_s(lambda: read_file(str(path), ReadOptions(lamp("sodium"))), repeats)


def frames(folder: Path, width: int, height: int, count: int) -> list[Path]:
    """Render frames of one contact while it is pressed."""
    from fringe.optics.lamps import lamp
    from fringe.synth import Form, Scene, render_sequence, save, shift_steps

    paths = [folder / f"burst-{width}-{count}-{k}.jpg" for k in range(count)]
    if not paths[-1].exists():
        rng = np.random.default_rng(20)
        form = Form(power=6.0, tilt=2.0, zernike=(((2, 2), 0.15),))
        scene = Scene(width, height, form=form, lamp=lamp("sodium"))
        shots = render_sequence(scene, rng, shift_steps(count, rng))
        for shot, path in zip(shots, paths, strict=True):
            save(shot, path)
    return paths


def burst_s(paths: Sequence[Path], repeats: int) -> float:
    """Least time of reading frames as one contact, from files to numbers [s]."""
    from fringe.optics.lamps import lamp
    from fringe.orders.burst.read_burst import read_burst
    from fringe.orders.options import ReadOptions
    from fringe.photo.frames import load_frames

    return least_s(lambda: read_burst(load_frames(paths), ReadOptions(lamp("sodium"))), repeats)


def visits_s(folder: Path, count: int, repeats: int) -> float:
    """Least time of judging a surface of so many visits [s]."""
    place = folder / f"visits-{count}"
    make_long(place, count)
    return least_s(lambda: progress_of(f"{place}/convex"), repeats)


def surfaces_s(folder: Path, count: int, repeats: int) -> float:
    """Least time of listing an archive of so many surfaces, their next steps decided anew [s]."""
    from fringe.archive.store.index import FOLDER
    from fringe.archive.views.surface_list import surface_list

    place = folder / f"surfaces-{count}"
    make(place, count, 5 * count)

    def listed() -> None:
        shutil.rmtree(place / FOLDER, ignore_errors=True)
        surface_list(place, steps=True)

    return least_s(listed, repeats)


class Grown(NamedTuple):
    """Time against one size, and how that is called on the picture's axis."""

    name: str
    label: str
    sizes: Sequence[float]
    times_s: list[float]

    @property
    def exponent(self) -> float:
        """Slope of the straight line through the logarithms of both."""
        return float(np.polyfit(np.log(self.sizes), np.log(self.times_s), 1)[0])


def growth(folder: Path, repeats: int, picture: Path | None = None) -> None:
    """Exponents of the time against pixels, fringes, frames, visits and surfaces."""
    read_s(photograph(folder, 800, 600), 1)  # loads what there is to load
    few = min(repeats, 3)
    sides = (600, 850, 1200, 1700, 2400, 3400, 4800, 6124)
    powers = (4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
    counts, visits, surfaces = (5, 10, 20, 40), (50, 200, 800, 2000), (50, 200, 800)
    parts = (
        (
            Grown("pixels", "megapixels, at 8 fringes of power", sides, []),
            lambda side: read_s(photograph(folder, side * 4 // 3, side), few),
        ),
        (
            Grown("fringes", "fringes of power, at 4 megapixels", powers, []),
            lambda power: read_s(photograph(folder, 2400, 1800, power), few),
        ),
        (
            Grown("frames", "frames of a burst, at 1 megapixel", counts, []),
            lambda count: burst_s(frames(folder, 1155, 866, count), few),
        ),
        (
            Grown("visits", "visits of one surface that is judged", visits, []),
            lambda count: visits_s(folder, count, few),
        ),
        (
            Grown("surfaces", "surfaces of five visits, listed anew", surfaces, []),
            lambda count: surfaces_s(folder, count, 1),
        ),
    )
    found = []
    for grown, time_s in parts:
        grown.times_s.extend(time_s(size) for size in grown.sizes)
        if grown.name == "pixels":
            grown = grown._replace(sizes=[side * side * 4 / 3e6 for side in sides])
        listed = ", ".join(f"{a:.3g}: {b:.2f} s" for a, b in zip(*grown[2:], strict=True))
        print(f"time against {grown.name:<8} exponent {grown.exponent:5.2f}  at most 1   {listed}")
        found.append(grown)
    if picture is not None:
        draw(picture, found)


def draw(out: Path, found: Sequence[Grown]) -> None:
    """Draw time against size, each way."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.ticker import FixedLocator, NullLocator

    figure, axes = plt.subplots(2, 3, figsize=(11, 6.4), sharey=True, layout="constrained")
    for ax, grown in zip(axes.flat, found, strict=False):
        label = f"measured, exponent {grown.exponent:.2f}"
        ax.loglog(grown.sizes, grown.times_s, "o-", color="#1f4e5f", label=label)
        ends = np.array([min(grown.sizes), max(grown.sizes)])
        as_size = grown.times_s[0] * ends / ends[0]
        ax.loglog(ends, as_size, ":", color="0.4", label="as the size (exponent 1)")
        ax.set_xlabel(grown.label)
        ax.legend(loc="upper left", frameon=False, fontsize=9)
        ax.grid(True, which="major", alpha=0.25)
        for axis, ticks in ((ax.xaxis, TICKS), (ax.yaxis, TICKS_S)):
            axis.set_major_locator(FixedLocator(ticks))
            axis.set_major_formatter("{x:g}")
            axis.set_minor_locator(NullLocator())
    for ax in axes.flat[len(found) :]:
        ax.remove()
    axes[0, 0].set_ylim(0.05, 60)
    for ax in axes[:, 0]:
        ax.set_ylabel("processor time [s]")
    figure.savefig(out, dpi=120)


def batch(folder: Path, repeats: int) -> None:
    """64 photographs on one process and on all."""
    subprocess.run([sys.executable, str(HERE / "many.py"), "--photos", "64"], check=True)


def archive(folder: Path, repeats: int) -> None:
    """Progress of a surface with 200 sessions."""
    import h5py

    from fringe.archive.store.read import session_files

    place = folder / "archive"
    files = session_files(make_some(place, 200, range(1))[0])

    def attributes() -> None:
        for path in files:
            with h5py.File(path, "r") as opened:
                opened.visititems(lambda _, item: dict(item.attrs) and None)
                dict(opened.attrs)

    shown = least_s(lambda: progress_of(f"{place}/{files[0].parent.name}"), repeats)
    plain = least_s(attributes, repeats)
    print(
        f"progress, 200 sessions  {shown:8.3f} s {plain:8.3f} s {shown / plain:7.2f}"
        f"  {verdict(shown / plain, 1.5)}"
    )


def main() -> None:
    """Measure what was asked for."""
    parts = {"start": start, "read": read, "growth": growth, "batch": batch, "archive": archive}
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("part", nargs="*", choices=[*parts, []])
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--picture", type=Path)
    given = parser.parse_args()
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(f"{'':<24}{'fringe':>10} {'other':>10} {'ratio':>7}  spread")
    with tempfile.TemporaryDirectory() as place:
        for name in given.part or parts:
            if name == "growth":
                growth(Path(place), given.repeats, given.picture)
            else:
                parts[name](Path(place), given.repeats)


if __name__ == "__main__":
    if os.environ.get("OPENBLAS_NUM_THREADS"):
        main()
    else:  # as `fringe` itself does; it must be said before numpy is loaded
        os.execve(
            sys.executable, [sys.executable, *sys.argv], os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        )
