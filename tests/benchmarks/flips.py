"""One bit of an archive's files flipped, three thousand times: is it noticed?

    python tests/benchmarks/flips.py                3,000 flips
    python tests/benchmarks/flips.py --flips 100

Sessions, a surface's record and the ledger, in turns weighed by their sizes. A session or record
must be found damaged by what checks it alone, the ledger by its chain.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.archive.store.ledger import LEDGER, read_ledger
from fringe.archive.store.record_text import read_text_record
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_session
from fringe.errors import BadInput
from sample_visits import full_surface, full_visit, plain_visit


def noticed(path: Path) -> bool:
    """Whether a file is found damaged."""
    if path.suffix == ".h5":
        return check_session(path) is not None
    try:
        if path.name == LEDGER:
            return bool(read_ledger(path.parent).problems)
        read_text_record(path)
    except BadInput:
        return True
    return False


def main() -> None:
    """Flip, look, and put it right again."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--flips", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    seen: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        surface = full_surface(Path(place) / "shop")
        for visit in (full_visit(rng), plain_visit(), plain_visit()):
            log_visit(surface, visit)
        files = [path for path in Path(place).rglob("*.*") if path.is_file()]
        files = [one for one in files if one.suffix in (".h5", ".json", ".jsonl")]
        whole = {path: path.read_bytes() for path in files}
        sizes = np.array([len(data) for data in whole.values()])
        for _ in range(given.flips):
            # half of them by size, so that the small files are hit as well
            path = files[
                rng.choice(len(files), p=None if rng.random() < 0.5 else sizes / sizes.sum())
            ]
            data = bytearray(whole[path])
            data[rng.integers(len(data))] ^= 1 << int(rng.integers(8))
            path.write_bytes(data)
            seen[f"{path.suffix} {'noticed' if noticed(path) else 'MISSED'}"] += 1
            path.write_bytes(whole[path])
    print(f"seed {given.seed}: {dict(sorted(seen.items()))}")


if __name__ == "__main__":
    main()
