"""Turning tests of one plate are joined by their uncertainties, and held against each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.judge.plates.form import joined_form
from fringe.orders.plate_map import PlateMap

TERMS = ((2, -2), (2, 2), (3, -1), (3, 1), (3, -3), (3, 3))
TRUE_NM = np.array([12.0, -30.0, 5.0, 0.0, 8.0, -4.0])


def turning_map(rng, terms=TERMS, when="2026-03-14", diameter_mm=150.0, true_nm=TRUE_NM):
    """A test that errs by a covariance of its own."""
    root = rng.normal(0, 1.0, (len(terms), len(terms))) + 2 * np.eye(len(terms))
    covariance = root @ root.T
    places = [TERMS.index(term) for term in terms]
    seen = true_nm[places] + root @ rng.normal(0, 1, len(terms))
    rows = tuple(tuple(row[: i + 1]) for i, row in enumerate(covariance))
    lost = tuple({abs(m) for _, m in TERMS} - {abs(m) for _, m in terms})
    return PlateMap("P7", when, diameter_mm, terms, tuple(seen), rows, undetermined=lost)


def test_joined_tests_hold_the_truth(rng):
    """Three tests, one of which tells no waves of three: pulls are of mean 0 and deviation 1."""
    pulls, probabilities = [], []
    for _ in range(300):
        maps = [turning_map(rng), turning_map(rng), turning_map(rng, TERMS[:4])]
        found = joined_form(maps)
        assert (found.tests, found.dof) == (3, 10)
        assert found.known.terms == tuple(sorted(TERMS))
        order = [TERMS.index(term) for term in found.known.terms]
        u = np.sqrt(np.diag(found.known.covariance()))
        pulls.append((np.array(found.known.values_nm) - TRUE_NM[order]) / u)
        probabilities.append(found.probability)
    assert np.std(pulls) == pytest.approx(1.0, abs=0.07)
    assert np.mean(np.abs(pulls) < 1.96) >= 0.93
    assert np.mean(np.array(probabilities) < 0.1) == pytest.approx(0.1, abs=0.06)


def test_two_alike_tests_halve_the_variance(rng):
    """(analytic) The mean of two tests of one covariance has half of it."""
    one = turning_map(rng)
    both = joined_form([one, replace(one, when="2026-04-01")]).known
    order = [one.terms.index(term) for term in both.terms]
    assert both.covariance() == pytest.approx(one.covariance()[np.ix_(order, order)] / 2, rel=1e-5)
    assert both.when == "2026-04-01"


def test_a_plate_that_lay_otherwise_is_noticed(rng):
    """A test with the plate turned by a right angle turns its waves of two over."""
    lain = TRUE_NM * np.array([-1, -1, 1, 1, 1, 1])
    found = joined_form([turning_map(rng), turning_map(rng, true_nm=lain)])
    assert not found.agrees
    stated = joined_form([turning_map(rng), turning_map(rng)])
    assert (stated.agrees, stated.birge_ratio) == (True, 1.0)


def test_tests_that_disagree_know_less(rng):
    """(analytic) Two tests of one covariance C that differ by d: C / 2 times d' C^-1 d / 2 T."""
    one = turning_map(rng)
    by = np.array([40.0, -40.0, 0.0, 20.0, 0.0, 0.0])
    other = replace(one, values_nm=tuple(np.array(one.values_nm) + by))
    found = joined_form([one, other])
    c = one.covariance()
    ratio = np.sqrt(by @ np.linalg.inv(c) @ by / 2 / len(TERMS))
    assert found.birge_ratio == pytest.approx(ratio, rel=1e-6)
    assert ratio > 2
    order = [TERMS.index(term) for term in found.known.terms]
    wanted = ratio**2 * c[np.ix_(order, order)] / 2
    assert found.known.covariance() == pytest.approx(wanted, rel=1e-4)


def test_circles_of_one_size_are_joined(rng):
    """The latest test's circle counts; tests over others are left out and counted."""
    found = joined_form([turning_map(rng, diameter_mm=100.0), turning_map(rng)])
    assert (found.tests, found.left_out, found.known.diameter_mm) == (1, 1, 150.0)
    assert joined_form([]) is None
