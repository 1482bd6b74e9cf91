"""Read each photograph that arrives in a folder, and judge it by a surface's tolerance."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.surface import Surface, find_surface
from fringe.archive.views.last_time import with_last_camera
from fringe.archive.views.one_reading import judged_reading, reading_measured, with_record
from fringe.archive.views.reading_options import stated_options
from fringe.errors import BadInput, FringeError
from fringe.judge.tolerance.verdict import Verdict
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.read import read
from fringe.orders.reading import Reading
from fringe.photo.arrivals import Arrivals
from fringe.photo.load import load_photo

# A file that cannot be opened may still be arriving, however long it has stood still.
PATIENCE_S = 10.0


class _Unopened(BadInput):
    """A file that cannot be opened, or not yet."""


@dataclass(frozen=True)
class Answered:
    """A photograph that arrived, with its reading or why there is none.

    Attributes
    ----------
    photo : Path
    reading : Reading or None
        With the uncertainties that the surface's record gives it.
    error : str or None
        Why there is no reading.
    verdict : Verdict or None
        By the surface's tolerance, where it limits anything.
    """

    photo: Path
    reading: Reading | None = None
    error: str | None = None
    verdict: Verdict | None = None

    def to_json(self) -> dict[str, object]:
        """Return the keys of a line of `fringe watch --json`."""
        if self.reading is None:
            return {"photo": str(self.photo), "error": self.error}
        verdict = {} if self.verdict is None else {"verdict": self.verdict.to_json()}
        return {"photo": str(self.photo), **self.reading.to_json(), **verdict}


def watched(
    folder: Path,
    surface: str | None,
    stated: StatedOptions,
    while_reading: Callable[[str], AbstractContextManager[None]],
    *,
    still_s: float = 2.0,
    once: bool = False,
    archive: Path | None = None,
) -> Iterator[Answered]:
    """Yield the answer to each photograph of a folder as it arrives, without end.

    Parameters
    ----------
    folder : Path
    surface : str or None
        ``ARCHIVE/NAME`` that the photographs are of.
    stated : StatedOptions
        How they are read, as far as the surface's record does not say it.
    while_reading : callable
        Given what is being done; shows it while the block runs.
    still_s : float
        Seconds that a file must stand still to be whole [s].
    once : bool
        Take the photographs that are there already, and end with the last of them.
    archive : Path, optional
        Where lamps and cameras are on record; else the surface's archive.

    Raises
    ------
    BadInput
        At the call, if the folder is not there or an option is wrong.
    """
    found, options = _how(surface, stated, archive)
    arrivals = Arrivals(folder, settle_s=still_s, include_existing=once)
    return _answers(arrivals, found, options, while_reading, once=once)


def _how(
    text: str | None, stated: StatedOptions, archive: Path | None
) -> tuple[Surface | None, ReadOptions]:
    """How to read a photograph: for a surface of the archive, or by the options alone."""
    surface = None
    if text is not None:
        for name in ("diameter_mm", "chamfer_mm", "plate_radius_mm", "work"):
            if getattr(stated, name) is not None:
                option = name.removesuffix("_mm").replace("_", "-")
                raise BadInput(f"--{option}: the surface's record says it already; leave it out")
        surface = find_surface(text)
        stated = with_last_camera(surface, stated)
    return surface, stated_options(surface, stated, archive)


def _answers(
    arrivals: Arrivals,
    surface: Surface | None,
    options: ReadOptions,
    while_reading: Callable[[str], AbstractContextManager[None]],
    *,
    once: bool,
) -> Iterator[Answered]:
    while True:
        for path in arrivals.ready():
            with while_reading(f"reading {path.name}"):
                answer = _read(path, options)
            if isinstance(answer, _Unopened) and arrivals.unchanged_s(path) < PATIENCE_S:
                arrivals.return_again(path)
            elif isinstance(answer, FringeError):
                yield Answered(path, error=str(answer))
            else:
                yield _judged(path, answer, surface, options)
        if once and arrivals.pending == 0:
            return
        time.sleep(min(0.5, max(arrivals.settle_s / 2, 0.02)))


def _judged(
    path: Path, reading: Reading, surface: Surface | None, options: ReadOptions
) -> Answered:
    """A reading with the uncertainties and the verdict that the surface's record gives it."""
    if surface is None:
        return Answered(path, reading)
    measured = reading_measured(surface, reading, options)
    _, verdict = judged_reading(surface, measured)
    return Answered(path, with_record(reading, measured), verdict=verdict)


def _read(path: Path, options: ReadOptions) -> Reading | FringeError:
    """Read a photograph; what cannot even be opened may still be arriving."""
    try:
        photo = load_photo(path)
    except BadInput as error:
        return _Unopened(str(error))
    try:
        return read(photo, options)
    except FringeError as error:
        return error
