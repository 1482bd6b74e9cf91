"""What was believed of a surface after its last visits, kept in the archive's index.

A file `.index/NAME.belief` is a line with a digest of the rest, then an `.npz` of arrays. The
line names the code that decided, so that another program works it out anew; the states' own keys
say which visits, of which shop, they have taken in.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fringe.archive.store.deciding import deciding_code
from fringe.archive.store.kept_file import keep, kept_rest
from fringe.archive.store.kept_summaries import FOLDER
from fringe.judge.state.memory import FilterState

SUFFIX = ".belief"
_MAX_BYTES = 50_000_000
_FACTS = "facts"


class BeliefMemory:
    """What the index keeps of one surface; a `Memory` of the filter.

    Parameters
    ----------
    folder : Path
        The surface's.
    """

    def __init__(self, folder: Path) -> None:
        self._place = folder.parent / FOLDER / (folder.name + SUFFIX)

    def recall(self) -> list[FilterState]:
        """The states that are kept; none where the file is not whole, or of another program."""
        rest = kept_rest(self._place, _first, _MAX_BYTES)
        try:
            return [] if rest is None else _states(rest)
        except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile):
            return []

    def keep(self, states: Sequence[FilterState]) -> None:
        """Keep these; where that cannot be, the next run takes longer."""
        arrays: dict[str, Any] = {}
        facts = []
        for place, one in enumerate(states):
            arrays |= {f"{place} {name}": values for name, values in one.arrays.items()}
            facts.append([one.visits, one.key, dict(one.facts)])
        arrays[_FACTS] = np.frombuffer(json.dumps(facts).encode(), "u1")
        packed = io.BytesIO()
        np.savez(packed, **arrays)
        keep(self._place, _first, packed.getvalue())


def _first(digest: str) -> bytes:
    return json.dumps(
        {"schema": "fringe belief", "code": deciding_code(), "sha256": digest}
    ).encode()


def _states(packed: bytes) -> list[FilterState]:
    with np.load(io.BytesIO(packed), allow_pickle=False) as found:
        arrays = {name: found[name] for name in found.files}
    facts = json.loads(arrays.pop(_FACTS).tobytes())
    return [
        FilterState(
            visits,
            key,
            {
                name.partition(" ")[2]: values
                for name, values in arrays.items()
                if name.partition(" ")[0] == str(place)
            },
            values_of,
        )
        for place, (visits, key, values_of) in enumerate(facts)
    ]
