"""Uncertainty budgets: sensitivities, shares, degrees of freedom, the Monte Carlo check."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.uncertainty.budget import budgets, independent_budget
from fringe.judge.uncertainty.model import Input
from fringe.student_t import effective_dof


def test_sum_of_squares():
    """A sum of independent inputs adds their uncertainties in quadrature (analytic)."""
    inputs = [Input("a", 1.0, 3.0), Input("b", 2.0, 4.0)]
    one = budgets({("y", "mm"): lambda x: x["a"] + x["b"]}, inputs)["y"]
    assert (one.value, one.u) == (3.0, pytest.approx(5.0))
    assert [row.input.name for row in one.rows] == ["b", "a"]
    assert [row.share for row in one.rows] == pytest.approx([0.64, 0.36])
    assert one.monte_carlo.agrees


def test_a_shared_input_cancels_in_a_difference():
    """What two results share, their difference does not have (analytic)."""
    inputs = [Input("base", 3000.0, 5.0), Input("step", 1.0, 0.1)]
    found = budgets(
        {
            ("first", "mm"): lambda x: x["base"],
            ("second", "mm"): lambda x: x["base"] + x["step"],
            ("gap", "mm"): lambda x: x["base"] + x["step"] - x["base"],
        },
        inputs,
    )
    assert found["gap"].u == pytest.approx(0.1, rel=1e-6)
    assert found.correlation_of("first", "second") == pytest.approx(5 / math.hypot(5, 0.1))
    assert found.correlation_of("first", "gap") == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("r", [-1.0, -0.5, 0.0, 0.7, 1.0])
def test_correlated_sum(r):
    """Correlation r makes the variance of a sum u1^2 + u2^2 + 2 r u1 u2 (analytic)."""
    inputs = [Input("a", 1.0, 3.0), Input("b", 2.0, 4.0), Input("c", 0.0, 1.0)]
    one = budgets({("y", ""): lambda x: x["a"] + x["b"] + x["c"]}, inputs, {("a", "b"): r})["y"]
    assert one.u == pytest.approx(math.sqrt(9 + 16 + 24 * r + 1), rel=1e-9)
    assert sum(row.share for row in one.rows) == pytest.approx(1.0)
    assert one.monte_carlo.u == pytest.approx(one.u, rel=0.02)
    assert one.monte_carlo.agrees


def test_against_gtc(rng):
    """A curved model of random inputs has GTC's uncertainty and degrees of freedom."""
    values, us = rng.uniform(1, 3, 4), rng.uniform(0.01, 0.1, 4)
    dofs = rng.integers(3, 30, 4)
    inputs = [
        Input(name, v, u, dof=float(d))
        for name, v, u, d in zip("abcd", values, us, dofs, strict=True)
    ]

    def model(x, exp=np.exp):
        return x["a"] * x["b"] / (1 + x["c"] ** 2) + exp(-x["d"]) * x["a"]

    mine = budgets({("y", ""): model}, inputs, trials=0)["y"]
    theirs = model({one.name: GTC.ureal(one.value, one.u, one.dof) for one in inputs}, exp=GTC.exp)
    assert mine.value == pytest.approx(GTC.value(theirs), rel=1e-12)
    assert mine.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-6)
    assert mine.dof == pytest.approx(GTC.dof(theirs), rel=1e-5)
    plain = independent_budget("y", "", model, inputs)
    assert (plain.u, plain.dof) == (pytest.approx(mine.u), pytest.approx(mine.dof))


@pytest.mark.parametrize(("u", "agrees"), [(0.001, True), (0.3, False)])
def test_monte_carlo_flags_curvature(u, agrees):
    """A square near zero is no straight line: flagged, and the interval is then the draws'."""
    one = budgets({("y", ""): lambda x: x["a"] ** 2}, [Input("a", 0.2, u)])["y"]
    assert one.monte_carlo.agrees is agrees
    assert (one.warning is None) is agrees
    low, high = one.interval
    if agrees:
        assert (low, high) == (one.value - one.u95, one.value + one.u95)
    else:
        assert low >= 0.0  # a square is never negative; first order says that it may be
        assert one.value - one.u95 < 0.0
        assert low < one.monte_carlo.mean < high


def test_monte_carlo_of_a_rectangle():
    """One rectangular input alone: 95 % lie within 0.95 of its half-width (analytic)."""
    half = 1.0
    one = budgets(
        {("y", ""): lambda x: x["a"]},
        [Input("a", 0.0, half / math.sqrt(3), distribution="rectangular")],
    )["y"]
    assert one.monte_carlo.high == pytest.approx(0.95 * half, abs=0.005)
    assert not one.monte_carlo.agrees


def test_models_of_single_numbers():
    """A model that takes no arrays is drawn one by one; draws outside it flag first order."""
    one = budgets({("y", ""): lambda x: math.sqrt(x["a"])}, [Input("a", 4.0, 0.01)])["y"]
    assert one.u == pytest.approx(0.0025, rel=1e-6)
    assert one.monte_carlo.agrees

    def narrow(x):
        if x["a"] < 3.99:
            raise BadInput("outside")
        return float(x["a"])

    assert not budgets({("y", ""): narrow}, [Input("a", 4.0, 0.01)])["y"].monte_carlo.agrees


def test_welch_satterthwaite():
    """Two equal parts of 4 degrees each have 8; a known one beside them raises it (analytic)."""
    assert effective_dof([(1.0, 4.0, ""), (1.0, 4.0, "")], math.sqrt(2)) == pytest.approx(8.0)
    assert effective_dof([(1.0, 4.0, ""), (1.0, None, "")], math.sqrt(2)) == pytest.approx(16.0)
    assert effective_dof([(1.0, None, "")], 1.0) is None
    # one estimate used twice has its degrees once
    assert effective_dof([(1.0, 4.0, "s"), (1.0, 4.0, "s")], math.sqrt(2)) == pytest.approx(4.0)


def test_exact_results():
    """A result without uncertainty has none, and goes with no other."""
    found = budgets(
        {("y", ""): lambda x: 2 * x["a"], ("z", ""): lambda x: x["b"]},
        [Input("a", 1.0, 0.0), Input("b", 1.0, 0.1)],
        trials=100,
    )
    assert (found["y"].u, found["y"].dof) == (0.0, None)
    assert found.correlation_of("y", "z") == 0.0


def test_json_is_complete():
    """The JSON has each input's u, sensitivity, share and degrees of freedom, and the check."""
    one = budgets({("y", "mm"): lambda x: 3 * x["a"]}, [Input("a", 1.0, 0.1, "K", dof=5)])["y"]
    values = one.to_json()
    assert values["rows"][0] == {
        "input": "a",
        "value": 1.0,
        "u": 0.1,
        "unit": "K",
        "dof": 5,
        "source": None,
        "sensitivity": pytest.approx(3.0),
        "contribution": pytest.approx(0.3),
        "share": pytest.approx(1.0),
    }
    assert values["monte_carlo"]["agrees"] is True
    assert values["u95"] == pytest.approx(2.570582 * 0.3, rel=1e-6)  # t of 5 degrees


@pytest.mark.parametrize(
    ("inputs", "correlations", "message"),
    [
        ([("a", 1, 0.1), ("a", 1, 0.1)], {}, "the same name"),
        ([("a", 1, 0.1)], {("a", "b"): 0.5}, "no pair"),
        ([("a", 1, 0.1), ("b", 1, 0.1)], {("a", "b"): 1.5}, "contradict"),
        ([("a", 1, -0.1)], {}, "no finite value"),
        ([("a", 1, float("nan"))], {}, "no finite value"),
    ],
)
def test_nonsense(inputs, correlations, message):
    """Inputs and correlations that cannot be are refused in one line."""
    with pytest.raises(BadInput, match=message):
        budgets(
            {("y", ""): lambda x: x["a"]}, [Input(*one) for one in inputs], correlations, trials=0
        )


@pytest.mark.parametrize("trials", [2_000, 50_000])
def test_the_check_does_not_cry_wolf(trials):
    """A straight line is flagged by chance in less than one run of a hundred, few draws or many.

    Both ends beyond four of their own scatters would be 1 of 8,000 runs; 40 seeds show none.
    """
    inputs = [Input("a", 1.0, 3.0), Input("b", 2.0, 4.0)]
    for seed in range(40 if trials < 10_000 else 10):
        one = budgets({("y", ""): lambda x: x["a"] + x["b"]}, inputs, trials=trials, seed=seed)["y"]
        assert one.monte_carlo.agrees


def test_a_warning_has_the_digits_of_its_uncertainty():
    """Where first order fails, the interval's ends are printed to the uncertainty's digits."""
    one = budgets({("y", "mm"): lambda x: 1e6 / x["a"]}, [Input("a", 1.0, 0.1)], trials=50_000)["y"]
    assert not one.monte_carlo.agrees
    low, high = one.warning.split("between ")[1].removesuffix(" mm").split(" and ")
    assert (low[-4:], high[-4:]) == ("0000", "0000")
    # the reciprocals of 1.196 and 0.804
    assert float(low) == pytest.approx(836e3, rel=0.02)
    assert float(high) == pytest.approx(1244e3, rel=0.02)
