"""The example's folder: built beside its target, then renamed; only its own is replaced."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from fringe.errors import BadInput
from fringe.files import check_folder, drafted, reason, write_whole

MARKER = ".fringe-demo.json"
# what file managers leave behind of themselves
_NOISE = {".DS_Store", "Thumbs.db", "desktop.ini"}
_OTHER = "choose another folder with --out"


def check_target(out: Path) -> None:
    """Say whether the example may be put there.

    Raises
    ------
    BadInput
        If something lies there that an earlier example did not make, or that was changed
        since, or the folder above it is missing.
    """
    if out.is_symlink():
        raise BadInput(f"{out}: is there already and is not a folder; {_OTHER}")
    check_folder(out)
    if not out.exists():
        return
    if Path.cwd().is_relative_to(out.resolve()):
        raise BadInput(f"{out}: you are in that folder; go up one folder first, or {_OTHER}")
    marked = _marked(out)
    for path in _files(out):
        name = path.relative_to(out).as_posix()
        if marked is None:
            raise BadInput(f"{out}: is there already and the example did not make it; {_OTHER}")
        if name not in marked:
            raise BadInput(f"{out}: holds {name}, which the example did not make; {_OTHER}")
        if marked[name] != _digest(path):
            raise BadInput(f"{out}: {name} was changed since the example made it; {_OTHER}")


@contextmanager
def built(out: Path) -> Iterator[Path]:
    """Give a new folder beside `out`; when the block is done, it takes the place of `out`.

    Whatever goes wrong in the block, `out` stays as it was.

    Raises
    ------
    BadInput
        As `check_target`, before and after the block; or when the disk refuses.
    """
    check_target(out)
    target = out.resolve()
    try:
        with drafted(target) as aside:
            work = aside / target.name
            work.mkdir(parents=True)
            yield work
            _mark(work)
            check_target(out)
            if target.exists():
                target.rename(aside / "before")
            work.rename(target)
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {reason(error)}") from error


def _mark(folder: Path) -> None:
    """Write which files the example made, with their digests."""
    files = {path.relative_to(folder).as_posix(): _digest(path) for path in _files(folder)}
    about = "made by `fringe demo`, which replaces this folder while it holds nothing else"
    text = json.dumps({"about": about, "sha256": files}, indent=1, ensure_ascii=False)
    write_whole(folder / MARKER, text.encode())


def _marked(folder: Path) -> Mapping[str, str] | None:
    """Digests of the files that an earlier example made; None where none was run."""
    try:
        files = json.loads((folder / MARKER).read_text("utf-8"))["sha256"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return files if isinstance(files, dict) else None


def _files(folder: Path) -> Iterator[Path]:
    for path in sorted(folder.rglob("*")):
        is_file = path.is_symlink() or not path.is_dir()
        if is_file and path != folder / MARKER and path.name not in _NOISE:
            yield path


def _digest(path: Path) -> str:
    if path.is_symlink() or not path.is_file():
        return ""
    return hashlib.sha256(path.read_bytes()).hexdigest()
