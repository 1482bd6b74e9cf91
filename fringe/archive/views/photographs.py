"""From photographs on disk to what a visit logs: readings, bytes, refusals."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from fringe.archive.instruments import record_if_any
from fringe.archive.store.session import LoggedReading, Photograph, Visit, Work, media_type
from fringe.archive.store.surface import Surface
from fringe.errors import BadInput, Refused
from fringe.judge.tolerance.verdict import irregularity_u_fringes
from fringe.optics.lamps import Lamp
from fringe.orders.gap_map import gap_map
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.photo.load import read_bytes
from fringe.student_t import coverage_factor

T = TypeVar("T")

# Takes a photograph's path, returns its reading; raises `Refused` where it makes none.
Reader = Callable[[Path], Reading]


def read_photographs(
    paths: Sequence[Path],
    reader: Reader,
    lamp: Lamp,
    *,
    diameter_mm: float | None = None,
    options: Mapping[str, Any] | None = None,
    keep_refused: bool = False,
    workers: int | None = 1,
    scheduler: str | None = None,
) -> tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]:
    """Read photographs and keep their bytes, each once.

    Parameters
    ----------
    paths : sequence of Path
        Photographs, one reading each.
    reader : callable
        Makes a reading of one photograph.
    lamp : Lamp
        The lamp, as the reader uses it.
    diameter_mm : float or None
        Diameter of the aperture, for the gap map's places [mm].
    options : mapping
        What the photographs are read with, for the record.
    keep_refused : bool
        Keep a photograph of which no reading can be made, with the reason, instead of
        stopping.
    workers, scheduler
        Who reads, see :func:`fringe.parallel.read_many`.

    Returns
    -------
    readings : tuple of LoggedReading
        In the order of `paths`.
    photographs : tuple of Photograph
        In the order of `paths`; a file that is given twice is kept and read once.

    Raises
    ------
    BadInput
        If a file cannot be read, or changes while it is read.
    Refused
        If no reading can be made of a photograph, unless `keep_refused`.
    """
    files = _each_once(paths)
    answers = read_many(list(files), reader, workers=workers, scheduler=scheduler)
    readings: list[LoggedReading] = []
    photographs: list[Photograph] = []
    for (path, data), answer in zip(files.items(), answers, strict=True):
        if isinstance(answer, Refused) and not keep_refused:
            raise answer
        if read_bytes(path) != data:
            raise BadInput(f"{path}: the file changed while it was read; log it again")
        refusal = str(answer) if isinstance(answer, Refused) else None
        photographs.append(Photograph(path.name, data, media_type(path.name, data), refusal))
        if not isinstance(answer, Refused):
            number = (len(photographs),)
            readings.append(logged(answer, number, lamp, diameter_mm, options or {}))
    return tuple(readings), tuple(photographs)


def _each_once(paths: Iterable[Path]) -> dict[Path, bytes]:
    """Files with their bytes; one that holds the same as another before it is left out."""
    files: dict[Path, bytes] = {}
    digests = set()
    for path in paths:
        data = read_bytes(path)
        digest = hashlib.sha256(data).digest()
        if digest not in digests:
            digests.add(digest)
            files[path] = data
    return files


def logged(
    reading: Reading,
    photographs: tuple[int, ...],
    lamp: Lamp,
    diameter_mm: float | None,
    options: Mapping[str, Any],
) -> LoggedReading:
    """Add what the record keeps beside a reading: gap map and irregularity's uncertainty.

    Parameters
    ----------
    reading : Reading
        As it was read.
    photographs : tuple of int
        Numbers of the photographs that it was read from, from 1.
    lamp : Lamp
        As it was used.
    diameter_mm : float or None
        Diameter of the aperture [mm].
    options : mapping
        What it was read with.
    """
    form = reading.form
    return LoggedReading(
        reading=reading,
        photographs=photographs,
        lamp=lamp,
        options=options,
        gap=None if form is None else gap_map(reading, diameter_mm),
        irregularity_u95_fringes=(
            None if form is None else coverage_factor() * irregularity_u_fringes(form)
        ),
    )


def instruments_used(surface: Surface, names: Mapping[str, str | None]) -> dict[str, Any]:
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
    old, work = corrected.work, new.work
    pictures = new if new.photographs or new.readings else corrected
    return dataclasses.replace(
        new,
        by=_either(new.by, corrected.by),
        remarks=_either(new.remarks, corrected.remarks),
        work=Work(
            **{
                field.name: _either(getattr(work, field.name), getattr(old, field.name))
                for field in dataclasses.fields(Work)
            }
        ),
        temperature_c=_either(new.temperature_c, corrected.temperature_c),
        readings=pictures.readings,
        photographs=pictures.photographs,
        spherometers=new.spherometers or corrected.spherometers,
        instruments={**corrected.instruments, **new.instruments},
    )


def _either(new: T | None, old: T | None) -> T | None:
    return old if new is None else new
