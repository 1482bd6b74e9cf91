"""Photographs with known truth, rendered and written as they are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fringe.errors import BadInput
from fringe.synth.files import check_target, save_all, with_ending
from fringe.synth.rendering import Rendered
from fringe.synth.request import Request, describe, request_scene
from fringe.synth.sequences import render_series, series_endings


@dataclass(frozen=True)
class Photographs:
    """Photographs that were written: one, or those of a burst or a pair."""

    written: tuple[tuple[Path, Rendered], ...]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe synth --json`."""
        shown = [{"photo": str(path), **shot.truth} for path, shot in self.written]
        return shown[0] if len(shown) == 1 else {"frames": shown}

    def rows(self) -> list[str]:
        """Say what each of them shows, and where it is."""
        return [describe({"photo": str(path), **shot.truth}) for path, shot in self.written]


def write_photographs(
    out: Path | None,
    request: Request,
    *,
    frames: int | None = None,
    pair: str | None = None,
    force: bool = False,
) -> Photographs:
    """Render what is asked for and write it, with the truth beside each photograph.

    Raises
    ------
    BadInput
        For a request that describes no scene, or a name that cannot be written.
    """
    if out is None:
        raise BadInput("--out: say where to write the photograph, as --out contact.jpg")
    scene = request_scene(request)
    for ending in series_endings(frames, pair):
        check_target(with_ending(out, ending), scene.camera.bits, force=force, option="--out")
    series = render_series(scene, request.seed, frames=frames, pair=pair)
    return Photographs(tuple(save_all(series, out, force=force)))
