"""How often what `fringe plan` foretells comes true: `python tests/benchmarks/plans.py`.

Simulated shops whose laws are not the plan's own (tests/shops) make their surfaces by the next
step. Half way through each life the plan is asked what is still to go, and held against what then
went: visits and minutes of work.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from fringe.judge.advice.plan import Habits, plan
from fringe.judge.judging import Judging
from fringe.parallel import in_order
from shops.judged import Logged
from shops.laws import laws_of
from shops.life import Life, live
from shops.readings import generator
from shops.shop import PITS_BY, Job, draw_job, draw_shop

Came = dict[str, tuple[float, float, float, float]]  # foretold middle, low, high; and what came


def parsed() -> argparse.Namespace:
    """Take the options."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=12)
    parser.add_argument("--surfaces", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--law", default="hard", help="a law, hard, held-out or all")
    parser.add_argument("--lives", type=int, default=40, help="drawn by each plan")
    parser.add_argument("--workers", type=int, default=2)
    return parser.parse_args()


def one_shop(options: argparse.Namespace, number: int) -> list[Came]:
    """Plans and outcomes of one shop's surfaces, its first one left out."""
    laws = laws_of(options.law)
    turn = number // len(laws)
    shop = draw_shop(
        generator(options.seed, number),
        laws[number % len(laws)],
        hasty=turn % 2 == 1,
        pits_by=PITS_BY[(number + turn) % len(PITS_BY)],
    )
    earlier: list[Logged] = []
    found = []
    for surface in range(1, options.surfaces + 1):
        job = draw_job(generator(options.seed, number, surface), shop)
        life = live(shop, job, earlier, (options.seed, number, surface))
        if life.stopped and len(life.seen) > 3 and not life.corrected:
            found.append(came(life, job, earlier, options.lives))
        earlier.append(Logged(job, tuple(life.visits)))
    return found


def came(life: Life, job: Job, earlier: list[Logged], lives: int) -> Came:
    """What was foretold half way through a life, and what came."""
    at = len(life.visits) // 2
    wavelength = job.aperture.wavelength_nm
    judging = Judging(
        replace(job.tolerance, wavelength_nm=wavelength),
        job.aperture,
        [one.other for one in earlier],
        life.visits[:at],
    )
    (one,) = plan([("one", judging)], life.visits[at - 1].when, Habits(), lives=lives).surfaces
    after = life.seen[at:]
    minutes = math.fsum(m for seen in after for _, m in seen.parts)
    truth = {"visits": float(len(after)), "work_minutes": minutes}
    ranges = {name: getattr(one, name) for name in truth}
    return {name: (r.median, r.low, r.high, truth[name]) for name, r in ranges.items()}


def main() -> None:
    """Print how many of the intervals held, and how the middles compare."""
    options = parsed()
    found: list[Came] = []
    for some in in_order(partial(one_shop, options), range(options.shops), workers=options.workers):
        found += some
        print(f"\r{len(found)} plans", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    for name in ("visits", "work_minutes"):
        rows = [one[name] for one in found]
        held = sum(low <= truth <= high for _, low, high, truth in rows)
        below = sum(truth < low for _, low, _, truth in rows)
        ratio = math.fsum(truth for *_, truth in rows) / math.fsum(middle for middle, *_ in rows)
        print(
            f"{name:<14} held {held}/{len(rows)} (90 % wanted), {below} below, came / foretold "
            f"{ratio:.2f}"
        )


if __name__ == "__main__":
    main()
