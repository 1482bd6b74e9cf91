"""How well an edge is found, and the form within it, where the rim is turned.

    python tests/benchmarks/rims.py [--count 8] [--seed N] [--edge auto|given]...
        [--kind NAME]... [--workers N] [--save OUT.jsonl]

Works are drawn by a renderer of its own: a turned rim by three laws (a power, a half cosine, an
exponential), with and without a chamfer, on dark ground, under a larger plate, in a cell or on
cloth. Bars: B within 15 % or held by its interval, power held by its own, nothing off by 0.25
fringe and three times its interval without a warning.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import defaultdict
from dataclasses import asdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from cases import Case, line_of, read_drawn
from rims_drawn import LAWS, SURROUNDS, Rim, drawn

from fringe.parallel import in_order

# least and greatest width, as shares of the radius
KINDS = {"broad": (0.08, 0.15), "middle": (0.04, 0.08), "narrow": (0.01, 0.04), "plain": (0.1, 0.1)}


def rim_of(kind: str, seed: int) -> Rim:
    """A random rim of a kind."""
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    low, high = KINDS[kind]
    radius = rng.uniform(200, 320)
    return Rim(
        power=math.exp(rng.uniform(math.log(1.0), math.log(10))) * rng.choice([-1, 1]),
        tilt=rng.uniform(0.5, 4),
        turn=0.0 if kind == "plain" else rng.uniform(0.3, 3.0) * rng.choice([-1, 1]),
        width=rng.uniform(low, high),
        law=str(rng.choice(LAWS)),
        radius=radius,
        turned_to=rng.uniform(0, 2 * math.pi),
        chamfer_px=rng.uniform(0.01, 0.03) * radius if rng.random() < 0.5 else 0.0,
        chamfer_level=float(rng.choice([0.05, 0.3, 0.9])),
        surround=str(rng.choice(SURROUNDS)),
        contrast=rng.uniform(0.4, 0.9),
        blur_px=rng.uniform(0.5, 1.0),
        noise=rng.uniform(0.004, 0.015),
    )


def one(task: tuple[str, int, str]) -> Case:
    """Draw a rim and read it."""
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions
    from fringe.photo.ellipse import Edge

    kind, seed, source = task
    rim = rim_of(kind, seed)
    image, (cx, cy) = drawn(rim, np.random.default_rng(seed))
    edge: Edge | str = Edge(cx, cy, rim.radius, rim.radius) if source == "given" else "auto"
    options = ReadOptions(lamp("hene"), edge=edge, diameter_mm=100.0, camera_distance_mm=1e5)
    return read_drawn(task, image, options, rim.truth(), rim.radius, asdict(rim))


def line(case: Case) -> str:
    """One case in a line."""
    rim = case.scene
    what = (
        f"{case.kind:<7}{case.seed:>6} {case.edge:<5} N {rim['power']:+5.1f} tilt {rim['tilt']:.1f}"
        f" turn {rim['turn']:+.1f}/{100 * rim['width']:4.1f}% {rim['law']:<11} {rim['surround']:<5}"
        f" ch {rim['chamfer_px']:3.0f} @{rim['chamfer_level']:.2f}"
    )
    if case.refused:
        return f"{what} REFUSED {case.refused[:90]} {case.seconds:.1f} s"
    return (
        f"{what} | edge {100 * case.edge_error:+.2f} +-{100 * case.edge_u:.2f} % P {case.power:.2f}"
        f" {case.power_error:+.3f} +-{case.power_u95:.3f} B {case.irregularity:.2f}"
        f" {case.irregularity_error:+.2f} +-{case.irregularity_u95:.2f}"
        f" {'W ' + case.warnings[0][:40] if case.warnings else ''} {case.seconds:.1f} s"
    )


def held_form(case: Case) -> bool:
    """Whether B is within 15 % or its interval holds it."""
    off = abs(case.irregularity_error)
    return off <= max(0.15 * case.irregularity, case.irregularity_u95)


def silent(case: Case) -> bool:
    """Whether power or B are far off without a warning."""
    off_b, off_p = abs(case.irregularity_error), abs(case.power_error)
    wrong = off_b > max(0.25, 1.5 * case.irregularity_u95) or off_p > 3 * case.power_u95
    return wrong and not case.warnings


def row(name: str, cases: list[Case]) -> str:
    """Line of the table."""
    read = [case for case in cases if case.refused is None]
    if not read:
        return f"{name:<14} {len(cases):>3} all refused"
    b, p = (
        np.abs([getattr(case, key) for case in read])
        for key in ("irregularity_error", "power_error")
    )
    edges = np.abs([case.edge_error for case in read])
    return (
        f"{name:<14} {len(cases):>3} refused {len(cases) - len(read):>2} warned"
        f" {sum(bool(case.warnings) for case in read):>2} | edge within 0.5 %"
        f" {int((edges < 0.005).sum()):>3} | P med {np.median(p):.3f} held"
        f" {sum(c.held for c in read):>3}/{len(read)} | B med"
        f" {np.median(b):.3f} U {np.median([c.irregularity_u95 for c in read]):.2f} held"
        f" {sum(map(held_form, read)):>3}/{len(read)} | silent {sum(map(silent, read)):>2} |"
        f" {np.mean([case.seconds for case in cases]):.1f} s"
    )


def main() -> None:
    """Draw, read, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--edge", action="append", choices=("given", "auto"))
    parser.add_argument("--kind", action="append", choices=tuple(KINDS))
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--each", action="store_true", help="print each case, too")
    asked = parser.parse_args()
    tasks = [
        (kind, asked.seed + number, edge)
        for edge in asked.edge or ("auto",)
        for kind in asked.kind or KINDS
        for number in range(asked.count)
    ]
    table: dict[tuple[str, str], list[Case]] = defaultdict(list)
    for case in in_order(one, tasks, workers=asked.workers):
        if asked.each:
            print(line(case), flush=True)
        if asked.save:
            with asked.save.open("a") as file:
                file.write(line_of(case))
        table[case.edge, case.kind].append(case)
        table[case.edge, "all"].append(case)
    for (edge, kind), some in table.items():
        print(row(f"{edge} {kind}", some))


if __name__ == "__main__":
    main()
