"""Draws of inputs that are known from few readings, against what Student's t says of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from fringe.judge.uncertainty.budget import budgets
from fringe.judge.uncertainty.model import Input
from fringe.judge.uncertainty.montecarlo import draw_inputs

TRIALS = 400_000


@pytest.fixture
def seed(rng) -> int:
    """Seed of the draws, another one in every test run."""
    return int(rng.integers(2**31))


def spread_of_quantile(p: float, dof: float) -> float:
    """Standard deviation of a sample's quantile: sqrt(p (1 - p) / n) / density (textbook)."""
    return math.sqrt(p * (1 - p) / TRIALS) / stats.t.pdf(stats.t.ppf(p, dof), dof)


@pytest.mark.parametrize("dof", [1, 2, 4, 9, 30])
@pytest.mark.parametrize("p", [0.005, 0.025, 0.3, 0.975, 0.995])
def test_quantiles_of_few_readings(dof, p, seed):
    """Draws have the quantiles of a t scaled by u and shifted to the value (analytic)."""
    one = Input("a", 10.0, 0.2, dof=dof)
    draws = draw_inputs([one], np.eye(1), TRIALS, seed).values["a"]
    standard = (np.quantile(draws, p) - 10.0) / 0.2
    assert standard == pytest.approx(stats.t.ppf(p, dof), abs=5 * spread_of_quantile(p, dof))


@pytest.mark.parametrize("count", [6, 8, 12])
def test_variance_of_a_mean_of_few_readings(count, seed):
    """The variance is (n - 1) / (n - 3) s^2 / n (JCGM 101:2008, 6.4.9.2, from memory)."""
    s, dof = 0.5, count - 1
    one = Input("a", 0.0, s / math.sqrt(count), dof=dof)
    draws = draw_inputs([one], np.eye(1), TRIALS, seed).values["a"]
    expected = (count - 1) / (count - 3) * s**2 / count
    # excess kurtosis 6 / (dof - 4) gives the scatter of a sample's variance (textbook)
    scatter = expected * math.sqrt((2 + 6 / (dof - 4)) / TRIALS)
    # with five degrees the fourth moment barely exists, and its estimate has long tails
    assert np.var(draws) == pytest.approx(expected, abs=(8 if dof == 5 else 5) * scatter)


def test_one_estimate_is_drawn_once(seed):
    """Inputs of one pooled scatter share its draw: their sum is a t of the same dof (analytic)."""
    pooled = [Input(name, 0.0, 1.0, dof=3, dof_group="scatter") for name in "ab"]
    draws = draw_inputs(pooled, np.eye(2), TRIALS, seed).values
    end = np.quantile((draws["a"] + draws["b"]) / math.sqrt(2), 0.975)
    assert end == pytest.approx(stats.t.ppf(0.975, 3), abs=5 * spread_of_quantile(0.975, 3))
    assert abs(np.corrcoef(np.sign(draws["a"]), np.sign(draws["b"]))[0, 1]) < 5 / math.sqrt(TRIALS)


def test_separate_estimates_are_drawn_apart(seed):
    """Two scatters of one degree each: their sum is Cauchy of twice the width (analytic)."""
    draws = draw_inputs(
        [Input(name, 0.0, 1.0, dof=1) for name in "ab"], np.eye(2), TRIALS, seed
    ).values
    end = np.quantile((draws["a"] + draws["b"]) / 2, 0.975)
    assert end == pytest.approx(stats.t.ppf(0.975, 1), abs=5 * spread_of_quantile(0.975, 1))


@pytest.mark.parametrize("dof", [2, 3, 8])
def test_a_straight_line_of_few_readings_agrees(dof):
    """First order with t is right for one input of few readings, and the check says so."""
    one = budgets({("y", "mm"): lambda x: 3 * x["a"]}, [Input("a", 1.0, 0.1, "mm", dof=dof)])["y"]
    assert one.monte_carlo.agrees
    assert one.monte_carlo.dof_agrees
    assert one.few_readings is None
    assert one.interval == (one.value - one.u95, one.value + one.u95)
    assert one.monte_carlo.high == pytest.approx(one.value + one.u95, rel=0.05)


def test_welch_satterthwaite_that_fails_is_said():
    """Two inputs of one degree each: their t of two degrees is far too narrow, and is flagged.

    Analytic: the sum is Cauchy of width 2, whose end is 25.4; first order says 6.1.
    """
    inputs = [Input(name, 0.0, 1.0, dof=1) for name in "ab"]
    one = budgets({("y", "mm"): lambda x: x["a"] + x["b"]}, inputs)["y"]
    assert one.u95 == pytest.approx(math.sqrt(2) * stats.t.ppf(0.975, 2))
    assert one.monte_carlo.agrees  # the model is a straight line
    assert not one.monte_carlo.dof_agrees
    assert one.monte_carlo.high == pytest.approx(2 * stats.t.ppf(0.975, 1), rel=0.1)
    assert "of draws from t lie between" in one.few_readings
