"""Ten thousand mutated files: photographs, sessions, exports, records, tables.

    python tests/benchmarks/fuzz.py                       10,000 inputs
    python tests/benchmarks/fuzz.py --count 500 --seed 7
    python tests/benchmarks/fuzz.py --seed 7 --again photo:123    one of them, with its traceback

Every one must be read or refused in one line, in bounded memory and time; a finding is any
other end. The tests try a small share of as many with each run.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
# Before numpy is loaded: on a busy machine threads that wait for one another spend the
# processor's time that an input is allowed.
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

from fuzzing import again, fuzz


def main() -> None:
    """Try the inputs and print what became of them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--again", metavar="KIND:NUMBER")
    given = parser.parse_args()
    if given.again:
        again(given.again, given.seed)
        return
    outcome = fuzz(given.count, given.seed, lambda n: print(f"\r{n}", end="", file=sys.stderr))
    print(f"\nseed {given.seed}, {sum(outcome.ends.values())} inputs")
    for end, count in sorted(outcome.ends.items()):
        print(f"  {end:<40}{count:6d}")
    for finding in outcome.findings:
        print(finding)
    sys.exit(bool(outcome.findings))


if __name__ == "__main__":
    main()
