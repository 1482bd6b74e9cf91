"""Calibration of an end gauge: the GUM's example H.1.

Sources
-------
READ   inputs as in the example GUM_H1.py of the package GTC.
RUN    value, uncertainty, budget and degrees of freedom with GTC 1.5.1, here again in the test.
MEMORY what JCGM 100:2008 H.1 prints: u_c = 32 nm, 16 degrees of freedom, t99 = 2.92,
       U99 = 93 nm, and 34 nm once second-order terms are taken in.
"""

from __future__ import annotations

import math
from dataclasses import replace

import GTC
import pytest

from fringe.judge.uncertainty.budget import Budget, budgets, independent_budget
from fringe.judge.uncertainty.model import Input
from fringe.student_t import student_quantile

SQRT3 = math.sqrt(3)
INPUTS = (
    Input("l_s", 50_000_623.0, 25.0, "nm", dof=18),
    Input("d0", 215.0, 5.8, "nm", dof=24),
    Input("d1", 0.0, 3.9, "nm", dof=5),
    Input("d2", 0.0, 6.7, "nm", dof=8),
    Input("alpha_s", 11.5e-6, 2e-6 / SQRT3, "1/K", distribution="rectangular"),
    Input("d_alpha", 0.0, 1e-6 / SQRT3, "1/K", dof=50, distribution="rectangular"),
    Input("d_theta", 0.0, 0.05 / SQRT3, "K", dof=2, distribution="rectangular"),
    Input("theta_bar", -0.1, 0.2, "K"),
    Input("cycle", 0.0, 0.5 / math.sqrt(2), "K"),
)


def length(x):
    theta = x["theta_bar"] + x["cycle"]
    shift = x["l_s"] * (x["d_alpha"] * theta + x["alpha_s"] * x["d_theta"])
    return x["l_s"] + x["d0"] + x["d1"] + x["d2"] - shift


@pytest.fixture(scope="module")
def gauge() -> Budget:
    """Return the example's budget with its Monte Carlo check."""
    return budgets({("length", "nm"): length}, INPUTS, trials=200_000)["length"]


def test_value_and_uncertainty(gauge):
    """Length 50 000 838 nm with 31.66 nm; the GUM prints 32 nm (published)."""
    assert gauge.value == pytest.approx(50_000_838, abs=0.5)
    assert gauge.u == pytest.approx(31.6639, abs=5e-5)
    assert round(gauge.u) == 32


def test_degrees_of_freedom_and_99_percent(gauge):
    """Effective degrees of freedom 16.75, so t99(16) = 2.92 and U99 = 93 nm (published)."""
    assert gauge.dof == pytest.approx(16.7519, abs=5e-5)
    t99 = student_quantile(0.995, 16)
    assert t99 == pytest.approx(2.92078, abs=5e-6)
    assert round(t99 * round(gauge.u)) == 93


@pytest.mark.parametrize(
    ("name", "nm"),
    [
        ("l_s", 25.0),
        ("d_theta", 16.599),
        ("d2", 6.7),
        ("d0", 5.8),
        ("d1", 3.9),
        ("d_alpha", 2.8868),
        ("alpha_s", 0.0),
        ("theta_bar", 0.0),
    ],
)
def test_contributions(gauge, name, nm):
    """Each line of the budget contributes what GTC's does (analytic)."""
    row = next(row for row in gauge.rows if row.input.name == name)
    assert abs(row.contribution) == pytest.approx(nm, abs=5e-4)


def test_monte_carlo_finds_what_first_order_leaves_out():
    """With all u taken as known the draws have 34 nm, as the GUM's second-order terms (published).

    First order is flagged.
    """
    known = [replace(one, dof=None) for one in INPUTS]
    one = budgets({("length", "nm"): length}, known, trials=200_000)["length"]
    assert one.monte_carlo is not None
    assert round(one.monte_carlo.u) == 34
    assert not one.monte_carlo.agrees
    assert "first order is not good enough" in (one.warning or "")


def test_draws_of_few_readings():
    """With a t for what few readings tell, the draws have 36 nm as printed (published).

    JCGM 101:2008, 9.5, tables 10 and 11, from memory; by hand: sqrt of 25^2 18/16 + 6^2 24/22
    + 4^2 5/3 + 7^2 8/6 + 17.28^2 + 12.1^2 + 1.7^2 = 35.8. The rectangles with doubtful limits
    of the standard are rectangles of their variance here.
    """
    changed = {
        "d0": (6.0, 24),
        "d1": (4.0, 5),
        "d2": (7.0, 8),
        "d_alpha": (math.sqrt(1e-6**2 / 3 + 0.1e-6**2 / 9), None),
        "d_theta": (math.sqrt(0.05**2 / 3 + 0.025**2 / 9), None),
    }
    inputs = [
        replace(one, u=changed[one.name][0], dof=changed[one.name][1])
        if one.name in changed
        else one
        for one in INPUTS
    ]
    one = budgets({("length", "nm"): length}, inputs, trials=400_000)["length"]
    assert one.monte_carlo is not None
    assert round(one.monte_carlo.u) == 36
    assert one.monte_carlo.mean == pytest.approx(50_000_838, abs=0.5)


def test_gtc_agrees(gauge):
    """GTC, an independent program, gives the same result and degrees of freedom (analytic)."""
    x = {
        one.name: GTC.ureal(one.value, one.u, math.inf if one.dof is None else one.dof)
        for one in INPUTS
    }
    theirs = length(x)
    assert gauge.value == pytest.approx(GTC.value(theirs), rel=1e-12)
    assert gauge.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-7)
    assert gauge.dof == pytest.approx(GTC.dof(theirs), rel=1e-6)


def test_without_libraries(gauge):
    """The budget of the commands that start at once is the same (analytic)."""
    plain = independent_budget("length", "nm", length, INPUTS)
    assert plain.u == pytest.approx(gauge.u, rel=1e-12)
    assert plain.dof == pytest.approx(gauge.dof, rel=1e-9)
