"""The bars of an uncertainty budget: as many and as long as the shares."""

from __future__ import annotations

import pytest
from matplotlib.colors import to_rgba

from fringe.judge.uncertainty.budget import budgets
from fringe.judge.uncertainty.model import Input
from fringe.show.figures.budget import budget_figure
from fringe.show.figures.style import TEAL, Facts, png_bytes


def some(*us: float, r: float | None = None):
    """Budget of a sum of inputs with these uncertainties."""
    inputs = [Input(f"input {i}", 1.0, u, "mm") for i, u in enumerate(us)]
    tied = {} if r is None else {("input 0", "input 1"): r}
    return budgets(
        {("total", "mm"): lambda x: sum(x[one.name] for one in inputs)}, inputs, tied, trials=0
    )["total"]


def bar_widths(figure):
    """Length of each coloured bar."""
    return [
        patch.get_width()
        for axes in figure.axes
        for patch in axes.patches
        if patch.get_facecolor() == to_rgba(TEAL)
    ]


def texts(figure):
    return [text.get_text() for text in figure.texts]


def test_bars_are_the_shares():
    """Each bar is as long as its input's share; longest first (analytic: 9, 4 and 1 of 14)."""
    figure = budget_figure([some(1.0, 3.0, 2.0)])
    assert bar_widths(figure) == pytest.approx([9 / 14, 4 / 14, 1 / 14])
    assert {"64 %", "29 %", "7.1 %"} <= set(texts(figure))


def test_blocks_and_facts():
    """Each result has its block with value and interval; the heading has the facts."""
    one = some(1.0, 3.0)
    figure = budget_figure([one, one], Facts(589.3, 150.0, surface="convex 1"))
    assert texts(figure).count("total") == 2
    assert texts(figure).count(f"{one.text} (95 %)") == 2
    assert any("convex 1" in text and "589.3" in text for text in texts(figure))
    assert png_bytes(figure).startswith(b"\x89PNG")


def test_what_is_taken_away_is_hollow():
    """An input whose correlation takes away has a hollow bar, and a negative share beside it."""
    one = some(1.0, 3.0, r=-0.9)
    taken = [row.share for row in one.rows if row.share < 0]
    assert len(taken) == 1
    figure = budget_figure([one])
    assert len(bar_widths(figure)) == 1
    assert any(text.startswith("−") and text.endswith("%") for text in texts(figure))


def test_nothing_without_uncertainty():
    """Inputs that contribute nothing have no bar."""
    assert len(bar_widths(budget_figure([some(1.0, 0.0)]))) == 1


def test_95_percent_and_the_standard_uncertainty_beside_it():
    """Beside a bar stands what the input gives to 95 %, and its u, named so (analytic: 1.96 u)."""
    figure = budget_figure([some(1.0, 3.0)])
    assert {"± 5.9 mm (u 3)", "± 2 mm (u 1)"} <= set(texts(figure))
    assert any("standard uncertainty" in text for text in texts(figure))


def test_equal_shares_have_equal_bars():
    """The tracks of all blocks have one length, whatever is written beside them."""
    figure = budget_figure([some(1.0, 3.0), some(1234.0, 0.0012)])
    assert len({round(axes.get_position().width, 9) for axes in figure.axes}) == 1
