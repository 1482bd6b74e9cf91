"""The sense, told by contrast and by pairs, of rendered photographs whose truth is known.

    python tests/benchmarks/sense.py                       200 cases of each kind, on all cores
    python tests/benchmarks/sense.py --count 40 --kinds press,eye --seed 7
    python tests/benchmarks/sense.py --again lamp:123      one case
    python tests/benchmarks/sense.py --known               those that were once told wrong

Bar: of at least 400 decided cases none is wrong. `contrast` is one picture in an LED's light,
`hostile` the same with everything else that moves contrast; `press`, `eye` and `lamp` are pairs.
The edge is given throughout.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # before numpy is loaded


from sense_cases import KINDS, ONCE_WRONG, Case, run_case

from fringe.parallel import in_order

ENDS = ("right", "wrong", "unknown", "refused")


def study(jobs: Sequence[tuple[str, int]], *, every: bool) -> list[Case]:
    """Run cases side by side; what is wrong is told at once, the rest with `every`."""
    cases: list[Case] = []
    for case in in_order(_case, jobs):
        cases.append(case)
        if every or case.end == "wrong":
            print(f"{case.end}: {case.kind}:{case.seed}  {case.note}", flush=True)
        if len(cases) % 50 == 0:
            print(f"{len(cases)} of {len(jobs)}", file=sys.stderr, flush=True)
    return cases


def _case(job: tuple[str, int]) -> Case:
    return run_case(*job)


def table(cases: list[Case]) -> str:
    """Count the ends of each kind."""
    rows = ["kind      " + "".join(f"{end:>9}" for end in ENDS) + f"{'decided':>9}"]
    found = {kind: Counter(c.end for c in cases if c.kind == kind) for kind in KINDS}
    found["all"] = Counter(case.end for case in cases)
    for kind, ends in found.items():
        if ends:
            decided = ends["right"] + ends["wrong"]
            rows.append(f"{kind:<10}" + "".join(f"{ends[e]:9d}" for e in ENDS) + f"{decided:9d}")
    return "\n".join(rows)


def main() -> None:
    """Run the study, or one case of it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--every", action="store_true", help="print every case")
    parser.add_argument("--again", metavar="KIND:SEED")
    parser.add_argument("--known", action="store_true")
    given = parser.parse_args()
    if given.again:
        kind, seed = given.again.split(":")
        print(run_case(kind, int(seed)))
        return
    kinds = given.kinds.split(",")
    fresh = [(kind, given.seed + k) for k in range(given.count) for kind in kinds]
    cases = study(ONCE_WRONG if given.known else fresh, every=given.every)
    print(f"seed {given.seed}\n{table(cases)}")
    sys.exit(any(case.end == "wrong" for case in cases))


if __name__ == "__main__":
    main()
