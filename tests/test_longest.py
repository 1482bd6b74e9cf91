"""What is to begin first in a run of all tests is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import LONGEST

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("name", LONGEST)
def test_what_begins_first_is_there(name: str) -> None:
    """A test that was named otherwise meanwhile would be begun last, and be waited for alone."""
    file, _, test = name.partition("::")
    assert (ROOT / file).exists()
    assert not test or f"\ndef {test}" in (ROOT / file).read_text(encoding="utf-8")
