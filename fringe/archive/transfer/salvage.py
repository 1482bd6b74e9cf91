"""Parts of damaged sessions that can still be read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fringe.archive.store import hdf5
from fringe.archive.store.read import parts_of
from fringe.archive.store.session import Photograph
from fringe.errors import BadInput
from fringe.parallel import run_apart


def salvage(paths: Sequence[Path]) -> dict[Path, tuple[str, ...]]:
    """Name the parts of damaged sessions that still read.

    The files are interpreted although they are known to be damaged, so that is done in another
    process, which may die of it.

    Parameters
    ----------
    paths : sequence of Path
        Sessions' files that a check found damaged.

    Returns
    -------
    dict
        For each file the parts that read, for a person; empty where nothing does.
    """
    found = run_apart(readable_parts, paths)
    return {path: parts or () for path, parts in zip(paths, found, strict=True)}


def readable_parts(path: Path) -> tuple[str, ...]:
    """Name the parts of one session that read.

    Only HDF5's own checksums speak for a part; for a photograph its own digest does.
    """
    found: list[str] = []
    try:
        with hdf5.opened(path) as file:
            for name, read in parts_of(path, file):
                try:
                    part = read()
                except Exception:  # HDF5 raises many kinds
                    continue
                if isinstance(part, Photograph):
                    name += f" ({part.file_name}), whole by its own digest"
                found.append(name)
    except BadInput:
        pass  # it does not open, or a count of its parts is lost
    return tuple(found)
