"""From photographs on disk to what a visit logs: readings, bytes, refusals."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from fringe.archive.instruments import record_if_any
from fringe.archive.store.session import LoggedReading, Photograph, Visit, media_type
from fringe.archive.store.surface import Surface
from fringe.errors import Refused
from fringe.orders.gap_map import gap_map
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.photo.frames import frame_files
from fringe.photo.load import Photo, read_bytes

T = TypeVar("T")

# Makes a reading of one photograph, or of all frames of a burst; raises `Refused` where it
# makes none.
PhotoReader = Callable[[tuple[Photograph, ...], ReadOptions], Reading]


def loaded_photos(photographs: Sequence[Photograph]) -> Sequence[Photo]:
    """Decode photographs, or frames of one burst, from the bytes that are kept."""
    from fringe.photo.frames import frames_from_bytes

    return frames_from_bytes([(one.data, one.file_name, one.sha256) for one in photographs])


def read_kept(photographs: tuple[Photograph, ...], options: ReadOptions) -> Reading:
    """Read a photograph, or the frames of a burst, from the bytes that are kept."""
    from fringe.orders.burst.read_burst import read_burst
    from fringe.orders.read import read

    photos = loaded_photos(photographs)
    return read(photos[0], options) if len(photos) == 1 else read_burst(photos, options)


def read_photographs(
    paths: Sequence[Path],
    options: ReadOptions,
    *,
    burst: bool = False,
    keep_refused: bool = False,
    workers: int | None = 1,
    scheduler: str | None = None,
    reader: PhotoReader | None = None,
    loaded: Sequence[Photograph] = (),
) -> tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]:
    """Read photographs and keep their bytes; each file is opened once.

    Parameters
    ----------
    paths : sequence of Path
        Photographs, one reading each.
    options : ReadOptions
        What they are read with.
    burst : bool
        They are frames of one contact, and give one reading.
    keep_refused : bool
        Keep a photograph of which no reading can be made, with the reason, instead of
        stopping.
    workers, scheduler
        Who reads, see :func:`fringe.parallel.read_many`.
    reader : callable, optional
        Makes the readings; else :func:`read_kept`.
    loaded : sequence of Photograph
        Those of `paths`, where they were taken from the disk already.

    Returns
    -------
    readings : tuple of LoggedReading
        In the order of `paths`.
    photographs : tuple of Photograph
        In the order of `paths`; a file that is given twice is kept and read once, unless it is
        of a burst.

    Raises
    ------
    BadInput
        If a file cannot be read.
    Refused
        If no reading can be made of a photograph, unless `keep_refused`.
    """
    photographs = _those_read(loaded or taken_up(paths, burst=burst), burst=burst)
    count = range(1, len(photographs) + 1)
    groups = [tuple(count)] if burst else [(number,) for number in count]
    contacts = [Contact(one, options, burst=burst, keep_refused=keep_refused) for one in groups]
    answers, kept = read_contacts(
        photographs, contacts, workers=workers, scheduler=scheduler, reader=reader
    )
    return tuple(one for one in answers if one is not None), kept


@dataclass(frozen=True)
class Contact:
    """One contact that is to be read.

    Attributes
    ----------
    photographs : tuple of int
        Numbers of its photographs, from 1.
    options : ReadOptions
        What they are read with.
    burst : bool
        They are frames of one contact.
    keep_refused : bool
        Keep them with the reason where no reading can be made, instead of stopping.
    """

    photographs: tuple[int, ...]
    options: ReadOptions
    burst: bool = False
    keep_refused: bool = False


def read_contacts(
    photographs: Sequence[Photograph],
    contacts: Sequence[Contact],
    *,
    workers: int | None = 1,
    scheduler: str | None = None,
    reader: PhotoReader | None = None,
) -> tuple[list[LoggedReading | None], tuple[Photograph, ...]]:
    """Read contacts from the bytes of their photographs.

    Returns
    -------
    readings : list of (LoggedReading or None)
        One a contact; None where it is kept without one.
    photographs : tuple of Photograph
        All of them, each with why it was refused or without.

    Raises
    ------
    Refused
        If no reading can be made of one that is not to be kept without.
    """
    jobs = [
        _PhotographJob(tuple(photographs[i - 1] for i in one.photographs), one.options)
        for one in contacts
    ]
    ask = partial(_read, reader or read_kept)
    answers = read_many(jobs, ask, workers=workers, scheduler=scheduler)
    kept = list(photographs)
    readings: list[LoggedReading | None] = []
    for one, answer in zip(contacts, answers, strict=True):
        refusal = str(answer) if isinstance(answer, Refused) else None
        if isinstance(answer, Refused):
            if not one.keep_refused:
                raise answer
            readings.append(None)
        else:
            readings.append(logged(answer, one.photographs, one.options, burst=one.burst))
        for i in one.photographs:
            kept[i - 1] = kept[i - 1].with_refusal(refusal)
    return readings, tuple(kept)


def load_photographs(paths: Sequence[Path], *, burst: bool = False) -> list[Photograph]:
    """Take photographs from the disk, each once unless they are of a burst."""
    return _those_read(taken_up(paths, burst=burst), burst=burst)


def _those_read(photographs: Sequence[Photograph], *, burst: bool) -> list[Photograph]:
    return list(photographs) if burst else _each_once(photographs)


def taken_up(paths: Sequence[Path], *, burst: bool = False) -> list[Photograph]:
    """Files from the disk as they are kept; of a burst's film clip, the frames that are read."""
    if not burst:
        return [load_photograph(path) for path in paths]
    files = frame_files(paths)
    return [Photograph(one.name, one.data, media_type(one.name, one.data)) for one in files]


def load_photograph(path: Path) -> Photograph:
    """Take a photograph from the disk as it is kept; `BadInput` where it cannot be read."""
    data = read_bytes(path)
    return Photograph(path.name, data, media_type(path.name, data))


def _each_once(photographs: Sequence[Photograph]) -> list[Photograph]:
    """Photographs without those that hold the same bytes as another before them."""
    first: dict[str, Photograph] = {}
    for one in photographs:
        first.setdefault(one.sha256, one)
    return list(first.values())


@dataclass(frozen=True)
class _PhotographJob:
    """Photographs that give one reading, as they are sent to who reads them."""

    photographs: tuple[Photograph, ...]
    options: ReadOptions

    @property
    def name(self) -> str:
        """The first one's file, for messages."""
        return self.photographs[0].file_name


def _read(reader: PhotoReader, job: _PhotographJob) -> Reading:
    return reader(job.photographs, job.options)


def logged(
    reading: Reading, photographs: tuple[int, ...], options: ReadOptions, *, burst: bool = False
) -> LoggedReading:
    """Add what the record keeps beside a reading: gap map and irregularity's uncertainty.

    Parameters
    ----------
    reading : Reading
        As it was read.
    photographs : tuple of int
        Numbers of the photographs that it was read from, from 1.
    options : ReadOptions
        What it was read with.
    burst : bool
        The photographs were frames of one contact.
    """
    return LoggedReading(
        reading=reading,
        photographs=photographs,
        lamp=options.lamp,
        options=options.to_json() | ({"burst": True} if burst else {}),
        gap=None if reading.form is None else gap_map(reading, options.diameter_mm),
    )


def instruments_used(surface: Surface, names: Mapping[str, str | None]) -> dict[str, object]:
    """Copies of the records of what was used, as far as the surface's archive has them.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    names : mapping
        Name of the `plate`, `spherometer`, `camera` and `lamp`; None for what was not used.
    """
    assert surface.folder is not None
    archive = surface.folder.parent
    found = {kind: record_if_any(archive, kind, name) for kind, name in names.items() if name}
    return {kind: record for kind, record in found.items() if record is not None}


def take_over(new: Visit, corrected: Visit) -> Visit:
    """Complete a correction: what it leaves open is taken over from the visit it corrects.

    Parameters
    ----------
    new : Visit
        The correction. A field that is None, or a group that is empty, is left open; text
        that is empty is not.
    corrected : Visit
        The visit as it was logged.

    Returns
    -------
    Visit
        Readings and photographs are taken over together, or not at all.
    """
    pictures = new if new.photographs or new.readings else corrected
    return replace(
        new,
        by=_either(new.by, corrected.by),
        remarks=_either(new.remarks, corrected.remarks),
        work=new.work.completed(corrected.work),
        temperature_c=_either(new.temperature_c, corrected.temperature_c),
        readings=pictures.readings,
        photographs=pictures.photographs,
        spherometers=new.spherometers or corrected.spherometers,
        instruments={**corrected.instruments, **new.instruments},
    )


def _either(new: T | None, old: T | None) -> T | None:
    return old if new is None else new
