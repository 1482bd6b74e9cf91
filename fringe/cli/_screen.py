"""Where a command prints tables: the terminal, or a file or a pipe that has no width."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


def console(wide: int = 160) -> Console:
    """Return a console as wide as the terminal; `wide` columns where there is none."""
    from rich.console import Console

    shown = Console(highlight=False)
    if not shown.is_terminal and "COLUMNS" not in os.environ:
        return Console(highlight=False, width=wide)
    return shown
