"""Frames of one contact: of a film clip that a device sends, or photographs read together."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

from fringe.archive.store.session import Photograph, media_type
from fringe.bench.shots import Shot, clean_file_name, make_shot
from fringe.errors import BadInput
from fringe.files import write_whole
from fringe.photo.bundle import frames_of_bundle, is_bundle
from fringe.photo.frames import FrameFile
from fringe.photo.kinds import is_clip

_LONGEST_STEM = 200  # bytes; file systems take 255 for the whole name


def shot_of(data: bytes, name: str) -> Shot:
    """Make a shot of a photograph, or of the frames of a film or a live view, which is not kept.

    Raises
    ------
    BadInput
        If it is neither, the clip is too long or shows too few frames, or what decodes clips is
        not installed.
    """
    if is_bundle(data[:20]):
        return _shot_of_frames(frames_of_bundle(data, clean_file_name(name, "")), name)
    if not is_clip(data[:12]):
        return make_shot(data, name)
    from fringe.photo.frames import frame_files

    whole = PurePosixPath(clean_file_name(name, ""))
    stem = whole.stem.encode()[:_LONGEST_STEM].decode(errors="ignore")
    with TemporaryDirectory(prefix="fringe-film-") as folder:
        path = Path(folder) / f"{stem}{whole.suffix[:6]}"
        write_whole(path, data, durable=False)
        files = frame_files([path])
    return _shot_of_frames(files, path.name)


def _shot_of_frames(files: Sequence[FrameFile], name: str) -> Shot:
    from fringe.orders.burst.read_burst import LEAST_FRAMES

    if len(files) < LEAST_FRAMES:
        raise BadInput(
            f"{name}: shows {len(files)} frames, and {LEAST_FRAMES} are needed; film three to "
            "ten seconds while you press gently"
        )
    first = make_shot(files[0].data, files[0].name)
    rest = (Photograph(one.name, one.data, media_type(one.name, one.data)) for one in files[1:])
    return replace(first, others=tuple(rest))


def together(shots: Sequence[Shot]) -> list[Shot]:
    """All single photographs as the frames of one contact, after the films that lie beside them.

    Raises
    ------
    BadInput
        If they are fewer than a burst needs.
    """
    from fringe.orders.burst.read_burst import LEAST_FRAMES

    single = [shot for shot in shots if not shot.others]
    if len(single) < LEAST_FRAMES:
        raise BadInput(f"a burst takes {LEAST_FRAMES} photographs or more of one contact")
    frames = tuple(one.with_refusal(None) for shot in single for one in shot.photographs)
    whole = replace(single[0], id=secrets.token_hex(8), others=frames[1:], reading=None, turn=None)
    return [*(shot for shot in shots if shot.others), whole]


def apart(shots: Sequence[Shot], identity: str) -> list[Shot]:
    """The frames of one contact each as a photograph of its own again, the first with its edge."""
    found: list[Shot] = []
    for shot in shots:
        if shot.id != identity:
            found.append(shot)
            continue
        first, *rest = (make_shot(one.data, one.file_name) for one in shot.photographs)
        found += [replace(first, said=shot.said, edge=shot.edge, taken=shot.taken)]
        found += [replace(one, taken=shot.taken) for one in rest]
    return found
