"""What tests of a whole archive start from; a file may have fixtures of its own by these names."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from fringe.archive.store.write import log_visit
from sample_visits import full_surface, full_visit, hours
from shared_files import copied_once


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


def shop_with_all(folder: Path) -> None:
    """An archive `shop` of one surface with one session that holds one of everything."""
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    log_visit(full_surface(folder / "shop"), full_visit(rng), now=hours(0))


@pytest.fixture
def path(tmp_path, tmp_path_factory):
    """The file of a session that holds one of everything, in a surface of its own."""
    # writing such a one takes as long as most that is done with it
    copied_once(tmp_path_factory, tmp_path, shop_with_all)
    (path,) = (tmp_path / "shop").glob("*/0001_*.h5")
    return path
