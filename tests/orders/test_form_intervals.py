"""Intervals of irregularity, rms and astigmatism: they follow from the form's covariance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.optics.form import form_quantities
from fringe.optics.zernike import zernike_terms
from fringe.orders.form_intervals import form_intervals, shares_of

TERMS = zernike_terms(6)


def intervals(values, covariance, terms=TERMS):
    """Intervals of a form with some coefficients."""
    return form_intervals(terms, values, covariance, form_quantities(terms, values))


def test_a_known_form():
    """Astigmatism of 1 +- 0.1 at the rim has a peak to valley of 2 +- 0.2 (analytic)."""
    terms = ((0, 0), (1, -1), (1, 1), (2, -2), (2, 0), (2, 2))
    covariance = np.diag([1.0, 1.0, 1.0, 0.0, 9.0, 0.01])
    found = intervals(np.array([0, 0, 0, 0, 5.0, 1.0]), covariance, terms)
    # 300 draws tell a deviation to 4 %
    assert found.irregularity_u95 == pytest.approx(1.96 * 0.2, rel=0.15)
    assert found.astigmatism_u95 == pytest.approx(1.96 * 0.2, rel=0.15)
    # noise of 0.1 in one of two coefficients: sqrt(2^2 - 0.2^2)
    assert found.irregularity == pytest.approx(math.sqrt(2.0**2 - 0.2**2), abs=0.005)
    assert found.symmetric == pytest.approx(0.0, abs=1e-9)


def test_without_noise_nothing_changes():
    """A form that is known exactly keeps its figures, with intervals of no width."""
    values = np.random.default_rng(3).normal(0, 0.1, len(TERMS))
    found = intervals(values, np.zeros((len(TERMS), len(TERMS))))
    plain = form_quantities(TERMS, values)
    assert found.irregularity == plain.irregularity_pv
    assert found.rms == pytest.approx(plain.rms_irregularity, rel=1e-12)
    assert found.irregularity_u95 == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("size", [0.0, 0.01, 0.05, 0.3])
def test_intervals_hold_noisy_forms(rng, size):
    """Of 60 forms fitted with noise, 90 % or more of B, C, rms and astigmatism are held.

    `size` is the scatter of the true form's coefficients, beside noise of 0.01 in each: perfect
    spheres are among them. The slack is three standard deviations of the count.
    """
    count, noise = 60, 0.01
    kept = np.array([n > 2 or (n == 2 and m != 0) for n, m in TERMS])
    held = np.zeros(4)
    for _ in range(count):
        truth = rng.normal(0, 1, len(TERMS)) * size * kept
        seen = truth + rng.normal(0, noise, len(TERMS)) * kept
        found = intervals(seen, noise**2 * np.diag(kept.astype(float)))
        true = form_quantities(TERMS, truth)
        held += (
            abs(found.irregularity - true.irregularity_pv) <= found.irregularity_u95,
            abs(found.symmetric - true.symmetric_irregularity_pv) <= found.symmetric_u95,
            abs(found.rms - true.rms_irregularity) <= found.rms_u95,
            abs(found.astigmatism - true.astigmatism_pv) <= found.astigmatism_u95,
        )
    assert (held / count > 0.9 - 3 * np.sqrt(0.9 * 0.1 / count)).all(), held / count


def test_noise_does_not_add_to_a_perfect_sphere(rng):
    """The mean irregularity of noisy perfect spheres is less than half of what noise shows."""
    covariance = 0.01**2 * np.eye(len(TERMS))
    draws = [rng.normal(0, 0.01, len(TERMS)) for _ in range(60)]
    plain = np.mean([form_quantities(TERMS, one).irregularity_pv for one in draws])
    freed = np.mean([intervals(one, covariance).irregularity for one in draws])
    assert plain > 0.03
    assert freed < plain / 2


def test_shares_of_a_part_of_the_covariance(rng):
    """A part's share is how far its errors alone move each figure, and none of what it spares.

    Astigmatism and coma of the part leave the symmetric irregularity as it is (analytic); the
    others are held against errors drawn here, to the scatter of 300 draws.
    """
    form = rng.normal(0, 0.1, len(TERMS))
    part = np.diag([0.01**2 if n in (2, 3) and m != 0 else 0.0 for n, m in TERMS])
    covariance = part + 0.006**2 * np.eye(len(TERMS))
    shares = shares_of(TERMS, form, covariance, part)
    assert shares["symmetric_irregularity"] == pytest.approx(0.0, abs=1e-12)
    for name, of in (("irregularity", "irregularity_pv"), ("rms_irregularity", "rms_irregularity")):
        widths = []
        for one in (part, covariance):
            errors = rng.multivariate_normal(np.zeros(len(TERMS)), one, size=300)
            widths.append(np.var([getattr(form_quantities(TERMS, form + e), of) for e in errors]))
        assert shares[name] == pytest.approx(widths[0] / widths[1], abs=0.2)
    assert shares_of(TERMS, form, covariance, covariance)["astigmatism"] == pytest.approx(1.0)
