"""How often pictures that hold no contact fringes are read, and whether a reading warns.

    python tests/benchmarks/nofringes.py [--count 4] [--seed N] [--mode auto|given|none]...
        [--kind NAME]... [--workers N] [--save OUT.jsonl]

Draws `--count` pictures of each kind and reads each in each mode: the edge found, given as the
round piece's or a circle in the frame, and with none. Bars: of 100 pictures at most 5 are read
with the edge found and 15 with the edge given, and none without a warning.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from fringe.parallel import in_order

MODES = ("auto", "given", "none")
SIZE = (900, 760)


@dataclass(frozen=True)
class Case:
    """One picture and what was made of it."""

    kind: str
    seed: int
    mode: str
    read: bool
    warned: bool
    text: str
    seconds: float


def one(task: tuple[str, int, str]) -> Case:
    """Draw a picture and read it."""
    from fringe.errors import Refused
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.read import read
    from fringe.photo.ellipse import Edge
    from fringe.photo.load import photo_from_array
    from fringe.synth.distractors import distractor
    from fringe.synth.lookalikes import DISC_RADIUS

    kind, seed, mode = task
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    photo = photo_from_array(distractor(kind, rng, SIZE), "")
    radius = DISC_RADIUS * min(SIZE) / 2
    circle = Edge((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, radius, radius)
    options = ReadOptions(lamp("sodium"), edge=circle if mode == "given" else mode)
    start = time.process_time()
    try:
        reading = read(photo, options)
    except Refused as refusal:
        return Case(kind, seed, mode, False, False, str(refusal), time.process_time() - start)
    seconds = time.process_time() - start
    warnings = reading.quality.warnings
    text = f"P {reading.power_fringes or 0:.2f}: {'; '.join(warnings)}"
    return Case(kind, seed, mode, True, bool(warnings), text, seconds)


def main() -> None:
    """Draw, read, print the table."""
    from fringe.synth.lookalikes import LOOKALIKES

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mode", action="append", choices=MODES)
    parser.add_argument("--kind", action="append")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--save", type=Path)
    asked = parser.parse_args()
    tasks = [
        (kind, asked.seed + number, mode)
        for kind in asked.kind or LOOKALIKES
        for number in range(asked.count)
        for mode in asked.mode or MODES
    ]
    cases = list(in_order(one, tasks, workers=asked.workers))
    if asked.save:
        asked.save.write_text("".join(json.dumps(asdict(case)) + "\n" for case in cases))
    table: dict[tuple[str, str], list[Case]] = defaultdict(list)
    for case in cases:
        table[case.kind, case.mode].append(case)
        table["all", case.mode].append(case)
    for (kind, mode), some in table.items():
        read = [case for case in some if case.read]
        silent = sum(not case.warned for case in read)
        worst = max(case.seconds for case in some)
        mean = sum(case.seconds for case in some) / len(some)
        print(
            f"{kind:<16} {mode:<6} {len(some):>3} read {len(read):>2} silent {silent:>2}"
            f"  {mean:.1f} s, at most {worst:.1f} s"
        )


if __name__ == "__main__":
    main()
