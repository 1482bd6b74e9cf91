"""How often forecasts of the work hold: `python tests/benchmarks/forecast.py [COUNT]`.

For each history, COUNT simulated shops (2000 without it): the share whose time to the tolerance
lay in the 90 % interval, the shares that came earlier and later, how often the next spell ended
in its interval, and how wide the interval is, as the ratio of its ends (median). The bars are
those of the tests: 85 to 95 % over all histories together.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simulated_histories import Outcome, outcome

CASES = [
    (1, 0, None), (2, 0, None), (3, 0, None), (6, 0, None), (12, 0, None),
    (0, 1, None), (0, 3, None), (0, 8, None), (1, 4, None), (3, 6, None),
    (3, 0, 0.1), (3, 0, 0.4), (8, 0, 0.1), (8, 0, 0.4),
]  # fmt: skip


def row(found: list[Outcome]) -> str:
    """One line of the table."""
    covered = np.mean([one.covered for one in found])
    early = np.mean([one.early for one in found])
    after = np.mean([one.after_covered for one in found if one.after_covered is not None])
    ends = [(one.forecast.minutes.low, one.forecast.minutes.high) for one in found]
    wide = np.median([np.inf if high is None else high / low for low, high in ends if low])
    return (
        f"{100 * covered:8.1f} %{100 * early:8.1f} %{100 * (1 - covered - early):8.1f} %"
        f"{100 * after:11.1f} %{wide:9.1f}"
    )


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    rng = np.random.default_rng(20261125)
    print(f"{count} shops a line")
    print("own  like  spells differ   covered    early     late  next spell    ratio")
    every: list[Outcome] = []
    for own, like, differ in CASES:
        found = [outcome(rng, own, like, differ) for _ in range(count)]
        every += found if differ is None else []
        spread = "10 to 40 %" if differ is None else f"{100 * differ:.0f} %"
        print(f"{own:3d}{like:6d}{spread:>15}{row(found)}")
    print(f"{'all of 10 to 40 %':>24}{row(every)}")


if __name__ == "__main__":
    main()
