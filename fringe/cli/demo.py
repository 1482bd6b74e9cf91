"""`fringe demo`: the shipped example, from first grit to matched pair."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import Written, json_option
from fringe.cli.printing import print_json

if TYPE_CHECKING:
    from fringe.demo.outcome import Demo, FinishedSurface, Logged, RunStatus

OUT = "fringe-demo"
STATES = {"inside": "green", "unproven": "yellow", "outside": "red"}


@click.command("demo", short_help="Run the shipped example from first contact to matched pair.")
@click.option(
    "--out",
    type=Written(kind="folder"),
    default=OUT,
    show_default=True,
    metavar="FOLDER",
    help="Folder to make; an earlier run's is replaced.",
)
@click.option(
    "--render",
    type=Written(kind="folder"),
    metavar="FOLDER",
    hidden=True,
    help="Only render the example's photographs again, into this folder.",
)
@json_option
def command(out: Path, render: Path | None, as_json: bool) -> None:
    """Run the shipped example from first contact to matched pair.

    An invented instrument: its convex is ground and polished to a certified plate, then its
    concave to the finished convex. Each visit to the bench is logged as it would be by hand;
    its photographs are read, judged and kept. It leaves a folder with the archive, a picture
    of each reading, a plot of the progress and a report of each piece, and says what to look
    at first. Anything in the way that it did not make itself is left alone.

    \b
    Example:
      fringe demo --out 'first look'
    """
    if render is not None:
        _render(render, as_json)
        return
    from fringe.demo.folder import check_target
    from fringe.demo.run import run_demo
    from fringe.demo.scenario import load_scenario

    check_target(out)
    scenario = load_scenario()
    if not as_json:
        click.echo(scenario.about)
    with _watching(quiet=as_json) as on_event:
        demo = run_demo(out, scenario=scenario, on_event=on_event)
    if as_json:
        print_json(demo.to_json())
    else:
        _tell_end(demo)


def _render(folder: Path, as_json: bool) -> None:
    from fringe.demo.photographs import render_photographs
    from fringe.demo.scenario import load_scenario

    written = []
    for path in render_photographs(load_scenario(), folder):
        written.append(str(path))
        if not as_json:
            click.echo(path)
    if as_json:
        print_json({"photographs": written})


@contextmanager
def _watching(*, quiet: bool) -> Iterator[Callable[[RunStatus | Logged], None]]:
    """Show a line a visit, and below them on a terminal a bar of what is being done."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from fringe.demo.outcome import RunStatus

    console = Console(highlight=False, soft_wrap=True, stderr=quiet)
    columns = (BarColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("starting", total=None)

        def on_event(event: RunStatus | Logged) -> None:
            if isinstance(event, RunStatus):
                bar.update(task, completed=event.done, total=event.total, description=event.doing)
            elif not quiet:
                for line in _lines(event):
                    console.print(line)

        yield on_event


def _lines(event: Logged) -> Iterator[str]:
    """What there is to say of a visit; before a surface's first one, what is being made."""
    from rich.markup import escape

    from fringe.format import plus_minus

    surface = event.surface
    if event.number == 1:
        limit = surface.tolerance.power_fringes or 0.0
        yield ""
        plate = surface.plate
        radius = plus_minus(surface.plate_radius_mm, _u95(plate.radius_u_mm), "mm", digits=7)
        yield (
            f"[bold]{escape(surface.name)}[/bold], laid on {escape(plate.name or '')} of "
            f"{radius}, to ±{limit:.3g} fringes"
        )
    row = event.row
    state = row.verdict or ""
    colour = STATES.get(state)
    shown = f"[{colour}]{state:<9}[/{colour}]" if colour else f"{'':9}"
    work, result = escape(f"{_work(event):<28}"), f"{_result(event):<25}"
    yield f"{event.number:>3}  {work}{result}{shown}{event.next_step.short()}".rstrip()
    if event.settled is not None:
        end = event.settled.power_fringes
        shown = plus_minus(end.value, end.u95, "fringes", signed=True)
        yield f"{'':5}{'by its drift, settled':<28}{shown}"


def _u95(u: float | None) -> float | None:
    from fringe.student_t import coverage_factor

    return None if u is None else coverage_factor() * u


def _work(event: Logged) -> str:
    row = event.row
    if row.stage is None:
        return "no work since"
    on_top = f", {row.on_top} on top" if row.on_top else ""
    return f"{row.stage} {row.minutes or 0:g} min{on_top}"


def _result(event: Logged) -> str:
    from fringe.format import plus_minus

    row, sag = event.row, event.sag
    if sag is not None:
        depth = plus_minus(abs(sag.depth_um.value), sag.depth_um.u95, "µm")
        return f"{depth} {sag.state.removeprefix('too ')}"
    if row.power_fringes is None:
        return ""
    signed = row.sense != "unknown"
    return plus_minus(row.power_fringes, row.power_u95_fringes, "fringes", signed=signed)


def _tell_end(demo: Demo) -> None:
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    for made in demo.surfaces:
        console.print()
        for line in _verdict(made):
            console.print(Text(line))
    console.print()
    answer, *evidence = _pair(demo)
    console.print(Text(answer), style="bold")
    for line in evidence:
        console.print(Text(line))
    console.print()
    for label, path, what in (
        ("look first at", demo.look_first, "in a browser: verdict, evidence, history of both"),
        ("then at", demo.overlays[0].parent, "the lines must lie on the dark fringes"),
        ("the record", demo.archive, "a folder a surface, a file a visit"),
        ("and now", demo.guide, "what to type next"),
    ):
        console.print(Text(f"{label:<15}{path}"))
        console.print(Text(f"{'':15}{what}", style="dim"))


def _verdict(made: FinishedSurface) -> Iterator[str]:
    from fringe.format import plus_minus
    from fringe.student_t import coverage_factor

    radius = plus_minus(made.radius_mm, coverage_factor() * made.radius_u_mm, "mm", digits=7)
    yield f"{made.surface.name}: {made.verdict.state}, radius {radius}"
    for part in made.verdict.parts:
        yield f"  {part.reason}"


def _pair(demo: Demo) -> Iterator[str]:
    """Say whether the pair matches, by all evidence on both."""
    from fringe.format import capital
    from fringe.judge.pair.next_step import mismatch_text, together_text
    from fringe.judge.tolerance.verdict_words import PAIR, probability_cell

    first, second = demo.surfaces[-2:]
    limit = second.surface.tolerance.power_fringes or 0.0
    yield (
        f"{capital(PAIR[demo.pair.state])}: {second.surface.name} "
        f"on {first.surface.name}, {demo.pair.state} the ±{limit:.3g} fringes of the system."
    )
    found = demo.judged_pair.pair
    yield f"  {mismatch_text(found)}, {probability_cell(demo.pair.probability)} probable to conform"
    yield f"  laid together {together_text(found)}"
