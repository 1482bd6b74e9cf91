"""Moves of surfaces that were cut off: the folder gets its name back where it lies.

While a surface moves, its folder has a hidden name, first in the archive that it leaves and then
in the one that it comes to. Killed before the second rename it is where it was, and afterwards
where it should be; in both cases it only lacks its name. Who moves holds the folder, so that a
move that is under way is left alone.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path

from fringe.archive.store.claim import held
from fringe.errors import BadInput
from fringe.files import MOVING, sync_folder

# without locks, a folder that nobody touched for so long is not on its way any more
_ABANDONED_S = 600.0


def interrupted_moves(archive: Path) -> list[Path]:
    """Hidden folders of surfaces that are on their way, or whose move was cut off."""
    try:
        names = os.listdir(archive)
    except OSError:
        return []
    hidden = (archive / n for n in names if n.startswith(".") and n.endswith(MOVING))
    return sorted(one for one in hidden if one.is_dir())


def folder_name(hidden: Path) -> str:
    """Name that a hidden folder had before its move."""
    return hidden.name.removesuffix(MOVING)[1:].rpartition(".")[0]


def finish_moves(archive: Path) -> list[Path]:
    """Give surfaces whose move was cut off their names back, where that can be done.

    Returns
    -------
    list of Path
        Their folders.
    """
    done = []
    for hidden in interrupted_moves(archive):
        final = archive / folder_name(hidden)
        # read-only, or its name is taken: the check tells
        with suppress(OSError, BadInput), held(hidden, patience_s=0.0) as alone:
            abandoned = alone or time.time() - hidden.stat().st_ctime > _ABANDONED_S
            if abandoned and not final.exists():
                os.rename(hidden, final)
                sync_folder(archive)
                done.append(final)
    return done
