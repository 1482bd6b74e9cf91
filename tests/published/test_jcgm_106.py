"""Probability of conformity: the numbers of JCGM 106:2012, 7.4, and guard band factors.

Sources
-------
READ   metrologyrules.com (March 2022) quotes the example: result 13.6, standard uncertainty
       1.8, limits 12.5 and 16.3.
RUN    Phi(1.5) - Phi(-0.6111) = 0.933193 - 0.270563 = 0.66263. The printed answer was not seen.
RUN    one-sided 95 % point 1.644854.
READ   ISO 14253-1's default of 95 % on low-quality pages only; its factor 1.65 from MEMORY.
READ   tuv.com: with simple acceptance the risk at the limit "may be as high as 50%".
"""

from __future__ import annotations

import pytest

from fringe.judge.tolerance.verdict import conformity_probability, guard_band, verdict

VALUE, U, LOWER, UPPER = 13.6, 1.8, 12.5, 16.3


def test_probability_of_the_example():
    """The example conforms with probability 0.66263, by the quoted numbers (analytic)."""
    assert conformity_probability(VALUE, U, LOWER, UPPER) == pytest.approx(0.66263, abs=5e-6)


@pytest.mark.parametrize(
    ("rule", "state"), [("simple", "inside"), ("guard95", "unproven"), ("shrinkU", "unproven")]
)
def test_decision_on_the_example(rule, state):
    """Simple acceptance takes the example; no guarding rule proves it (analytic)."""
    decided = verdict(VALUE, U, LOWER, UPPER, rule)
    assert decided.state == state
    assert decided.probability == pytest.approx(0.66263, abs=5e-6)


def test_guard_band_factors():
    """The guard bands are 1.644854 u (one-sided 95 %) and 2 u (analytic)."""
    assert guard_band(1.0, "guard95") == pytest.approx(1.644854, abs=5e-7)
    assert guard_band(1.0, "shrinkU") == pytest.approx(2.0, abs=1e-9)
    assert guard_band(1.0, "simple") == 0.0


def test_simple_acceptance_risks_half_at_the_limit():
    """A value on its one limit conforms with probability one half, and is accepted (analytic)."""
    decided = verdict(16.3, U, None, UPPER, "simple")
    assert decided.state == "inside"
    assert decided.probability == 0.5
