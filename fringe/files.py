"""Files that are either whole or not there: partial name, flush, rename.

Every file that is written is written here. :func:`check_file` and :func:`check_folder` say
before the work is done what would stop its result from being written.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import stat
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

from fringe.errors import BadInput

PARTIAL = ".partial"
MOVING = ".moving"  # a surface's folder on its way to another archive
_LETTERS = "0123456789abcdefghijkmnpqrstvwxyz"
_PROBE = b"\0" * 512  # a full disk may still have room for the name of an empty file


def random_suffix(length: int = 6) -> str:
    """Return random characters that are safe in file names and easy to tell apart."""
    return "".join(secrets.choice(_LETTERS) for _ in range(length))


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # Windows opens no folders
        return
    try:
        os.fsync(handle)
    except OSError:  # some network file systems cannot
        pass
    finally:
        os.close(handle)


def make_folders(folder: Path) -> None:
    """Make a folder with those above it, so that a loss of power does not take them away."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for one in missing:
        sync_folder(one.parent)


def copy_whole(source: Path, target: Path) -> None:
    """Copy a file's bytes and times and flush them to the disk; never through a link."""
    shutil.copy2(source, target, follow_symlinks=False)
    sync_file(target)


def sync_file(path: Path) -> None:
    """Flush a file that was written by other means to the disk."""
    with open(path, "rb+") as file:
        os.fsync(file.fileno())


def ensure_file(path: Path) -> None:
    """Make an empty file unless there is one, and say by `OSError` where it cannot be added to."""
    with open(path, "ab"):
        pass


def add_lines(path: Path, lines: Iterable[str]) -> None:
    """Add whole lines to a file and flush it to the disk; a last line without an end is cut off.

    The caller holds the file, so that nobody else adds to it.

    Raises
    ------
    OSError
        If it cannot be written; a line may then be there in part, which the next call cuts off.
    """
    with open(path, "rb+") as file:
        whole = file.read().rfind(b"\n") + 1
        file.truncate(whole)
        file.seek(whole)
        file.write("".join(lines).encode())
        file.flush()
        os.fsync(file.fileno())


def claim(path: Path) -> bool:
    """Create an empty partial file; False if it exists, so that one writer alone gets it."""
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644))
    except FileExistsError:
        return False
    except OSError as error:
        raise cannot_write(path.parent, error) from error
    return True


def fill(path: Path, *parts: bytes | memoryview) -> None:
    """Write a partial file's content and flush it to the disk.

    Raises
    ------
    BadInput
        If the disk is full, the file grows beyond a limit, or writing fails otherwise; the
        partial file is gone then.
    """
    try:
        with open(path, "wb") as file:
            for part in parts:
                file.write(part)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        path.unlink(missing_ok=True)
        raise cannot_write(path.parent, error) from error


def publish(partial: Path, final: Path) -> None:
    """Give a claimed and filled file its name, in one step.

    The caller holds the claim, so nobody else writes under that name.
    """
    try:
        os.rename(partial, final)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise cannot_write(final.parent, error) from error
    sync_folder(final.parent)


def publish_if_new(partial: Path, final: Path) -> bool:
    """Give a filled file its name unless that exists; False (and nothing left) if it does."""
    try:
        os.link(partial, final)
    except FileExistsError:
        return False
    except OSError as error:
        if error.errno not in (errno.EPERM, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK):
            raise cannot_write(final.parent, error) from error
        if final.exists():  # a file system without links: the narrow race is accepted
            return False
        os.rename(partial, final)
    finally:
        partial.unlink(missing_ok=True)
    sync_folder(final.parent)
    return True


def check_file(path: Path, *, endings: Collection[str] = (), option: str | None = None) -> Path:
    """Say, before any work, whether a file can be written under a name.

    A small file is written beside it and taken away again: rights, a full disk and a read-only
    file system are all found that way.

    Parameters
    ----------
    path : Path
    endings : collection of str
        Endings that its name may have, as `.png`; none where any will do.
    option : str or None
        What the name was typed for, as `--picture`; the line begins with it.

    Returns
    -------
    Path
        `path`, for use in an expression.

    Raises
    ------
    BadInput
        For another ending, a folder or a device of that name, a missing folder above it, and
        whatever the disk refuses.
    """
    with _said_of(option):
        if endings and path.suffix.lower() not in endings:
            raise BadInput(f"{path}: the name must end in {_either(endings)}")
        mode = _mode(path)
        if mode is not None and stat.S_ISDIR(mode):
            raise BadInput(f"{path}: is a folder; name a file in it")
        if mode is not None and not stat.S_ISREG(mode):
            raise BadInput(f"{path}: is no plain file; choose another name")
        if mode is not None and not os.access(path, os.W_OK):
            raise BadInput(f"{path}: cannot be written: writing is not permitted")
        _probe(path)
    return path


def check_folder(path: Path, *, option: str | None = None) -> Path:
    """Say, before any work, whether a folder can be made, or filled if there is one.

    Raises
    ------
    BadInput
        For a file of that name, a missing folder above it, and whatever the disk refuses.
    """
    with _said_of(option):
        mode = _mode(path)
        if mode is not None and not stat.S_ISDIR(mode):
            raise BadInput(f"{path}: is there already and is not a folder; choose another name")
        _probe(path)
        if mode is not None:
            _probe(path / "any")
    return path


def check_new(path: Path, *, option: str | None = None) -> Path:
    """Say, before any work, whether a file or folder can be made where nothing has its name.

    Raises
    ------
    BadInput
        For what has that name, a missing folder above it, and whatever the disk refuses.
    """
    with _said_of(option):
        if _mode(path) is not None or path.is_symlink():
            raise BadInput(f"{path}: is there already; choose another name")
        _probe(path)
    return path


def write_whole(
    path: Path, *parts: bytes | memoryview, durable: bool = True, private: bool = False
) -> Path:
    """Write a file whole or not at all; what had that name is replaced in one step.

    Parameters
    ----------
    path : Path
        Through a link, what it points at is replaced.
    parts : bytes or memoryview
        The content, one after the other.
    durable : bool
        Flush it to the disk. Only what can be made again at any time does without.
    private : bool
        Let nobody but its owner read it, from its first byte on.

    Returns
    -------
    Path
        `path`, for use in an expression.

    Raises
    ------
    BadInput
        If it cannot be written; what was there before is as it was then.
    """
    final = Path(os.path.realpath(path))
    with drafted(final) as draft:
        try:
            with open(draft, "xb", opener=_owners if private else None) as file:
                for part in parts:
                    file.write(part)
                if durable:
                    file.flush()
                    os.fsync(file.fileno())
            os.replace(draft, final)
        except OSError as error:
            raise _not_written(path, error) from error
    if durable:
        sync_folder(final.parent)
    return path


def _owners(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _beside(path: Path) -> Path:
    """Name for a draft of a file, as short whatever the file's own name is."""
    return path.with_name(f".{random_suffix(10)}{PARTIAL}")


def _mode(path: Path) -> int | None:
    """Kind and rights of what has a name; None where nothing has it."""
    try:
        return path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise _not_written(path, error) from error


def _probe(path: Path) -> None:
    """Write a small file beside a path, and take it away."""
    final = Path(os.path.realpath(path))
    if not final.parent.is_dir():
        raise BadInput(f"{path}: there is no folder {final.parent}; make it first")
    with drafted(final) as draft:
        try:
            with open(draft, "xb") as file:
                file.write(_PROBE)
        except OSError as error:
            raise _not_written(path, error) from error


@contextlib.contextmanager
def _said_of(option: str | None) -> Iterator[None]:
    try:
        yield
    except BadInput as error:
        if option is None:
            raise
        raise BadInput(f"{option}: {error}") from error


def _either(endings: Collection[str]) -> str:
    *others, last = endings
    return f"{', '.join(others)} or {last}" if others else last


def _not_written(path: Path, error: OSError) -> BadInput:
    folder = path.absolute().parent
    if error.errno == errno.ENOENT and folder.is_dir():  # as in the kernel's own folders
        return BadInput(f"{path}: cannot be written: {folder} takes no files")
    return BadInput(f"{path}: cannot be written: {reason(error)}")


@contextlib.contextmanager
def drafted(path: Path) -> Iterator[Path]:
    """Give a name beside a path for a draft of it, file or folder; none is left in the end.

    Who is done with the draft renames it, or calls :func:`publish_if_new`.
    """
    draft = _beside(path)
    try:
        yield draft
    finally:
        if draft.is_dir():
            shutil.rmtree(draft, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)


def write_new(path: Path, *parts: bytes | memoryview) -> bool:
    """Write a file whole unless there is one of that name; False if there is.

    Raises
    ------
    BadInput
        If it cannot be written; nothing is left behind then.
    """
    with drafted(path) as draft:
        claim(draft)
        fill(draft, *parts)
        return publish_if_new(draft, path)


def cannot_write(folder: Path, error: OSError) -> BadInput:
    """Say in one line why nothing was written."""
    return BadInput(f"{folder}: cannot write: {reason(error)}; nothing was kept")


def reason(error: OSError) -> str:
    """Why the system refused, in plain words."""
    reasons = {
        errno.ENOSPC: "the disk is full",
        errno.EDQUOT: "the disk quota is used up",
        errno.EFBIG: "the file would pass the size limit",
        errno.EACCES: "writing is not permitted",
        errno.EPERM: "writing is not permitted",
        errno.EROFS: "the file system is read-only",
        errno.ENOENT: "the folder is gone",
        errno.ENAMETOOLONG: "the name is too long",
    }
    return reasons.get(error.errno or 0, error.strerror or str(error))
