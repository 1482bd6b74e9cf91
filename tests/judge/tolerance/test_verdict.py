"""Verdicts: the three rules, one and two sides, unknown sense, and a whole surface."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fringe.errors import BadInput
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import (
    Tolerance,
    both_senses,
    conformity_probability,
    surface_verdict,
    verdict,
)
from fringe.judge.uncertainty.sources import Bench, measured_of
from fringe.orders.reading import Quality, Reading


@pytest.mark.parametrize(
    ("value", "simple", "guard95", "shrink"),
    [
        (0.0, "inside", "inside", "inside"),
        (0.79, "inside", "inside", "inside"),
        (0.81, "inside", "inside", "unproven"),
        (0.83, "inside", "inside", "unproven"),
        (0.84, "inside", "unproven", "unproven"),
        (0.99, "inside", "unproven", "unproven"),
        (1.01, "outside", "unproven", "unproven"),
        (1.17, "outside", "unproven", "unproven"),
        (1.197, "outside", "outside", "unproven"),
        (1.21, "outside", "outside", "outside"),
    ],
)
def test_the_rules_on_one_scale(value, simple, guard95, shrink):
    """With u = 0.1 and limits +-1 the rules change at 0, 0.1645 (out: 0.196) and 0.2 (analytic)."""
    for sign in (1, -1):
        for rule, state in (("simple", simple), ("guard95", guard95), ("shrinkU", shrink)):
            assert verdict(sign * value, 0.1, -1, 1, rule).state == state


@given(
    st.floats(-5, 5),
    st.floats(0.01, 3),
    st.floats(-4, 0),
    st.floats(0.1, 4),
    st.one_of(st.none(), st.floats(1, 50)),
)
def test_probability_against_scipy(value, u, lower, width, dof):
    """Probability of conformity is that of scipy's distributions, to their own 1e-8 (computed)."""
    spread = stats.norm(value, u) if dof is None else stats.t(dof, value, u)
    expected = spread.cdf(lower + width) - spread.cdf(lower)
    found = conformity_probability(value, u, lower, lower + width, dof)
    assert found == pytest.approx(expected, abs=1e-8)


@given(st.floats(-3, 3), st.floats(0.01, 2), st.sampled_from(["guard95", "shrinkU"]))
def test_proven_means_95_percent(value, u, rule):
    """A guarding rule never says inside or outside at less than 95 % probability."""
    decided = verdict(value, u, -1, 1, rule)
    if decided.state == "inside":
        assert decided.probability >= 0.95 - 1e-9
    if decided.state == "outside":
        assert decided.probability <= 0.05 + 1e-9


@given(
    st.floats(-30, 30),
    st.floats(0.01, 10),
    st.sampled_from(["guard95", "shrinkU"]),
    st.sampled_from([None, 2.0, 7.0]),
)
def test_outside_means_that_what_is_shown_lies_outside(value, u, rule, dof):
    """Where outside is proven, the 95 % interval does not touch the tolerance, and vice versa."""
    decided = verdict(value, u, -1, 1, rule, dof=dof)
    k = stats.t.ppf(0.975, dof) if dof else stats.norm.ppf(0.975)
    if decided.state == "outside":
        assert abs(value) - k * u >= 1 - 1e-9
    elif rule == "guard95":
        assert abs(value) - k * u <= 1 + 1e-9


def test_an_interval_that_reaches_in_is_not_proven_outside():
    """-16 +- 16 about +-1, and 3.3 +- 1.9 about +-2, prove nothing, though 3 % or less conform."""
    for value, u95, limit in ((-16.0, 16.0, 1.0), (3.3, 1.9, 2.0)):
        decided = verdict(value, u95 / 1.959964, -limit, limit)
        assert decided.state == "unproven"
        assert decided.probability < 0.1


def test_narrow_tolerance_has_two_tails():
    """In the middle of a tolerance 3.29 u wide the two tails add up to 10 %: not proven."""
    assert verdict(0.0, 1.0, -1.65, 1.65, "guard95").state == "unproven"
    assert verdict(0.0, 1.0, -1.97, 1.97, "guard95").state == "inside"


def test_a_surface_on_its_limit_is_accepted_one_time_in_twenty(rng):
    """Repeated on a true value at the limit, it is said to be inside in 5 % (simulated).

    It is said to be outside in 2.5 %, where the interval that is shown lies outside.

    20,000 draws: the share is within 5 standard deviations, 0.8 %, of one in twenty.
    """
    u, limit = 0.1, 1.0
    states = [verdict(x, u, -limit, limit).state for x in rng.normal(limit, u, 20_000)]
    assert states.count("inside") / 20_000 == pytest.approx(0.05, abs=0.008)
    assert states.count("outside") / 20_000 == pytest.approx(0.025, abs=0.0055)


def test_few_degrees_of_freedom_widen_the_guard_band(rng):
    """With u from five readings the wrong proofs stay at 5 % only with Student's t (simulated)."""
    count, limit, wrong, naive = 8000, 1.0, 0, 0
    for _ in range(count):
        sample = rng.normal(limit, 0.2, 5)
        u = sample.std(ddof=1) / np.sqrt(5)
        wrong += verdict(sample.mean(), u, None, limit, dof=4).state == "inside"
        naive += verdict(sample.mean(), u, None, limit).state == "inside"
    assert wrong / count == pytest.approx(0.05, abs=0.0125)
    assert naive / count > 0.07


def test_one_sided():
    """A free side never decides."""
    assert verdict(-100.0, 1.0, None, 0.3).state == "inside"
    assert verdict(-100.0, 1.0, 0.3, None).state == "outside"


def test_no_uncertainty():
    """Without uncertainty a value is in or out, and on the limit in."""
    assert verdict(1.0, 0.0, -1, 1).state == "inside"
    assert verdict(1.0 + 1e-9, 0.0, -1, 1).state == "outside"
    assert verdict(1.0, 0.0, -1, 1).probability == 1.0


@pytest.mark.parametrize(
    ("magnitude", "lower", "upper", "state"),
    [(1.0, -2, 2, "inside"), (3.0, -2, 2, "outside"), (1.0, -0.5, 3, "unproven"),
     (1.95, -2, 2, "unproven")],
)  # fmt: skip
def test_unknown_sense(magnitude, lower, upper, state):
    """A magnitude is proven only where both signs are."""
    decided = both_senses(magnitude, 0.1, lower, upper)
    assert decided.state == state
    least = min(conformity_probability(s * magnitude, 0.1, lower, upper) for s in (1, -1))
    assert decided.probability == least


def test_surface_takes_the_worst():
    """A surface is as good as its worst quantity, and the reason names that one."""
    measured = Measured(0.5, 0.1, "centre", 0.5, 0.02, wavelength_nm=589.3)
    decided = surface_verdict(measured, Tolerance(2.0, 0.3, wavelength_nm=589.3))
    assert decided.state == "outside"
    assert "irregularity" in decided.reason
    assert "power" not in decided.reason
    assert [part.state for part in decided.parts] == ["inside", "outside"]


def test_surface_probability_is_of_all_limits_together():
    """Power and irregularity multiply; power and radius, one quantity twice, do not (analytic)."""
    measured = Measured(1.9, 0.1, "edge", 0.28, 0.02, 1.85, 0.1, 546.07)
    both = surface_verdict(measured, Tolerance(2.0, 0.3))
    p, b = (part.probability for part in both.parts)
    assert both.probability == pytest.approx(p * b)
    twice = surface_verdict(measured, Tolerance(2.0, radius_difference_mm=2.0))
    assert twice.probability == min(part.probability for part in twice.parts)


def test_fringes_of_another_lamp():
    """A tolerance at 632.8 nm judges fringes of 546.07 nm as the same height (analytic)."""
    tolerance = Tolerance(power_fringes=1.0, wavelength_nm=632.8)
    decided = surface_verdict(Measured(1.1, 0.01, "centre", wavelength_nm=546.07), tolerance)
    assert decided.state == "inside"
    assert decided.parts[0].value == pytest.approx(1.1 * 546.07 / 632.8)
    with pytest.raises(BadInput, match="no wavelength"):
        surface_verdict(Measured(1.1, 0.01, "centre"), tolerance)


def test_what_was_not_measured_is_unproven():
    """A limit whose quantity or uncertainty is missing leaves the surface unproven."""
    tolerance = Tolerance(power_fringes=2.0, irregularity_fringes=0.3)
    missing = surface_verdict(Measured(0.5, 0.1, "centre"), tolerance)
    assert (missing.state, missing.reason) == ("unproven", "irregularity is not measured")
    assert missing.probability is None
    bare = surface_verdict(Measured(0.5, None, "centre", 0.1, 0.01), tolerance)
    assert bare.state == "unproven"
    assert "no uncertainty" in bare.reason


def reading(**values):
    given = {"wavelength_nm": 589.3, "quality": Quality(0.8, 1.0, 0.1)} | values
    return Reading(**given)


def test_reading_is_judged_as_it_is():
    """A reading's parts of uncertainty add in quadrature; its 95 % interval is 1.96 u."""
    parts = {"fit": 0.03, "edge": 0.04}
    one = measured_of(reading(power_fringes=1.0, power_u_parts=parts), Bench())
    assert one.power_u_fringes == pytest.approx(0.05)
    bare = measured_of(reading(power_fringes=1.0, power_u95_fringes=0.196), Bench())
    assert bare.power_u_fringes == pytest.approx(0.1, rel=1e-4)
    assert surface_verdict(one, Tolerance(power_fringes=1.2)).state == "inside"


def test_the_wavelength_counts():
    """5.7 fringes of an LED known to 0.27 %: u from 0.01 to 0.0184, proven no more (analytic)."""
    limit = Tolerance(power_fringes=5.72, wavelength_nm=590.0)
    seen = {"wavelength_nm": 590.0, "sense": "centre", "power_u_parts": {"fit": 0.01}}
    exact = measured_of(reading(power_fringes=5.7, **seen), Bench())
    lit = measured_of(reading(power_fringes=5.7, u_wavelength_nm=1.6, lamp="led", **seen), Bench())
    assert surface_verdict(exact, limit).state == "inside"
    assert surface_verdict(lit, limit).state == "unproven"
    assert lit.power_u_fringes == pytest.approx(math.hypot(0.01, 5.7 * 1.6 / 590))
    other = Tolerance(power_fringes=5.72 * 590 / 546.07, wavelength_nm=546.07)
    assert surface_verdict(lit, other).probability == pytest.approx(
        surface_verdict(lit, limit).probability
    )


def test_outside_without_all_measured_says_so():
    """Outside by power alone: its own probability of conforming, and what was not measured."""
    tolerance = Tolerance(power_fringes=2.0, irregularity_fringes=0.3)
    decided = surface_verdict(Measured(2.5, 0.2, "centre"), tolerance)
    assert decided.state == "outside"
    # analytic: the tail of a normal beyond 2.5 standard deviations
    assert decided.probability == pytest.approx(0.0062097, abs=1e-6)
    assert "irregularity is not measured" in decided.reason
    assert "power" in decided.reason


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: verdict(1, 0.1, None, None), "no limit"),
        (lambda: verdict(1, 0.1, 2, 1), "not below"),
        (lambda: verdict(1, -0.1, 0, 2), "zero or more"),
        (lambda: verdict(float("nan"), 0.1, 0, 2), "not a number"),
        (lambda: verdict(1, 0.1, 0, 2, "gut feeling"), "unknown"),
        (lambda: Tolerance(power_fringes=-1.0), "greater than zero"),
        (lambda: Tolerance(rule="gut feeling"), "unknown"),
        (lambda: surface_verdict(Measured(1.0, 0.1), Tolerance()), "limits nothing"),
    ],
)
def test_nonsense_is_refused(call, message):
    """Impossible limits, uncertainties and rules get one clear line."""
    with pytest.raises(BadInput, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)
