"""What takes long to make is made once a run, whichever of its workers wants it first."""

from __future__ import annotations

import fcntl
import os
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path

import cloudpickle
import pytest


def _base(folders: pytest.TempPathFactory) -> Path:
    """The folder of the run, in which each worker has one of its own."""
    base = folders.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


def shared_folder(folders: pytest.TempPathFactory, name: str) -> Path:
    """A folder that all workers of a run put files into."""
    folder = _base(folders) / f"shared-{name}"
    folder.mkdir(exist_ok=True)
    return folder


def made_once(folders: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> object:
    """Return what `make` left in a folder and gave back, which the workers of a run share.

    Parameters
    ----------
    folders : TempPathFactory
    name : str
        Of the folder, and of the thing.
    make : callable
        Called with the empty folder by the first worker that asks; the others wait. What it gives
        back must be picklable; functions may be in it.
    """
    base = _base(folders)
    folder, result = base / f"shared-{name}", base / f"shared-{name}.pickle"
    with (base / f"shared-{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not result.exists():
            folder.mkdir()
            result.write_bytes(cloudpickle.dumps(make(folder)))
    return pickle.loads(result.read_bytes())


def copied_once(folders: pytest.TempPathFactory, into: Path, make: Callable[[Path], None]) -> None:
    """Copy into a folder what `make` leaves in one: made once a run, for each test its own.

    Parameters
    ----------
    folders : TempPathFactory
    into : Path
        A folder that is there.
    make : callable
        A function of a module. Called with an empty folder.
    """

    def made(folder: Path) -> Path:
        make(folder)
        return folder

    folder = made_once(folders, f"{make.__module__}-{make.__qualname__}", made)
    assert isinstance(folder, Path)
    shutil.copytree(folder, into, dirs_exist_ok=True)
