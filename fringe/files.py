"""Files that are either whole or not there: partial name, flush, rename."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from pathlib import Path

from fringe.errors import BadInput

PARTIAL = ".partial"
MOVING = ".moving"  # a surface's folder on its way to another archive
_LETTERS = "0123456789abcdefghijkmnpqrstvwxyz"


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
    with open(target, "rb+") as file:
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


def cannot_write(folder: Path, error: OSError) -> BadInput:
    """Say in one line why nothing was written."""
    reasons = {
        errno.ENOSPC: "the disk is full",
        errno.EDQUOT: "the disk quota is used up",
        errno.EFBIG: "the file would pass the size limit",
        errno.EACCES: "writing is not permitted",
        errno.EPERM: "writing is not permitted",
        errno.EROFS: "the file system is read-only",
        errno.ENOENT: "the folder is gone",
    }
    reason = reasons.get(error.errno or 0, error.strerror or str(error))
    return BadInput(f"{folder}: cannot write: {reason}; nothing was kept")
