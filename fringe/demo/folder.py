"""The folder that the example leaves: built aside, then put in place; only its own is replaced."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from fringe.errors import BadInput

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
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise BadInput(f"{out}: is there already and is no folder; {_OTHER}")
    if not out.absolute().parent.is_dir():
        raise BadInput(f"{out}: there is no folder {out.absolute().parent}; make it first")
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
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except OSError as error:
        raise BadInput(f"{target.parent}: cannot be written: {error.strerror}") from error
    try:
        work = aside / target.name
        work.mkdir()
        yield work
        _mark(work)
        check_target(out)
        if target.exists():
            target.rename(aside / "before")
        work.rename(target)
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _mark(folder: Path) -> None:
    """Write which files the example made, with their digests."""
    files = {path.relative_to(folder).as_posix(): _digest(path) for path in _files(folder)}
    about = "made by `fringe demo`, which replaces this folder while it holds nothing else"
    text = json.dumps({"about": about, "sha256": files}, indent=1, ensure_ascii=False)
    (folder / MARKER).write_text(text, "utf-8")


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
