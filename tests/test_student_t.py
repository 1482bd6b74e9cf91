"""Student t from the standard library, against scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.special import stdtr, stdtrit

from fringe.student_t import (
    coverage_factor,
    dof_of_factor,
    student_cdf,
    student_density,
    student_quantile,
)


@pytest.mark.parametrize("dof", [0.6, 1, 2, 3.7, 16.75, 120, 5000])
def test_student_against_scipy(dof, rng):
    """Probabilities and quantiles agree with scipy's to eight decimals."""
    for t in rng.normal(scale=3.0, size=20):
        assert student_cdf(t, dof) == pytest.approx(stdtr(dof, t), rel=1e-9, abs=1e-14)
        assert student_density(t, dof) == pytest.approx(stats.t.pdf(t, dof), rel=1e-9)
    for p in rng.uniform(0.001, 0.999, 20):
        assert student_quantile(p, dof) == pytest.approx(stdtrit(dof, p), rel=1e-9, abs=1e-8)


@pytest.mark.parametrize("t", [4e-9, -1e-5, 0.0, 0.7, -3.0])
def test_closed_forms(t):
    """One and two degrees have closed forms; next to zero these hold to all digits (analytic).

    scipy itself is off by 1e-9 at t = 4e-9.
    """
    assert student_cdf(t, 1) == pytest.approx(0.5 + math.atan(t) / math.pi, rel=1e-14)
    assert student_cdf(t, 2) == pytest.approx(0.5 + t / (2 * math.sqrt(2 + t * t)), rel=1e-14)


def test_far_tail_keeps_its_digits():
    """A small probability is not the rest of one minus something (computed with scipy)."""
    assert student_cdf(-9.0) == pytest.approx(1.1285884059538405e-19, rel=1e-12)
    assert student_cdf(-40.0, 5) == pytest.approx(stdtr(5, -40.0), rel=1e-9)


def test_known_factors():
    """Factors that tables print: 1.960, 2.776 (4 degrees), 12.706 (1 degree)."""
    assert coverage_factor() == pytest.approx(1.959964, abs=5e-7)
    assert coverage_factor(4) == pytest.approx(2.776, abs=5e-4)
    assert coverage_factor(1) == pytest.approx(12.706, abs=5e-4)
    assert coverage_factor(np.inf) == coverage_factor()


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1])
def test_impossible_probabilities(p):
    """A quantile of an impossible probability is refused."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        student_quantile(p)


@pytest.mark.parametrize("dof", [1.0, 2.5, 7.0, 60.0])
def test_factor_and_degrees_of_freedom_are_inverse(dof):
    """The degrees of freedom of a coverage factor are those that it came from."""
    assert dof_of_factor(coverage_factor(dof)) == pytest.approx(dof, rel=1e-6)
    assert dof_of_factor(1.9) is None
