"""Correlations of results by the inputs that they share."""

from __future__ import annotations

import pytest

from fringe.judge.uncertainty.budget import Budget, budgets
from fringe.judge.uncertainty.correlation import correlation_of
from fringe.judge.uncertainty.model import Input

MODELS = {
    ("y", "mm"): lambda x: 2 * x["a"] + x["b"],
    ("z", "mm"): lambda x: x["a"] - 3 * x["b"],
    ("exact", "mm"): lambda x: 0.0 * x["a"],
}
INPUTS = [Input("a", 1.0, 0.3, "mm", of="plate 7"), Input("b", 2.0, 0.2, "mm")]


def results(prefix: str = "") -> list[Budget]:
    models = {(prefix + name, unit): model for (name, unit), model in MODELS.items()}
    return list(budgets(models, INPUTS, trials=0).results.values())


def test_one_place_agrees_with_the_numbers_that_carry_their_correlations():
    """Rows give the same matrix as the numbers of the library uncertainties (computed)."""
    whole = budgets(MODELS, INPUTS, trials=0)
    found = correlation_of([list(whole.results.values())])
    for row, expected in zip(found.matrix, whole.correlation, strict=True):
        assert row == pytest.approx(expected, abs=1e-9)


def test_only_what_has_an_owner_is_shared_between_places():
    """Two contacts share the plate, not their own scatter (analytic)."""
    found = correlation_of([results(), results("second, ")])
    variance = 0.6**2 + 0.2**2
    assert found.of("y", "second, y") == pytest.approx(0.6**2 / variance)
    assert found.of("y", "second, exact") == 0.0
    assert found.of("exact", "exact") == 1.0
    chosen = found.among(["second, y", "y"])
    assert chosen.to_json() == {
        "names": ["second, y", "y"],
        "matrix": [[1.0, pytest.approx(0.9)], [pytest.approx(0.9), 1.0]],
    }
