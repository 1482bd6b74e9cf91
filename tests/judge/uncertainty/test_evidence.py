"""Least squares over evidence: against closed forms, and wrong evidence found and named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import kstest

from fringe.errors import BadInput
from fringe.judge.uncertainty.evidence import Evidence, Unknown, estimate, to_json

X, Y = Unknown("x", 0.0, 1.0), Unknown("y", 0.0, 1.0)


def of_x(name, value, u, kind="contact"):
    """Evidence that speaks of x alone."""
    return Evidence(name, value, u, lambda p: p["x"], kind=kind)


def test_a_weighted_mean():
    """Analytic: evidence of one unknown is its mean weighted by 1 / u^2; chi-square by hand."""
    found = estimate([X], [of_x("a", 1.0, 0.1), of_x("b", 1.4, 0.2)])
    weights = np.array([100.0, 25.0])
    mean = weights @ [1.0, 1.4] / 125
    assert found.value("x") == pytest.approx(mean)
    assert found.u("x") == pytest.approx(125**-0.5)
    assert found.chi2 == pytest.approx(0.4**2 / (0.1**2 + 0.2**2))
    assert found.dof == 1
    # what one says without the other
    assert found.judged[0].off == pytest.approx(-0.4 / math.hypot(0.1, 0.2))


def test_shared_errors_are_correlations():
    """Analytic: an error that two measurements share cancels in their difference, not the sum."""
    zero = Unknown("zero", 0.0, 1.0)
    found = estimate(
        [X, Y, zero],
        [
            Evidence("zero", 0.0, 1.0, lambda p: p["zero"], kind="shared"),
            Evidence("x", 5.0, 0.1, lambda p: p["x"] + p["zero"]),
            Evidence("y", 7.0, 0.1, lambda p: p["y"] + p["zero"]),
        ],
    )
    assert found.u("x") == pytest.approx(math.hypot(1.0, 0.1))
    assert found.correlation("x", "y") == pytest.approx(1 / 1.01)
    assert found.of(lambda p: p["y"] - p["x"]) == pytest.approx((2.0, 0.1 * math.sqrt(2)))
    assert found.of(lambda p: p["y"] + p["x"])[1] == pytest.approx(math.hypot(2.0, 0.1 * 2**0.5))


def test_leave_one_out_is_what_it_says(rng):
    """How far a piece is off is what a second estimate without it finds (analytic)."""
    slopes = rng.normal(size=(6, 2))
    evidence = [
        Evidence(
            f"e{i}", float(a + b + rng.normal()), 1.0, lambda p, a=a, b=b: a * p["x"] + b * p["y"]
        )
        for i, (a, b) in enumerate(slopes)
    ]
    found = estimate([X, Y], evidence)
    for i, one in enumerate(evidence):
        rest = estimate([X, Y], evidence[:i] + evidence[i + 1 :])
        expected, u = rest.of(one.model)
        off = (one.value - expected) / math.hypot(1.0, u)
        assert found.judged[i].off == pytest.approx(off, rel=1e-6)


def test_what_is_assumed_is_no_evidence():
    """A wide assumption changes neither chi-square nor its degrees of freedom."""
    evidence = [of_x("a", 1.0, 0.1), of_x("b", 1.1, 0.1)]
    bare = estimate([X], evidence)
    with_it = estimate([X], [*evidence, of_x("near", 0.0, 1e4, "assumed")])
    assert (with_it.chi2, with_it.dof) == (pytest.approx(bare.chi2), bare.dof)
    loose = estimate(
        [X, Y],
        [
            *evidence,
            Evidence("y is near", 3.0, 5.0, lambda p: p["y"], kind="assumed"),
        ],
    )
    assert (loose.chi2, loose.dof) == (pytest.approx(bare.chi2), 1)
    assert loose.value("y") == pytest.approx(3.0)


def test_probabilities_are_even(rng):
    """Of 600 sound sets, the probability of chi-square is spread evenly (Kolmogorov-Smirnov)."""
    found = [
        estimate([X], [of_x(f"{i}", float(rng.normal()), 1.0) for i in range(4)]).probability
        for _ in range(600)
    ]
    assert kstest(found, "uniform").pvalue > 1e-4


def test_a_wrong_piece_is_named(rng):
    """Of 300 sets of six with one off by 8 u, 97 % name that one, and no sound set names any.

    The share that a sound set is called a contradiction is 1 % by the threshold.
    """
    named = alarms = 0
    for _ in range(300):
        evidence = [of_x(f"e{i}", float(rng.normal()), 1.0) for i in range(6)]
        alarms += bool(estimate([X], evidence).contradictions)
        wrong = int(rng.integers(6))
        evidence[wrong] = of_x(f"e{wrong}", 8.0 + float(rng.normal()), 1.0)
        found = estimate([X], evidence)
        named += found.suspects == (wrong,)
        assert found.contradictions
    assert named / 300 > 0.9
    assert alarms <= 3 + 5 * math.sqrt(3)


def test_two_that_contradict_are_both_named():
    """Of two pieces that contradict each other, nothing tells which is wrong."""
    found = estimate([X], [of_x("a", 0.0, 0.1), of_x("b", 1.0, 0.1)])
    assert found.suspects == (0, 1)
    assert "does not tell which of them is wrong: a; b" in found.contradictions[0]


def test_more_than_one_wrong():
    """Where leaving out one does not mend it, that is said."""
    evidence = [of_x(str(i), 0.0, 0.1) for i in range(4)]
    evidence += [of_x("c", 5.0, 0.1), of_x("d", -7.0, 0.1)]
    found = estimate([X], evidence)
    assert found.contradictions[0].startswith("more than one piece of evidence is wrong")
    assert found.suspects == ()


def test_a_shared_error_is_never_the_suspect():
    """What is only an error of others is not blamed, however far off."""
    zero = Unknown("zero", 0.0, 1.0)
    found = estimate(
        [X, zero],
        [
            Evidence("zero", 0.0, 0.01, lambda p: p["zero"], kind="shared"),
            Evidence("a", 0.0, 0.01, lambda p: p["x"] + p["zero"]),
            Evidence("b", 1.0, 0.01, lambda p: p["x"] - p["zero"]),
        ],
    )
    assert found.suspects == (1, 2)


def test_what_is_not_determined():
    """An unknown that no evidence binds is named; so is one of two that only their sum binds."""
    with pytest.raises(BadInput, match="does not tell y"):
        estimate([X, Y], [of_x("a", 1.0, 0.1), of_x("b", 1.0, 0.1)])
    sums = [Evidence(str(i), 1.0, 0.1, lambda p: p["x"] + p["y"]) for i in range(3)]
    with pytest.raises(BadInput, match="does not tell"):
        estimate([X, Y], sums)


def test_json():
    """The JSON has unknowns, evidence, chi-square and contradictions."""
    values = to_json(estimate([X], [of_x("a", 0.0, 0.1), of_x("b", 1.0, 0.1)]))
    assert values["unknowns"]["x"]["value"] == pytest.approx(0.5)
    assert [one["name"] for one in values["evidence"]] == ["a", "b"]
    assert values["dof"] == 1
    assert values["contradictions"]
