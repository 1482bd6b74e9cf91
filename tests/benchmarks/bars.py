"""Readings of every kind of work held against one set of bars.

    python tests/benchmarks/bars.py [--count 18] [--seed N] [--edge given|auto]...
        [--kind NAME]... [--workers N] [--save OUT.jsonl]
    python tests/benchmarks/bars.py --saved RUN.jsonl...

Kinds: the families of `accuracy.py`, the forms of `forms.py`, the turned rims of `rims.py` and
photographs of a phone in a workshop (`phone_drawn.py`); the last two are drawn by renderers that
share nothing with fringe's own. `--save` writes each case at once. Bars, over all kinds and each
way of having the edge: no gross error without a warning (0.25 fringe + 2 %); truth outside three
times U without a warning in at most 0.5 %; intervals of power that hold the truth in 93 to 98 %,
and in no kind under 90 %; intervals of B that hold it in 90 %, of a median width of at most 0.12;
B wrong by over 0.25 without a warning in at most 1 %; refused at most 3 %.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import accuracy
import forms
import rims
from cases import EDGES, Case, line_of, read_drawn, saved
from phone_drawn import LAMPS, drawn, random_phone

from fringe.parallel import in_order

KINDS = {
    **dict.fromkeys(accuracy.FAMILIES, accuracy),
    **{name: forms for name in forms.FORMS if name != "plain"},
    **{f"rim_{name}": rims for name in rims.KINDS if name != "plain"},
    "phone": None,
}


def phone(task: tuple[str, int, str]) -> Case:
    """Draw a phone's photograph and read it."""
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions
    from fringe.photo.ellipse import Edge

    _, seed, edge = task
    rng = np.random.default_rng([seed, 7919])
    work = random_phone(rng)
    image, (cx, cy) = drawn(work, rng)
    told: Edge | str = Edge(cx, cy, work.radius, work.radius) if edge == "given" else "auto"
    options = ReadOptions(
        lamp(LAMPS[work.lamp][0]), edge=told, diameter_mm=100.0, camera_distance_mm=1e5
    )
    return read_drawn(task, image, options, work.truth(), work.radius)


def one(task: tuple[str, int, str]) -> Case:
    """Draw a work of a kind and read it."""
    kind, seed, edge = task
    study = KINDS[kind]
    if study is None:
        return phone(task)
    return replace(study.one((kind.removeprefix("rim_"), seed, edge)), kind=kind)


def held(cases: Sequence[Case]) -> str:
    """Share of the intervals of power that hold the truth, in per cent."""
    return f"{100 * np.mean([case.held for case in cases]):5.1f}"


def row(name: str, cases: Sequence[Case]) -> str:
    """Line of the table."""
    read = [case for case in cases if case.refused is None]
    if not read:
        return f"{name:<14} {len(cases):>4} all refused"
    silent = [case for case in read if not case.warnings]
    warned = [case for case in read if case.warnings]
    error = np.abs([case.power_error for case in read])
    form = np.abs([case.irregularity_error for case in read])
    width = np.array([case.irregularity_u95 for case in read])
    edges = [abs(case.edge_error) <= 0.005 for case in read if not math.isnan(case.edge_error)]
    wrong_form = sum(abs(case.irregularity_error) > 0.25 for case in silent)
    return (
        f"{name:<14} {len(cases):>4} {len(cases) - len(read):>4} {len(warned):>4} |"
        f" {np.median(error):.4f} {np.percentile(error, 95):6.3f} {held(read)}"
        f" {held(warned) if warned else '    -'} |"
        f" {sum(c.gross for c in silent):>2} {sum(c.beyond for c in silent):>2} |"
        f" {np.median(form):.3f} {np.percentile(form, 95):6.3f}"
        f" {100 * np.mean(form <= width):5.1f} {np.median(width):.3f} {wrong_form:>2} |"
        f" {100 * np.mean(edges) if edges else math.nan:5.1f} |"
        f" {np.mean([c.seconds for c in cases]):.1f}"
    )


def table(cases: Sequence[Case]) -> None:
    """Print a table for each way of having the edge."""
    for edge in dict.fromkeys(case.edge for case in cases):
        mine = [case for case in cases if case.edge == edge]
        print(f"{EDGES[edge]}; errors in fringes, shares in per cent")
        print(
            "kind              n refd warn | P med   95 %  held  warned | silent: gross, beyond 3 U"
            " | B med  95 % held width silent > .25 | edges within 0.5 % | CPU s"
        )
        for kind in dict.fromkeys(case.kind for case in mine):
            print(row(kind, [case for case in mine if case.kind == kind]))
        print(row("all", mine))


def study(asked: argparse.Namespace) -> list[Case]:
    """Read all, keep each at once, and tell of those that miss a bar."""
    tasks = [
        (kind, asked.seed + number, edge)
        for number in range(asked.count)
        for kind in asked.kind or KINDS
        for edge in asked.edge or ("given", "auto")
    ]
    cases = []
    with open(asked.save or os.devnull, "a", encoding="utf-8", buffering=1) as kept:
        for case in in_order(one, tasks, workers=asked.workers):
            cases.append(case)
            kept.write(line_of(case))
            name = f"    {case.kind} {case.seed} {case.edge}, P {case.power:.2f}"
            if case.refused:
                print(f"{name}: {case.refused}", flush=True)
            elif case.gross or case.beyond:
                print(f"{name}: off by {case.power_error:+.3f}, U {case.power_u95:.3f}", flush=True)
    return cases


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=18)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--edge", action="append", choices=EDGES)
    parser.add_argument("--kind", action="append", choices=tuple(KINDS))
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--saved", type=Path, nargs="+")
    asked = parser.parse_args()
    cases = [c for path in asked.saved for c in saved(path)] if asked.saved else study(asked)
    table(cases)


if __name__ == "__main__":
    main()
