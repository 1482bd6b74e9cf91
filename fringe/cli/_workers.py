"""Options of commands that read many photographs: who reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def worker_options(function: F) -> F:
    """Add `--workers` and `--scheduler`, which the function receives by these names."""
    function = click.option(
        "--scheduler", metavar="ADDRESS", help="Dask scheduler that reads, as tcp://host:8786."
    )(function)
    return click.option(
        "--workers",
        type=click.IntRange(1),
        metavar="N",
        help="Photographs read at once; without it one a core.",
    )(function)
