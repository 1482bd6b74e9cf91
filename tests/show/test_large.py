"""Large letters for the terminal."""

from __future__ import annotations

import pytest

from fringe.show.large import large_text


@pytest.mark.parametrize("columns", [30, 60, 80, 120, 200])
def test_it_fits(columns):
    """No line is wider than the terminal, and none taller than asked for."""
    lines = large_text("−12.34 ± 0.06", columns)
    assert max(map(len, lines)) <= columns
    assert len(lines) <= 9


def test_more_room_makes_it_larger():
    """Letters grow with the terminal, and are plain text where there is no room."""
    heights = [len(large_text("+3.50 ± 0.06", columns)) for columns in (20, 60, 100, 200)]
    assert heights == sorted(heights)
    assert heights[0] == 1
    assert heights[-1] == 9
    assert large_text("+3.50 ± 0.06", 20) == ["+3.50 ± 0.06"]


def test_different_texts_look_different():
    """A minus is not a plus, and no digit looks like another."""
    assert len({tuple(large_text(digit, 100)) for digit in "0123456789+−"}) == 12


def test_a_minus_is_one_bar():
    """The minus sign is drawn as one bar in the middle (analytic)."""
    lines = [line.strip() for line in large_text("−", 100)]
    assert [bool(line) for line in lines].count(True) in (1, 2)
    assert not lines[0]
    assert not lines[-1]
