"""Large letters for the terminal."""

from __future__ import annotations

import pytest

from fringe.show.large import large_lines, large_text


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


@pytest.mark.parametrize("columns", [20, 60, 100, 240])
def test_the_uncertainty_goes_below_where_that_makes_the_value_larger(columns):
    """Beside where there is room for full height, below where not; never wider than the screen."""
    text = "+0.3277 ± 0.0032"
    lines = large_lines(text, columns)
    assert max(map(len, lines)) <= columns
    beside, alone = (len(large_text(one, columns)) for one in (text, "+0.3277"))
    assert ("" in lines) == (alone > beside)
    assert max(beside, alone) == (lines.index("") if "" in lines else len(lines))
