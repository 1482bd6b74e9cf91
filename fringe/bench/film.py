"""A film clip that a device sends: its frames lie on the bench as one contact."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

from fringe.archive.store.session import Photograph, media_type
from fringe.bench.shots import Shot, clean_file_name, make_shot
from fringe.errors import BadInput
from fringe.photo.kinds import is_clip

_LONGEST_STEM = 200  # bytes; file systems take 255 for the whole name


def shot_of(data: bytes, name: str) -> Shot:
    """Make a shot of a photograph, or of the frames of a film clip; the clip is not kept.

    Raises
    ------
    BadInput
        If it is neither, the clip is too long or shows too few frames, or what decodes clips is
        not installed.
    """
    if not is_clip(data[:12]):
        return make_shot(data, name)
    from fringe.orders.burst.read_burst import LEAST_FRAMES
    from fringe.photo.frames import frame_files

    whole = PurePosixPath(clean_file_name(name, ""))
    stem = whole.stem.encode()[:_LONGEST_STEM].decode(errors="ignore")
    with TemporaryDirectory(prefix="fringe-film-") as folder:
        path = Path(folder) / f"{stem}{whole.suffix[:6]}"
        path.write_bytes(data)
        files = frame_files([path])
    if len(files) < LEAST_FRAMES:
        raise BadInput(
            f"{path.name}: shows {len(files)} frames, and {LEAST_FRAMES} are needed; film three to "
            "ten seconds while you press gently"
        )
    first = make_shot(files[0].data, files[0].name)
    rest = (Photograph(one.name, one.data, media_type(one.name, one.data)) for one in files[1:])
    return replace(first, others=tuple(rest))
