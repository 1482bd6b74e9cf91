"""Photographs on the bench: checked, with a preview, and as plain values for a device."""

from __future__ import annotations

import hashlib
import io
import re
import secrets
import time
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from datetime import time as time_of_day
from pathlib import PurePosixPath

from fringe.archive.store.session import Photograph
from fringe.bench.answers import reading_answer
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading
from fringe.photo.arrivals import ENDINGS
from fringe.photo.ellipse import Edge
from fringe.photo.kinds import is_heif
from fringe.photo.when import camera_time

LONGEST_NAME = 80
PREVIEW_PX = 1200
KINDS = {
    "JPEG": (".jpg", "image/jpeg"),
    "MPO": (".jpg", "image/jpeg"),
    "PNG": (".png", "image/png"),
    "TIFF": (".tif", "image/tiff"),
}


@dataclass(eq=False)
class Shot:
    """A photograph on the bench, or a film's frames, and how far its reading has come."""

    id: str
    name: str
    media_type: str
    data: bytes = field(repr=False)
    taken: datetime  # when it arrived, and
    noted: datetime | None  # when the camera says that it was taken
    width: int
    height: int
    preview: bytes = field(repr=False)
    others: tuple[Photograph, ...] = ()  # frames of the same contact, after the first
    said: datetime | None = None  # when a person says that it was taken
    edge: Edge | str = "auto"
    place_mm: tuple[float, float] | None = None  # where a smaller plate lay, from the centre
    state: str = "waiting"  # then reading, read or refused
    started_s: float = 0.0
    reading: Reading | None = None
    refusal: str = ""
    options: ReadOptions | None = None  # that the reading was made with
    give_up: Callable[[], None] = lambda: None
    turn: object = None  # which of its readings counts

    @property
    def sha256(self) -> str:
        """Digest of the file's bytes."""
        return hashlib.sha256(self.data).hexdigest()

    @property
    def shown_time(self) -> datetime:
        """When it was taken, by what is known best."""
        return self.said or self.noted or self.taken

    @property
    def photographs(self) -> tuple[Photograph, ...]:
        """What a visit keeps of it: one photograph, or all frames."""
        refusal = self.refusal or None
        first = Photograph(self.name, self.data, self.media_type, refusal)
        return (first, *(one.with_refusal(refusal) for one in self.others))

    @property
    def digests(self) -> set[str]:
        """Of the photograph, or of all frames."""
        return {self.sha256, *(one.sha256 for one in self.others)}

    @property
    def size(self) -> int:
        """Bytes of the photograph, or of all frames."""
        return len(self.data) + sum(len(one.data) for one in self.others)


def minutes_of(shots: Sequence[Shot]) -> list[float]:
    """Minutes from the first photograph, all by the camera's clock or all by arrival.

    What a person says of one goes before its clock.
    """
    noted = [shot.noted for shot in shots if shot.noted is not None]
    same_clock = len(noted) == len(shots) and len({shot.tzinfo is None for shot in noted}) == 1
    clock = noted if same_clock else [shot.taken for shot in shots]
    # a camera's time without an offset is this machine's
    times = [(shot.said or time).astimezone() for shot, time in zip(shots, clock, strict=True)]
    first = min(times)
    return [(time - first).total_seconds() / 60 for time in times]


def clean_file_name(name: str, ending: str) -> str:
    """Return a safe form of a file name that a device sent.

    Folders and control characters are removed, a long name is cut, and the ending is that of
    the file's real format. It is for the record alone: no file is ever written under it.
    """
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(c for c in last if unicodedata.category(c)[0] != "C").strip(" .")
    path = PurePosixPath(plain)
    kept = path.stem if path.suffix.lower() in ENDINGS else plain
    return (kept[:LONGEST_NAME].strip(" .") or "photograph") + ending


def make_shot(data: bytes, name: str) -> Shot:
    """Decode a photograph and make its preview; raises `BadInput` for other data."""
    from PIL import Image

    from fringe.photo.load import decode_small
    from fringe.show.figures.picture import cut, samples_of

    shown = clean_file_name(name, "")
    if not data:
        raise BadInput(f"{shown}: is empty; take the photograph again")
    small, whole = decode_small(data, shown, PREVIEW_PX)
    samples = samples_of(small)
    ending, kind = _kind(data)
    height, width = samples.shape[:2]
    window = cut(samples, -0.5, -0.5, width - 0.5, height - 0.5, longest_px=PREVIEW_PX)
    buffer = io.BytesIO()
    Image.fromarray(window.pixels).save(buffer, "JPEG", quality=85)
    return Shot(
        id=secrets.token_hex(8),
        name=clean_file_name(name, ending),
        media_type=kind,
        data=data,
        taken=datetime.now().astimezone(),
        noted=camera_time(io.BytesIO(data)),
        width=whole[0],
        height=whole[1],
        preview=buffer.getvalue(),
    )


def time_today(text: str, now: datetime) -> datetime:
    """A time of day as the last one that is not in the future; `BadInput` for what is none."""
    try:
        said = time_of_day.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is not a time; write 09:30") from error
    when = datetime.combine(now.date(), said.replace(tzinfo=None)).astimezone()
    return when if when <= now + timedelta(minutes=5) else when - timedelta(days=1)


def _kind(data: bytes) -> tuple[str, str]:
    """Ending and media type of a picture by its bytes."""
    from PIL import Image

    if is_heif(data):
        return ".heic", "image/heic"
    with Image.open(io.BytesIO(data)) as picture:
        return KINDS.get(picture.format or "", ("", "application/octet-stream"))


def shot_view(shot: Shot) -> dict[str, object]:
    """A photograph for a device, as plain values."""
    reading = shot.reading
    edge = reading.edge if reading is not None else shot.edge
    return {
        "id": shot.id,
        "name": shot.name,
        "frames": 1 + len(shot.others),
        "taken": f"{shot.shown_time:%H:%M}",
        "width": shot.width,
        "height": shot.height,
        "state": shot.state,
        "seconds": time.monotonic() - shot.started_s if shot.state == "reading" else 0.0,
        "edge": None
        if not isinstance(edge, Edge)
        else {
            "cx": edge.cx,
            "cy": edge.cy,
            "a": edge.a,
            "b": edge.b,
            "angle_deg": edge.angle_deg,
        },
        "place_mm": shot.place_mm,
        "edge_given": shot.edge != "auto",
        "without_edge": shot.edge == "none",
        "refusal": bench_words(shot.refusal),
        "answer": None if reading is None else reading_answer(reading),
    }
