"""How well works are read that polishing has bent: zones, bumps, holes, turned edges, saddles.

    python tests/benchmarks/forms.py [--count 12] [--seed N] [--edge given|auto]...
        [--form NAME]... [--workers N] [--save OUT.jsonl]

Bars: truth outside three times U without a warning in at most 0.5 %; the 95 % intervals of power
and of B hold the truth in at least 90 % of each form; B off by over 0.25 fringe without a
warning in at most 1 %.
"""

from __future__ import annotations

import argparse
import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from cases import Case, line_of, read_drawn

from fringe.parallel import in_order

Rng = np.random.Generator


def _sign(rng: Rng) -> int:
    return 1 if rng.random() < 0.5 else -1


def _place(rng: Rng) -> tuple[float, float]:
    away, turn = 0.75 * math.sqrt(rng.random()), rng.uniform(0, 2 * math.pi)
    return away * math.cos(turn), away * math.sin(turn)


FORMS: dict[str, Callable[[Rng], dict[str, Any]]] = {
    "plain": lambda rng: {},
    "turned_narrow": lambda rng: {
        "turned_edge": _sign(rng) * rng.uniform(0.3, 2.0),
        "turned_edge_width": rng.uniform(0.03, 0.10),
    },
    "turned_broad": lambda rng: {
        "turned_edge": _sign(rng) * rng.uniform(0.3, 2.0),
        "turned_edge_width": rng.uniform(0.15, 0.35),
    },
    "zone": lambda rng: {
        "zone": _sign(rng) * rng.uniform(0.25, 1.0),
        "zone_radius": rng.uniform(0.3, 0.8),
        "zone_width": rng.uniform(0.04, 0.1),
    },
    "bump": lambda rng: {
        "bump": _sign(rng) * rng.uniform(0.3, 1.5),
        "bump_place": _place(rng),
        "bump_width": rng.uniform(0.06, 0.15),
    },
    "hole": lambda rng: {
        "zone": _sign(rng) * rng.uniform(0.3, 1.2),
        "zone_radius": 0.0,
        "zone_width": rng.uniform(0.06, 0.15),
    },
}


def scene_of(form: str, seed: int) -> tuple[Any, Rng]:
    """A clean scene of few aberrations with the form added, and its random generator."""
    from fringe.synth import random_scene
    from fringe.synth.families import resolved

    rng = np.random.default_rng([seed, sum(map(ord, form))])
    scene = random_scene(rng, "clean")
    plain = replace(
        scene.form,
        power=_sign(rng) * math.exp(rng.uniform(math.log(0.5), math.log(12))),
        tilt=rng.uniform(0.5, 4),
        turned_edge=0.0,
    )
    return resolved(replace(scene, form=replace(plain, **FORMS[form](rng)))), rng


def one(task: tuple[str, int, str]) -> Case:
    """Render a scene and read it."""
    from fringe.orders.options import ReadOptions
    from fringe.synth import render

    form, seed, edge = task
    scene, rng = scene_of(form, seed)
    shot = render(scene, rng)
    options = ReadOptions(
        scene.lamp,
        edge=scene.edge if edge == "given" else "auto",
        diameter_mm=100.0,
        camera_distance_mm=1e5,
    )
    truth = float(shot.truth["power_fringes"]), float(shot.truth["irregularity_fringes"])
    return read_drawn(task, shot.image, options, truth, math.sqrt(scene.edge.a * scene.edge.b))


def row(name: str, cases: list[Case]) -> str:
    """Line of the table."""
    read = [case for case in cases if case.refused is None]
    if not read:
        return f"{name:<14} {len(cases):>3} all refused"
    p, u_p, b, u_b = (
        np.array([getattr(case, field) for case in read])
        for field in ("power_error", "power_u95", "irregularity_error", "irregularity_u95")
    )
    silent = np.array([not case.warnings for case in read])
    return (
        f"{name:<14} {len(cases):>3} refused {len(cases) - len(read):>2} warned"
        f" {int((~silent).sum()):>2} | P med {np.median(abs(p)):.3f} p95"
        f" {np.percentile(abs(p), 95):.3f} covered {int((abs(p) <= u_p).sum()):>3}/{len(read)}"
        f" U {np.median(u_p):.3f} 3U silent {int(((abs(p) > 3 * u_p) & silent).sum())} | B med"
        f" {np.median(abs(b)):.3f} p95 {np.percentile(abs(b), 95):.3f} covered"
        f" {int((abs(b) <= u_b).sum()):>3}/{len(read)} U {np.median(u_b):.3f} >.25 silent"
        f" {int(((abs(b) > 0.25) & silent).sum())} | {np.mean([c.seconds for c in cases]):.1f} s"
    )


def main() -> None:
    """Render, read, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--edge", action="append", choices=("given", "auto"))
    parser.add_argument("--form", action="append", choices=tuple(FORMS))
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--save", type=Path)
    asked = parser.parse_args()
    tasks = [
        (form, asked.seed + number, edge)
        for edge in asked.edge or ("given", "auto")
        for form in asked.form or FORMS
        for number in range(asked.count)
    ]
    cases = list(in_order(one, tasks, workers=asked.workers))
    if asked.save:
        asked.save.write_text("".join(map(line_of, cases)))
    table: dict[tuple[str, str], list[Case]] = defaultdict(list)
    for case in cases:
        table[case.edge, case.kind].append(case)
        table[case.edge, "all"].append(case)
    for (edge, form), some in table.items():
        print(row(f"{edge[0]} {form}", some))


if __name__ == "__main__":
    main()
