"""When a visit was by its photographs, and which photographs are newer than the last visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from fringe.archive.store.index import own_entry
from fringe.archive.store.surface import Surface, change_surface
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.photo.arrivals import photographs_in
from fringe.photo.when import camera_time, file_time

BY_PHOTOGRAPH = "photograph"
# photographs of one visit are not farther apart (ours, no source)
ONE_VISIT = timedelta(hours=12)


def photographs_time(photos: Sequence[Path]) -> datetime | None:
    """When the last of the photographs was taken, by the cameras; None where none noted it."""
    times = _times(photos)
    return max(times, default=None)


def far_apart(photos: Sequence[Path]) -> str | None:
    """Say that photographs are not of one visit by their times; None where they may be."""
    times = sorted(_times(photos))
    if len(times) < 2 or times[-1] - times[0] <= ONE_VISIT:
        return None
    return (
        f"the photographs were taken from {times[0]:%Y-%m-%d %H:%M} to {times[-1]:%Y-%m-%d %H:%M}"
    )


def at_its_own_time(photos: Sequence[Path], request: VisitRequest) -> VisitRequest:
    """A visit's time from its photographs, where it is not said; a correction keeps its own."""
    if request.when is not None or request.replaces is not None or not photos:
        return request
    time = photographs_time(photos)
    if time is None:
        return request
    return replace(request, when=time.isoformat(), when_from=BY_PHOTOGRAPH)


@dataclass(frozen=True)
class Newest:
    """The newest photograph of a folder.

    Attributes
    ----------
    photo, folder : Path
    others : int
        How many more are newer than the last visit.
    """

    photo: Path
    folder: Path
    others: int

    @property
    def text(self) -> str:
        """Which it is, and what was passed over."""
        more = {0: "", 1: "; one more is newer than the last visit"}.get(
            self.others, f"; {self.others} more are newer than the last visit"
        )
        return f"{self.photo.name}, the newest in {self.folder}{more}"


def newest_photograph(surface: Surface, folder: str) -> Newest:
    """Find the newest photograph of the folder that a surface watches.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    folder : str
        That to look into; empty: the one on its record.

    Raises
    ------
    BadInput
        If no folder is known, or none of its photographs is newer than the last visit.
    """
    name = folder or surface.watches
    if not name:
        raise BadInput(
            f"--newest: {surface.name} watches no folder yet; name it once, as --newest incoming"
        )
    place = Path(name).expanduser().absolute()
    assert surface.folder is not None
    entry = own_entry(surface.folder)
    last = max((one.when for one in entry.visits), default=None) if entry else None
    found = [(_time(path), path) for path in photographs_in(place)]
    newer = sorted((time, path) for time, path in found if last is None or time > last)
    if not newer:
        since = "" if last is None else f" newer than the last visit, {last:%Y-%m-%d %H:%M}"
        raise BadInput(f"{place}: there is no photograph{since}")
    return Newest(newer[-1][1], place, len(newer) - 1)


def keep_watched(surface: Surface, folder: Path) -> None:
    """Put on record which folder a surface watches, where that is another one than before."""
    if surface.watches != str(folder):
        change_surface(surface, watches=str(folder))


def _times(photos: Sequence[Path]) -> list[datetime]:
    noted = map(_noted, photos)
    # a camera that notes no zone shows the time of where it is
    return [time.astimezone() for time in noted if time is not None]


def _noted(path: Path) -> datetime | None:
    """The camera's note; None for what is no photograph, of which its reading tells."""
    try:
        return camera_time(path)
    except BadInput:
        return None


def _time(path: Path) -> datetime:
    noted = _noted(path)
    return (
        datetime.fromtimestamp(file_time(path)).astimezone()
        if noted is None
        else noted.astimezone()
    )
