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
    from rich.text import Text

    from fringe.demo.outcome import Demo, Logged, RunStatus
    from fringe.demo.text import Line

OUT = "fringe-demo"


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
        return
    _show_end(demo)


def _show_end(demo: Demo) -> None:
    from rich.console import Console

    from fringe.demo.text import end_lines

    screen = Console(highlight=False, soft_wrap=True)
    for line in end_lines(demo):
        screen.print(_styled(line))


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
    from fringe.demo.text import logged_lines

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
                for line in logged_lines(event):
                    console.print(_styled(line))

        yield on_event


def _styled(line: Line) -> Text:
    from rich.text import Text

    return Text.assemble(*line)
