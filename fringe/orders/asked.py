"""One reading as it is asked for: of a photograph, of the frames of a burst, or by eye.

Heavy modules are imported inside: a photograph is decoded while the reader is imported.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput, FringeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fringe.orders.options import ReadOptions, StatedOptions
    from fringe.orders.reading import Reading


@dataclass(frozen=True)
class AskedReading:
    """A reading, with what a picture of it needs.

    Attributes
    ----------
    name : str
        Of what was read.
    reading : Reading
    options : ReadOptions
        What it was read with.
    photo : Path or None
        The photograph, or the first frame; None by eye.
    samples : ndarray or None
        Its samples, where they were kept.
    """

    name: str
    reading: Reading
    options: ReadOptions
    photo: Path | None = None
    samples: NDArray[Any] | None = None


def named_options(stated: StatedOptions) -> ReadOptions:
    """What a reading takes, with a lamp of the table; raises `BadInput` for one that is none."""
    from fringe.optics.lamps import lamp

    return stated.options(lamp(stated.lamp or ""))


def read_one(photo: Path, options: ReadOptions, *, picture: Path | None = None) -> AskedReading:
    """Read one photograph; its samples are kept where a picture is to be drawn."""
    from concurrent.futures import ThreadPoolExecutor

    from fringe.photo.load import load_photo

    _check_picture(picture, [photo])
    with ThreadPoolExecutor(1) as aside, _uncollected():
        loading = aside.submit(load_photo, photo, keep_samples=picture is not None)
        from fringe.orders.read import read

        loaded = loading.result()
        reading = read(loaded, options)
    samples = None if picture is None else loaded.samples
    return AskedReading(photo.name, reading, options, photo, samples)


def read_frames(
    photos: Sequence[Path], options: ReadOptions, *, picture: Path | None = None
) -> AskedReading:
    """Read frames of one contact, or a film clip of it, as one reading."""
    from fringe.orders.burst.read_burst import read_burst
    from fringe.photo.frames import load_frames

    _check_picture(picture, photos)
    frames = load_frames(photos, keep_samples=picture is not None)
    reading = read_burst(frames, options)
    more = f" and {len(photos) - 1} more" if len(photos) > 1 else ""
    return AskedReading(photos[0].name + more, reading, options, photos[0], frames[0].samples)


def read_by_eye(text: str, options: ReadOptions) -> AskedReading:
    """Take down what was seen without a camera.

    Raises
    ------
    BadInput
        For text that says nothing, or options that only a photograph has.
    """
    from fringe.orders.by_eye import by_eye

    of_photographs = {
        "--edge": options.edge != "auto",
        "--camera-distance": options.camera_distance_mm is not None,
        "--scale": options.scale_px_per_mm is not None,
    }
    for name, said in of_photographs.items():
        if said:
            raise BadInput(f"{name} belongs to a photograph; leave it out with --by-eye")
    return AskedReading(f"by eye: {text.strip()}", by_eye(text, options), options)


def read_asked(
    photos: Sequence[Path],
    options: ReadOptions,
    *,
    by_eye: str | None = None,
    burst: bool = False,
    picture: Path | None = None,
) -> AskedReading:
    """Make the one reading that is asked for.

    Raises
    ------
    BadInput
        If what is asked for contradicts itself, or nothing is.
    Refused
        If a photograph supports no reading.
    """
    if by_eye is not None:
        if burst:
            raise BadInput("--burst belongs to photographs; leave it out with --by-eye")
        if photos:
            raise BadInput("a photograph and --by-eye at once: give one of them")
        if picture is not None:
            raise BadInput("--picture belongs to a photograph; leave it out with --by-eye")
        return read_by_eye(by_eye, options)
    if not photos:
        raise BadInput("give a photograph to read, or --by-eye")
    if burst:
        return read_frames(photos, options, picture=picture)
    return read_one(photos[0], options, picture=picture)


@dataclass(frozen=True)
class SeveralReadings:
    """Readings of several photographs, each by itself; an error where there is none."""

    answers: tuple[tuple[Path, Reading | FringeError], ...]

    @property
    def read(self) -> list[tuple[Path, Reading]]:
        """Photographs of which a reading was made."""
        return [(p, one) for p, one in self.answers if not isinstance(one, FringeError)]

    @property
    def refused(self) -> list[str]:
        """Why the others were not read, one line each."""
        return [str(one) for _, one in self.answers if isinstance(one, FringeError)]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe read --json` for several photographs."""
        return {
            "readings": [
                {
                    "photo": str(photo),
                    **({"error": str(one)} if isinstance(one, FringeError) else one.to_json()),
                }
                for photo, one in self.answers
            ]
        }


def read_several(
    photos: Sequence[Path],
    options: ReadOptions,
    *,
    picture: Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
) -> SeveralReadings:
    """Read photographs side by side, see :func:`fringe.parallel.read_each`."""
    from fringe.orders.read import read_file
    from fringe.parallel import read_each

    if picture is not None:
        raise BadInput("--picture: draws one photograph; give one")
    reader = partial(read_file, options=options)
    found = read_each(photos, reader, workers=workers, scheduler=scheduler)
    return SeveralReadings(tuple(zip(photos, found, strict=True)))


def _check_picture(picture: Path | None, photos: Sequence[Path]) -> None:
    """Refuse a picture that would overwrite a photograph it is drawn of."""
    for photo in photos:
        if picture and picture.exists() and photo.exists() and picture.samefile(photo):
            raise BadInput(
                f"--picture: {picture}: would overwrite the photograph; choose another name"
            )


@contextmanager
def _uncollected() -> Iterator[None]:
    """Disable the cyclic garbage collector: imports and fits create many long-lived objects."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
