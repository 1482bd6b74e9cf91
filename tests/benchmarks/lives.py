"""What comes of doing whatever the next step says: `python tests/benchmarks/lives.py`.

Simulated shops, `--shops` of them with `--surfaces` each, work by the laws of `--law` in turn
(tests/shops/laws.py: one law, `hard`, `held-out` or `all`). Prints every bar of the advice beside
what was reached, with an oracle that knows the rates and a person who works half of the estimated
time. `--show SHOP,SURFACE` prints one life instead, visit by visit.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import asdict
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.parallel import in_order
from shops.laws import laws_of
from shops.life import MOST_VISITS
from shops.score import Finished, Row, shop_lives, table
from shops.shop import PITS_BY
from shops.words import life_lines, summary_line


def parsed() -> argparse.Namespace:
    """Take the options."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=24)
    parser.add_argument("--surfaces", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--law", default="hard", help="a law, hard, held-out or all")
    parser.add_argument("--visits", type=int, default=MOST_VISITS, help="given up after so many")
    parser.add_argument("--workers", type=int, default=2)
    habit = parser.add_mutually_exclusive_group()
    habit.add_argument("--hasty", dest="hasty", action="store_true", default=None)
    habit.add_argument("--careful", dest="hasty", action="store_false")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--list", action="store_true", help="one line a life")
    parser.add_argument("--show", metavar="SHOP,SURFACE", help="one life, visit by visit")
    return parser.parse_args()


def one_shop(options: argparse.Namespace, number: int) -> list[Finished]:
    """All lives of one shop."""
    laws = laws_of(options.law)
    # each law gets its share of hasty shops, and of those with a loupe, a gauge, nothing
    turn = number // len(laws)
    return shop_lives(
        number,
        laws[number % len(laws)],
        options.seed,
        options.surfaces,
        hasty=turn % 2 == 1 if options.hasty is None else options.hasty,
        pits_by=PITS_BY[(number + turn) % len(PITS_BY)],
        most_visits=options.visits,
    )


def main() -> None:
    """Run the lives, and print what came of them."""
    options = parsed()
    if options.show:
        shop, surface = map(int, options.show.split(","))
        options.surfaces = surface
        print("\n".join(life_lines(one_shop(options, shop)[-1])))
        return
    begun = time.perf_counter()
    lives: list[Finished] = []
    for some in in_order(partial(one_shop, options), range(options.shops), workers=options.workers):
        lives += some
        if options.list:
            print("\n".join(map(summary_line, some)), flush=True)
        else:
            print(f"\r{len(lives)} lives", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    rows = table(lives)
    if options.json:
        print(json.dumps([asdict(row) for row in rows], indent=1, ensure_ascii=False))
        return
    seconds = time.perf_counter() - begun
    print(f"{len(lives)} lives, laws {options.law}, seed {options.seed}, {seconds:.0f} s")
    for row in rows:
        print(line(row))


def line(row: Row) -> str:
    """One line of the table."""
    value = "-" if row.value is None else f"{row.value:.3f}"
    mark = {None: "", True: "", False: "  missed"}[row.met]
    return f"{row.what:<58}{value:>8}{row.count:>7}  {row.bar}{mark}".rstrip()


if __name__ == "__main__":
    main()
