"""How often 95 % intervals hold the truth: of form and power, settling, turning, and the rest.

    python tests/benchmarks/coverage.py [--count 20] [--seed N] [--only SECTION]...
        [--edge given|auto]... [--camera far|told|untold]... [--save OUT.jsonl] [--workers N]

`scenes` renders `--count` works of each family, once with its form and once as a perfect sphere,
and reads them with the edge given and found, from a far camera that is told and from one of 3
diameters off or more that is told or not. For power P, irregularity B, its symmetric part C, its
rms and astigmatism the table has the coverage, in brackets what it is at least (one-sided, 95 %,
Clopper and Pearson), the median U, the 95th percentile of the error [fringe] and the largest
error over U; below it the works of the worst. Bars: 90 to 98 % on clean scenes, 88 % on dirty.

`settling`, `turning`, `spherometer`, `pair` and `plates` run the simulations of the tests,
`--count` times ten each: coverage, in brackets what it is at least. `--save` keeps one line of
JSON a work.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from functools import cache, partial
from pathlib import Path
from types import ModuleType

import numpy as np
from scipy.stats import beta

sys.path.insert(0, str(Path(__file__).parents[1]))

from form_coverage import CAMERAS, EDGES, FAMILIES, QUANTITIES, Case, Outcome, outcome

from fringe.parallel import in_order

TESTS = Path(__file__).parents[1]
WORST = 6  # works that are named below a table


def at_least(held: int, count: int) -> float:
    """Lower end of what coverage so many hits allow, one-sided at 95 %."""
    return float(beta.ppf(0.05, held, count - held + 1)) if held else 0.0


def share(held: int, count: int) -> str:
    """Coverage in per cent with its lower bound."""
    return f"{100 * held / count:3.0f} ({100 * at_least(held, count):2.0f})" if count else "-"


def cases(asked: argparse.Namespace) -> list[Case]:
    """Every work in every way of reading that is asked for."""
    return [
        Case(family, perfect, edge, camera, asked.seed + k)
        for edge in asked.edge or EDGES
        for camera in asked.camera or CAMERAS
        for family in FAMILIES
        for perfect in (False, True)
        for k in range(asked.count)
    ]


def cell(found: Sequence[Outcome], letter: str) -> str:
    """Coverage, bound, median U, 95th percentile of the error, largest error over U."""
    held = sum(one.held(letter) for one in found)
    errors = np.abs([one.errors[letter] for one in found])
    u95 = np.median([one.u95[letter] for one in found])
    worst = max(one.ratio(letter) for one in found)
    return f"{share(held, len(found))} {u95:6.3f} {np.percentile(errors, 95):6.3f} {worst:4.1f}"


def row(name: str, found: Sequence[Outcome]) -> str:
    """One line of the table."""
    read = [one for one in found if one.refused is None]
    if not read:
        return f"{name:18}{len(found):4} all refused"
    cells = " | ".join(cell(read, letter) for letter in QUANTITIES)
    return f"{name:18}{len(read):4} | {cells}"


def table(title: str, found: Sequence[Outcome]) -> None:
    """Print one way of reading: families, with form and perfect, and all of them."""
    refused = sum(one.refused is not None for one in found)
    print(f"\n{title}; {refused} of {len(found)} refused; per quantity: % (at least), U, e95, e/U")
    print(f"{'':18}   n | " + " | ".join(f"{letter:27}" for letter in QUANTITIES))
    for family in FAMILIES:
        for perfect in (False, True):
            group = [o for o in found if (o.case.family, o.case.perfect) == (family, perfect)]
            if group:
                print(row(family + (", perfect" if perfect else ""), group))
    quiet = [one for one in found if not one.warned]
    print(row("not warned of", quiet))
    print(row("all", found))


def worst_of(found: Sequence[Outcome]) -> None:
    """Name the works whose error is largest beside U."""
    ranked = [
        (one.ratio(letter), letter, one)
        for one in found
        if one.refused is None
        for letter in QUANTITIES
    ]
    print("worst:")
    for ratio, letter, one in sorted(ranked, key=lambda entry: -entry[0])[:WORST]:
        case = one.case
        kind = "perfect" if case.perfect else "with form"
        print(
            f"    {letter:3} off {one.errors[letter]:+.3f}, U {one.u95[letter]:.3f} ({ratio:.1f}):"
            f" {case.family}, {kind}, seed {case.seed}{', warned' if one.warned else ''}"
        )


def scenes(asked: argparse.Namespace) -> None:
    """Read the works and print what their intervals hold."""
    found = []
    for one in in_order(outcome, cases(asked), workers=asked.workers):
        found.append(one)
        if asked.save:
            with asked.save.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(one)) + "\n")
    for edge in asked.edge or EDGES:
        for camera in asked.camera or CAMERAS:
            group = [o for o in found if (o.case.edge, o.case.camera) == (edge, camera)]
            table(f"edge {edge}, camera {camera}", group)
            worst_of(group)


@cache
def tests_of(path: str) -> ModuleType:
    """Load a test module, for the simulation that it has; files of one name may be two."""
    spec = importlib.util.spec_from_file_location(Path(path).stem + "_of_study", TESTS / path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def settling(asked: argparse.Namespace) -> None:
    """Ends of settling curves, of one time constant and of 70 % tau with 30 % four times that."""
    from fringe.judge.settling.settle import settle

    simulate = tests_of("judge/settling/test_settle.py").simulate
    count, rng = 10 * asked.count, np.random.default_rng(asked.seed)
    print("\nsettling: end in the interval | what is to come | called settled, wrongly")
    for slow, name in ((0.0, "one exponential"), (0.3, "70 % tau + 30 % 4 tau")):
        for counts in ((4, 7), (8, 16)):
            for understated in (1.0, 0.5):
                ends = left = settled = wrong = 0
                for _ in range(count):
                    times, powers, u, remaining = simulate(rng, (0.3, 8.0), counts, slow)
                    found = settle(times, powers, understated * u, limit_fringes=0.2)
                    end, rest = found.power_fringes, found.remaining_fringes
                    ends += end.low <= 1.3 <= end.high
                    left += rest.low <= remaining <= rest.high
                    settled += found.state == "settled"
                    wrong += found.state == "settled" and abs(remaining) > 0.2
                kind = f"{name}, {counts[0]} to {counts[1] - 1} readings, u x {understated:g}"
                print(
                    f"    {kind:52} {share(ends, count)} | {share(left, count)} |"
                    f" {settled}, {wrong} of {count}"
                )


def turning(asked: argparse.Namespace) -> None:
    """Coefficients of work and plate from readings with the work turned."""
    held_of = tests_of("judge/test_turning.py").held
    count, rng = 10 * asked.count, np.random.default_rng(asked.seed)
    print("\nturning: coefficients of work and plate in their intervals")
    for angles in ((0, 90), (0, 120, 240), (0, 72, 144, 216, 288)):
        held, total = np.sum([held_of(rng, angles) for _ in range(count)], axis=0)
        # those of one test are independent of each other: their noise is white
        print(f"    {len(angles)} positions: {share(int(held), int(total))} of {total}")


def spherometer(asked: argparse.Namespace) -> None:
    """Radius, difference and depth by few readings each of plate, work and zero."""
    module = tests_of("judge/spherometer/test_compare.py")
    count, rng = 10 * asked.count, np.random.default_rng(asked.seed)
    print("\nspherometer: radius | difference | depth")
    for kind in ("ring", "legs", "balls"):
        for repeats in (2, 3, 5):
            one = replace(module.KINDS[kind], u_contact_mm=0.004)
            if kind == "balls":
                one = replace(one, u_ball_mm=0.002)
            held = module.simulate(
                rng, one, "convex", repeats=repeats, u_gauge=1e-4, scatter=4e-4, u_plate=0.3,
                by_plate=True, trials=count,
            ) * count  # fmt: skip
            cells = " | ".join(share(round(each), count) for each in held)
            print(f"    {kind}, {repeats} readings of each: {cells}")


def pair(asked: argparse.Namespace) -> None:
    """Mismatch, radii and power of pairs with evidence of every kind."""
    held_of = tests_of("judge/pair/test_match.py").held
    count, rng = 10 * asked.count, np.random.default_rng(asked.seed)
    held = np.sum([held_of(rng) for _ in range(count)], axis=0)
    cells = " | ".join(share(int(one), count) for one in held)
    print(f"\npair: mismatch | convex | concave | power: {cells}")


def plates(asked: argparse.Namespace) -> None:
    """Radii of two plates by certificate, spherometer and contacts, by how their gauge errs."""
    from fringe.quantity import half_width

    simulated = tests_of("judge/plates/test_plate_radii.py").simulated
    count, rng = 10 * asked.count, np.random.default_rng(asked.seed)
    print("\nplates: radius of the certified | of the other | called contradictory")
    for common, name in ((True, "the gauge errs alike at each visit"), (False, "anew")):
        held, wrong = {"P": 0, "Q": 0}, 0
        for _ in range(count):
            found, truth = simulated(rng, common=common)
            for plate, true in truth.items():
                value, u = found.radius(plate)
                held[plate] += abs(value - true) <= half_width(u)
            wrong += bool(found.held.contradictions)
        cells = " | ".join(share(one, count) for one in held.values())
        print(f"    {name}: {cells} | {wrong} of {count}")


SECTIONS: dict[str, Callable[[argparse.Namespace], None]] = {
    "scenes": scenes,
    "settling": settling,
    "turning": turning,
    "spherometer": spherometer,
    "pair": pair,
    "plates": plates,
}


def main() -> None:
    """Run the sections that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    several = partial(parser.add_argument, action="append")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    several("--only", choices=SECTIONS)
    several("--edge", choices=EDGES)
    several("--camera", choices=CAMERAS)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--workers", type=int)
    asked = parser.parse_args()
    print(f"seed {asked.seed}, count {asked.count}")
    for name in asked.only or SECTIONS:
        SECTIONS[name](asked)


if __name__ == "__main__":
    main()
