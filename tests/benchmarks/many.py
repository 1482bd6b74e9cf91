"""Photographs read one after the other, and on all cores.

    python tests/benchmarks/many.py                     16 photographs of 1,000 x 1,000 pixels
    python tests/benchmarks/many.py --photos 8 --size 4000x3000

On a machine that does nothing else two cores are to be at least 1.8 times as fast as one. The
processor's time is told as well: it says what the spreading costs where others are at work.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.orders.read import read_file
from fringe.orders.reading import Reading
from fringe.parallel import cores, read_many
from fringe.photo.ellipse import Edge
from fringe.synth import Form, Scene, render, save

# One thread a process, as the workers have it: what is compared is the spreading alone. It
# must be said before numpy is loaded, so the program starts itself anew.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def photographs(folder: Path, count: int, width: int, height: int) -> list[Path]:
    """Render different photographs of one setting."""
    paths = []
    for number in range(count):
        form = Form(power=3.0 + number / 4, tilt=1.0)
        path = folder / f"{number:02d}.jpg"
        save(render(Scene(width, height, form=form, lamp=lamp("sodium")), number), path)
        paths.append(path)
    return paths


def spent() -> float:
    """Processor time of this process and of the workers that are gone [s]."""
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(u.ru_utime + u.ru_stime for u in map(resource.getrusage, kinds))


def main() -> None:
    """Read and compare."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=16)
    parser.add_argument("--size", default="1000x1000")
    given = parser.parse_args()
    width, height = map(int, given.size.split("x"))
    radius = 0.42 * min(width, height)
    edge = Edge((width - 1) / 2, (height - 1) / 2, radius, radius)
    reader = partial(read_file, options=ReadOptions(lamp("sodium"), edge=edge, sense="centre"))
    with tempfile.TemporaryDirectory() as place:
        paths = photographs(Path(place), given.photos, width, height)
        read_many(paths[:1], reader)  # loads what there is to load
        walls, answers = [], []
        for workers in (1, cores()):
            start, before = time.perf_counter(), spent()
            answers.append(read_many(paths, reader, workers=workers))
            walls.append(time.perf_counter() - start)
            took = spent() - before
            print(f"{workers} at once: {walls[-1]:6.1f} s, {took:6.1f} s of the processors")
    same = [
        a.power_fringes == b.power_fringes
        for a, b in zip(*answers, strict=True)
        if isinstance(a, Reading) and isinstance(b, Reading)
    ]
    print(f"{walls[0] / walls[1]:.2f} times as fast; {sum(same)} of {len(paths)} read the same")


if __name__ == "__main__":
    if ONE_THREAD.items() <= os.environ.items():
        main()
    else:
        os.execve(sys.executable, [sys.executable, *sys.argv], os.environ | ONE_THREAD)
