"""What tests of a whole archive start from; a file may have fixtures of its own by these names."""

from __future__ import annotations

import pytest

from fringe.archive.store.write import log_visit
from sample_visits import full_surface, full_visit, hours


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


@pytest.fixture
def path(surface, rng):
    """The file of a session that holds one of everything."""
    return log_visit(surface, full_visit(rng), now=hours(0))
