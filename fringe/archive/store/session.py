"""The content of a session: frozen values, as they are written and read."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.archive.store.surface import Surface
from fringe.errors import BadInput
from fringe.judge.state.visits import NO_WORK, VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.optics.lamps import Lamp
from fringe.orders.gap_map import GapMap
from fringe.orders.reading import Reading

METHODS = ("photograph", "eye")
MEDIA_TYPES = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".tif": "image/tiff",
    ".tiff": "image/tiff",
    ".heic": "image/heic",
    ".heif": "image/heif",
}
_STARTS = {
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"II*\0": "image/tiff",
    b"MM\0*": "image/tiff",
}


@dataclass(frozen=True)
class Photograph:
    """A photograph with its original bytes.

    Attributes
    ----------
    file_name : str
        Name of the file when it was logged, without folders.
    data : bytes
        The file's bytes.
    media_type : str
        For example `image/jpeg`.
    refusal : str or None
        Why no reading was made of it.
    """

    file_name: str
    data: bytes = field(repr=False)
    media_type: str = "application/octet-stream"
    refusal: str | None = None

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the bytes."""
        return hashlib.sha256(self.data).hexdigest()

    def with_refusal(self, refusal: str | None) -> Photograph:
        """Return the same photograph with why no reading was made of it, or without."""
        if refusal == self.refusal:
            return self
        other = replace(self, refusal=refusal)
        other.__dict__["sha256"] = self.sha256  # of the same bytes, which may be many
        return other


@dataclass(frozen=True)
class LoggedReading:
    """A reading, with what it was made from.

    Attributes
    ----------
    reading : Reading
        What was read.
    method : {'photograph', 'eye'}
        How it was read.
    photographs : tuple of int
        Numbers of the session's photographs that it was read from, from 1.
    lamp : Lamp or None
        The lamp's lines as they were used.
    options : mapping
        What it was read with; must have a JSON form.
    gap : GapMap or None
        The gap over the aperture.
    against : str or None
        The piece that the work was laid on, where it was not its plate.
    aperture_mm : float or None
        Diameter of the circle that the reading is over, where it is smaller than the work's
        aperture [mm].
    place_mm : (float, float) or None
        Where that circle lay on the work, from its centre [mm].
    """

    reading: Reading
    method: str = "photograph"
    photographs: tuple[int, ...] = ()
    lamp: Lamp | None = None
    options: Mapping[str, Any] = field(default_factory=dict)
    gap: GapMap | None = field(default=None, repr=False)
    against: str | None = None
    aperture_mm: float | None = None
    place_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        """Refuse an unknown method."""
        if self.method not in METHODS:
            raise BadInput(f"reading: method is {self.method!r}, not photograph or eye")


@dataclass(frozen=True)
class LoggedSpherometer:
    """Readings of a spherometer on a piece and on a flat.

    Attributes
    ----------
    piece : str
        `work`, `plate` or the name of a piece.
    height_mm : ndarray, shape (K,)
        Readings on the piece [mm].
    zero_mm : ndarray, shape (L,)
        Readings on the flat [mm].
    geometry : mapping
        Kind and dimensions of the instrument; must have a JSON form.
    options : mapping
        What the readings were evaluated with; must have a JSON form.
    radius_mm, radius_u_mm : float or None
        Radius found and its standard uncertainty [mm].
    measured : Measured or None
        Power over the surface's aperture and radius difference from the plate, where the
        plate was read as well.
    """

    piece: str
    height_mm: NDArray[np.float64]
    zero_mm: NDArray[np.float64]
    geometry: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    radius_mm: float | None = None
    radius_u_mm: float | None = None
    measured: Measured | None = None


@dataclass(frozen=True)
class Visit:
    """What is to be logged of a visit; `None` and empty where it does not apply.

    Attributes
    ----------
    when : datetime or None
        Time of the visit, with time zone; None takes the clock's.
    by, remarks : str or None
        Who measured; free text.
    work : Work
        What was done since the visit before.
    temperature_c : float or None
        Temperature at the bench [degree Celsius].
    readings : tuple of LoggedReading
        Readings of fringes.
    photographs : tuple of Photograph
        Each once, however many readings use it.
    spherometers : tuple of LoggedSpherometer
        Readings of spherometers.
    replaces : str or None
        Session that this one corrects.
    also_replaces : tuple of str
        Other corrections of the same visit, made at the same time, that this one settles.
    struck : bool
        The visit is taken out of every sum; its other sessions stay.
    inputs : mapping
        All else that the session was logged with; must have a JSON form.
    instruments : mapping
        From `plate`, `spherometer`, `camera` or `lamp` to the record of the one that was used,
        as it was then; must have a JSON form.
    """

    when: datetime | None = None
    by: str | None = None
    remarks: str | None = None
    work: Work = NO_WORK
    temperature_c: float | None = None
    readings: tuple[LoggedReading, ...] = ()
    photographs: tuple[Photograph, ...] = ()
    spherometers: tuple[LoggedSpherometer, ...] = ()
    replaces: str | None = None
    also_replaces: tuple[str, ...] = ()
    struck: bool = False
    inputs: Mapping[str, Any] = field(default_factory=dict)
    instruments: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SessionSummary(VisitRecord):
    """What a list of visits needs, without the arrays and the photographs.

    Times have a time zone. `place` is the session's file; `photographs` counts them, and
    `refused` those of which no reading was made. `written_number` is the visit's number as the
    file has it (None in files of earlier versions), `number` the one that holds once all
    sessions of the surface are known. `told_step` is what was advised when it was logged, empty
    where that is not known; `digests` are those of the photographs. `seen` are sessions
    that were there, each with the digest of its content.
    """

    sequence: int
    when_given: bool
    logged_at: datetime
    place: Path
    previous_session: str | None = None
    replaces: str | None = None
    also_replaces: tuple[str, ...] = ()
    written_number: int | None = None
    struck: bool = False
    told_step: Mapping[str, Any] = field(default_factory=dict, hash=False)
    digests: tuple[str, ...] = ()
    seen: tuple[tuple[str, str], ...] = ()
    by: str | None = None
    remarks: str | None = None
    temperature_c: float | None = None
    photographs: int = 0
    refused: int = 0

    @property
    def record(self) -> VisitRecord:
        """What the judging needs of it, alone."""
        return VisitRecord(
            **{one.name: getattr(self, one.name) for one in dataclasses.fields(VisitRecord)}
        )


@dataclass(frozen=True)
class Session:
    """A session as it was written.

    Attributes
    ----------
    summary : SessionSummary
        Identity, order and times.
    visit : Visit
        Everything that was logged, with arrays and photographs.
    surface : Surface
        The surface's record as it was then.
    software : mapping
        Name and version of what computed it.
    content_sha256 : str
        Digest of the content.
    """

    summary: SessionSummary
    visit: Visit
    surface: Surface
    software: Mapping[str, str]
    content_sha256: str


def media_type(file_name: str, data: bytes = b"") -> str:
    """Media type of a file by its first bytes, or else by its name's ending."""
    for start, kind in _STARTS.items():
        if data.startswith(start):
            return kind
    return MEDIA_TYPES.get(Path(file_name).suffix.lower(), "application/octet-stream")
