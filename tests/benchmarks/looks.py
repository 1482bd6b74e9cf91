"""How often the live view tells what is the matter, and how long a look takes.

    python tests/benchmarks/looks.py [--count N] [--seed SEED] [--show]

Frames of 720p are drawn by `tests/live_frames.py`, N of each kind.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_frames import KINDS, draw, drawn, jpeg, told_rightly

from fringe.bench.live import hints
from fringe.orders.look import look
from fringe.photo.load import photo_from_bytes


def main() -> None:
    """Count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--show", action="store_true", help="print each that is told wrongly")
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    seconds: list[float] = []
    for kind in KINDS:
        right = 0
        for _ in range(asked.count):
            frame = drawn(kind, rng)
            data = jpeg(draw(frame))
            begun = time.process_time()
            told = [one.key for one in hints(look(photo_from_bytes(data, kind)), None)]
            seconds.append(time.process_time() - begun)
            right += told_rightly(kind, told)
            if asked.show and not told_rightly(kind, told):
                print("   ", told, frame)
        print(f"{kind:8s} {right} of {asked.count} told rightly, and nothing else")
    mean, most = float(np.mean(seconds)), float(np.quantile(seconds, 0.9))
    print(f"looks a second of one core: {1 / mean:.1f}; one in ten takes over {most:.3f} s")


if __name__ == "__main__":
    main()
