"""Edges and fits of pictures, and readings of bursts, that were found before in this run.

Commands, documents and the example read the same few photographs over and over. What takes the
time, where the edge lies and which orders fit, follows from the picture alone; all else of a
reading is worked out each time. Tests of the reading itself do without this.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any

import pytest

from fringe.orders.reading import Reading
from fringe.photo.load import Photo
from shared_files import shared_folder

# what is kept, by where a reading looks for it
_KEPT = (
    "fringe.orders.read.find_edge",
    "fringe.orders.read.solve",
    "fringe.orders.burst.read_burst.read_burst",
)


@contextlib.contextmanager
def kept_fits(folders: pytest.TempPathFactory) -> Iterator[None]:
    """Take edges and fits from those that the run's workers have found, and add to them."""
    folder = shared_folder(folders, "fits")
    with pytest.MonkeyPatch.context() as patch:
        for place in _KEPT:
            module, _, name = place.rpartition(".")
            function = getattr(__import__(module, fromlist=[name]), name)
            patch.setattr(place, _kept(function, folder))
        yield


def _kept(function: Callable[..., Any], folder: Path) -> Callable[..., Any]:
    """The function, that looks into the folder first; refusals are not kept."""

    @wraps(function)
    def kept(shown: Photo | Sequence[Photo], *others: Any, **more: Any) -> Any:
        digest = hashlib.sha256(pickle.dumps((function.__name__, others, sorted(more.items()))))
        photos = [shown] if isinstance(shown, Photo) else list(shown)
        for photo in photos:
            digest.update(pickle.dumps((photo.light, photo.clipped, photo.channel, photo.notes)))
        path = folder / f"{digest.hexdigest()}.pickle"
        if not path.exists():
            found = pickle.dumps((photos[0].name, function(shown, *others, **more)))
            part = path.with_suffix(f".{os.getpid()}")
            part.write_bytes(found)
            part.replace(path)
        name, result = pickle.loads(path.read_bytes())
        if isinstance(result, Reading):  # it names its first frame
            return replace(result, reading_id=result.reading_id.replace(name, photos[0].name))
        return result

    return kept
