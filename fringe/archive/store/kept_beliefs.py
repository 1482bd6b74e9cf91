"""What was believed of a surface after its last visits, kept in the archive's index.

A file `.index/NAME.belief` is a line with a digest of the rest, then an `.npz` of arrays. The
line names the code that decided, so that another program works it out anew; the states' own keys
say which visits, of which shop, they have taken in.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fringe.archive.store.deciding import deciding_code
from fringe.archive.store.kept_summaries import FOLDER
from fringe.errors import BadInput
from fringe.files import write_whole
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
        try:
            with open(self._place, "rb") as file:
                data = file.read(_MAX_BYTES)
            first, _, rest = data.partition(b"\n")
            if first != _first(rest):
                return []
            return _states(rest)
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
        rest = packed.getvalue()
        with contextlib.suppress(OSError, BadInput):
            self._place.parent.mkdir(exist_ok=True)
            write_whole(self._place, _first(rest) + b"\n", rest, durable=False)


def _first(rest: bytes) -> bytes:
    digest = hashlib.sha256(rest).hexdigest()
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
