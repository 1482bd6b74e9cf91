"""A bar or a turning mark on standard error while something takes its time.

Nothing is shown with `--json`, nor where standard error is no terminal.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Tell = Callable[[int, int], None]


@contextmanager
def steps(what: str, *, quiet: bool = False) -> Iterator[Tell]:
    """Show how many steps are done; the block gets the function to tell it by."""
    if quiet or not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


@contextmanager
def waiting(what: str, *, quiet: bool = False) -> Iterator[None]:
    """Show that something is at work, and for how long it has been."""
    if quiet or not sys.stderr.isatty():
        yield
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as mark:
        mark.add_task(what, total=None)
        yield
