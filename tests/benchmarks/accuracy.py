"""How well one photograph is read: errors, coverage, misreads and refusals on random scenes.

    python tests/benchmarks/accuracy.py [--count 20] [--family NAME]... [--edge given|auto]...
        [--seed N] [--workers N] [--save OUT.jsonl] [--picture OUT.png]
    python tests/benchmarks/accuracy.py --saved RUN.jsonl... [--picture OUT.png]

Draws `--count` scenes of each family, reads each, and prints a table with the bars beside it.
`--edge` twice reads them both ways. `--save` writes what was found of each scene at once, a line of
JSON each, so that a run that is stopped is not lost; `--saved` tabulates and draws what was kept,
of several runs together, without reading anything again. Bars:
power within 0.01 + 0.1 % (median) and 0.03 + 0.5 % (95th percentile) when the edge is given,
0.03 + 1 % (95th percentile) when it is found, and then the edge within 0.5 % of its radius in
98 % of scenes; irregularity within 0.05 fringe (95th percentile) where it is 0.05 to 2; fewer
than 1 in 500 off by 0.25 fringe + 2 % without a word; refusals in fewer than 3 %; the 95 %
interval holds the truth in 93 to 98 %, and in no family under 90 %.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from cases import EDGES, Case, gross_bar, line_of, read_drawn, saved

from fringe.parallel import in_order

# the families, each with its mark and a colour that colour-blind eyes tell from the others
# (Okabe and Ito, Color Universal Design, 2008)
MARKS = {
    "clean": ("o", "#0072B2"),
    "dirty": ("s", "#D55E00"),
    "oval": ("^", "#009E73"),
    "led": ("v", "#CC79A7"),
    "high_power": ("D", "#E69F00"),
    "low_power": ("p", "#56B4E9"),
}
FAMILIES = tuple(MARKS)
LEAST_DRAWN, MOST_DRAWN = 1e-4, 10.0  # errors beyond are drawn there [fringe]


def median_bar(power: Any) -> Any:
    """Half of the readings are to be as near as this, with the edge given [fringe]."""
    return 0.01 + 0.001 * power


def bar_95(power: Any, edge: str) -> Any:
    """95 of 100 readings are to be as near as this [fringe]."""
    return 0.03 + (0.005 if edge == "given" else 0.01) * power


def one(task: tuple[str, int, str]) -> Case:
    """Render a scene and read it."""
    from fringe.orders.options import ReadOptions
    from fringe.synth import random_scene, render

    family, seed, edge = task
    rng = np.random.default_rng([seed, FAMILIES.index(family)])
    scene = random_scene(rng, family)
    shot = render(scene, rng)
    options = ReadOptions(
        scene.lamp,
        edge=scene.edge if edge == "given" else "auto",
        diameter_mm=scene.diameter_mm,
        camera_distance_mm=scene.camera_distance_mm,
    )
    truth = float(shot.truth["power_fringes"]), float(shot.truth["irregularity_fringes"])
    return read_drawn(task, shot.image, options, truth, float(np.sqrt(scene.edge.a * scene.edge.b)))


def row(name: str, cases: Sequence[Case]) -> str:
    """Line of the table: what was found, as shares of the bars."""
    read = [case for case in cases if case.refused is None]
    if not read:
        return f"{name:<11} {len(cases):>5}   all refused"
    error = np.abs([case.power_error for case in read])
    power = np.array([case.power for case in read])
    held = np.mean([case.held for case in read])
    form = [abs(case.irregularity_error) for case in read if 0.05 <= case.irregularity <= 2]
    found = np.mean([abs(case.edge_error) <= 0.005 for case in read])
    return (
        f"{name:<11} {len(cases):>5} {np.median(error):8.4f}"
        f" {np.median(error / median_bar(power)):7.2f}"
        f" {np.percentile(error, 95):8.4f}"
        f" {np.percentile(error / bar_95(power, cases[0].edge), 95):7.2f}"
        f" {np.percentile(form, 95) if form else np.nan:7.3f} {100 * held:6.1f} %"
        f" {100 * found:6.1f} % {sum(case.gross for case in cases):>5}"
        f" {len(cases) - len(read):>7} {np.mean([case.seconds for case in cases]):6.1f} s"
    )


def table(cases: Sequence[Case]) -> None:
    """Print a table for each way of having the edge."""
    for edge in dict.fromkeys(case.edge for case in cases):
        mine = [case for case in cases if case.edge == edge]
        seeds = [case.seed for case in mine]
        print(f"{EDGES[edge]}, seeds {min(seeds)} to {max(seeds)}; errors in fringes")
        print(
            "family      scene   median /bar      95 %     /bar   B 95 % interval edge 0.5 % gross"
            " refused   time"
        )
        for family in dict.fromkeys(case.kind for case in mine):
            print(row(family, [case for case in mine if case.kind == family]))
        print(row("all", mine))


def picture(cases: Sequence[Case], path: Path) -> None:
    """Draw error against power with the bars, a panel for each way of having the edge."""
    from matplotlib.figure import Figure

    edges = [edge for edge in EDGES if any(case.edge == edge for case in cases)]
    figure = Figure(figsize=(4.6 * len(edges) + 0.4, 5.4), layout="constrained")
    panels = figure.subplots(1, len(edges), sharex=True, sharey=True, squeeze=False)[0]
    for axes, edge in zip(panels, edges, strict=True):
        mine = [case for case in cases if case.edge == edge]
        _bars(axes, edge)
        _points(axes, mine)
        refused = sum(case.refused is not None for case in mine)
        warned = sum(bool(case.warnings) for case in mine)
        axes.set(
            xscale="log",
            yscale="log",
            xlim=(0.02, 200),
            ylim=(0.8 * LEAST_DRAWN, 4 * MOST_DRAWN),
            xlabel="power, magnitude [fringe]",
            title=f"{EDGES[edge]}: {len(mine)} scenes, {warned} warned, {refused} refused",
        )
        axes.set_title(axes.get_title(), fontsize=10)
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter("{x:g}")
        axes.grid(visible=True, alpha=0.25, lw=0.5)
        axes.spines[["top", "right"]].set_visible(False)
        axes.axhline(1.6 * MOST_DRAWN, color="0.6", lw=0.6)
        axes.text(0.024, 2.4 * MOST_DRAWN, "refused", fontsize=8, va="center", color="0.3")
    panels[0].set_ylabel("error of power, magnitude [fringe]")
    _legend(figure, panels[0], edges)
    figure.savefig(path, dpi=110)


def _bars(axes: Any, edge: str) -> None:
    power = np.geomspace(0.02, 200, 200)
    axes.plot(power, gross_bar(power), "k-.", lw=1)
    axes.plot(power, bar_95(power, edge), "k-", lw=1.2)
    if edge == "given":
        axes.plot(power, median_bar(power), "k:", lw=1.2)


def _points(axes: Any, cases: Sequence[Case]) -> None:
    """Filled where nothing was said, hollow where it warned, in the top strip where refused."""
    for case in cases:
        mark, colour = MARKS[case.kind]
        error = float(np.clip(abs(case.power_error), LEAST_DRAWN, MOST_DRAWN))
        axes.plot(
            case.power,
            2.4 * MOST_DRAWN if case.refused else error,
            mark,
            markersize=5,
            mec=colour,
            mfc="none" if case.warnings or case.refused else colour,
            alpha=0.8,
        )


def _legend(figure: Any, axes: Any, edges: Sequence[str]) -> None:
    """Below the panels, clear of the points."""
    shown = [
        axes.plot(
            [],
            [],
            mark,
            color=colour,
            markersize=5,
            ls="none",
            label={"led": "LED"}.get(family, family.replace("_", " ")),
        )[0]
        for family, (mark, colour) in MARKS.items()
    ]
    shown += [
        axes.plot([], [], "o", mec="0.3", mfc=fill, markersize=5, ls="none", label=label)[0]
        for fill, label in (
            ("0.3", "read without a word"),
            ("none", "read with a warning"),
            ("none", "in the top strip: refused"),
        )
    ]
    lines = [("-.", "bar for all but 1 in 500, or a warning"), ("-", "bar for 95 of 100")]
    if "given" in edges:
        lines.append((":", "bar for the median"))
    shown += [axes.plot([], [], f"k{style}", lw=1.2, label=label)[0] for style, label in lines]
    figure.legend(
        handles=shown,
        loc="outside lower center",
        ncols=4 if len(edges) > 1 else 3,
        fontsize=8,
        frameon=False,
    )


def study(
    families: Sequence[str],
    count: int,
    edges: Sequence[str],
    seed: int,
    workers: int | None,
    save: Path | None,
) -> list[Case]:
    """Read the scenes, as many at once as there are workers; say which are misread or refused."""
    tasks = [
        (family, seed + k, edge) for edge in edges for family in families for k in range(count)
    ]
    cases: list[Case] = []
    with (
        open(save or os.devnull, "w", encoding="utf-8", buffering=1) as kept,
    ):
        for case in in_order(one, tasks, workers=workers):
            cases.append(case)
            kept.write(line_of(case))
            if case.gross or case.refused:
                what = case.refused or f"read {case.power_error:+.2f} off"
                name = f"{case.kind} {case.seed}, {EDGES[case.edge]}, power {case.power:.2f}"
                print(f"    {name}: {what}", flush=True)
    return cases


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--family", action="append", choices=FAMILIES)
    parser.add_argument("--edge", action="append", choices=EDGES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--saved", type=Path, nargs="+")
    parser.add_argument("--picture", type=Path)
    asked = parser.parse_args()
    if asked.saved:
        cases = [case for path in asked.saved for case in saved(path)]
    else:
        edges = asked.edge or ["given"]
        families = asked.family or FAMILIES
        cases = study(families, asked.count, edges, asked.seed, asked.workers, asked.save)
    table(cases)
    if asked.picture:
        picture(cases, asked.picture)


if __name__ == "__main__":
    main()
