"""The shipped example run whole by its command, and what that left."""

from __future__ import annotations

import io
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from fringe.cli import main
from fringe.demo import Demo, Logged, RunStatus, Scenario, run_demo


@dataclass(frozen=True)
class Once:
    """A run of `fringe demo`: where, what it gave back, told its watcher and printed."""

    folder: Path
    demo: Demo
    events: list[RunStatus | Logged]
    printed: str


def run_once(folder: Path) -> Once:
    """Run the example by the command, photographs, pictures, reports and all."""
    demos: list[Demo] = []
    events: list[RunStatus | Logged] = []

    def watched(
        out: Path, *, scenario: Scenario, on_event: Callable[[RunStatus | Logged], None]
    ) -> Demo:
        def both(event: RunStatus | Logged) -> None:
            events.append(event)
            on_event(event)

        demos.append(run_demo(out, scenario=scenario, on_event=both))
        return demos[0]

    printed, complaints = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.delenv("COLUMNS", raising=False)
        patch.setattr("fringe.demo.run.run_demo", watched)
        # starting others takes as long as the photographs; what would be sent to them is packed
        patch.setattr("fringe.parallel.cores", lambda: 1)
        for module in ("run", "reports"):
            patch.setattr(f"fringe.demo.{module}.in_order", _packed)
        with (
            redirect_stdout(printed),
            redirect_stderr(complaints),
            pytest.raises(SystemExit) as done,
        ):
            main(["demo", "--out", "demo"])
    assert (done.value.code or 0, complaints.getvalue()) == (0, "")
    return Once(folder, demos[0], events, printed.getvalue())


def _packed(
    function: Callable[[Any], Any], tasks: Sequence[Any], pool: Executor | None
) -> Iterator[Any]:
    """Do tasks in order, each and its result as another process would get them."""
    assert pool is None
    for task in tasks:
        work, given = pickle.loads(pickle.dumps((function, task)))
        yield pickle.loads(pickle.dumps(work(given)))


def everything(folder: Path) -> dict[str, bytes]:
    """Each file under a folder with its content."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
