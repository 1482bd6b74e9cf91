"""The turning test: forms of work and plate are told apart, with honest intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.turning import turned_forms
from fringe.optics.zernike import zernike_sum, zernike_terms
from fringe.orders.reading import FormFit, Quality, Reading

TERMS = zernike_terms(6)
NOISE = 0.01


def reading(values, sense="centre", wavelength_nm=589.3):
    """A reading of a form, with white noise in its covariance."""
    form = FormFit(TERMS, np.asarray(values, float), NOISE**2 * np.eye(len(TERMS)))
    return Reading(wavelength_nm, Quality(0.8, 1.0, 0.1), sense=sense, form=form)


def turned(values, angle_deg):
    """Coefficients of a form turned from +x toward +y, by sampling it and fitting anew.

    The point that lies at angle t after the turn lay at t - a before: independent of the rules
    by which the module turns coefficients.
    """
    rng = np.random.default_rng(5)
    radius, angle = np.sqrt(rng.uniform(0, 1, 400)), rng.uniform(0, 2 * math.pi, 400)
    before = angle - math.radians(angle_deg)
    heights = zernike_sum(TERMS, values, radius * np.cos(before), radius * np.sin(before))
    rows = np.stack(
        [
            zernike_sum(TERMS, one, radius * np.cos(angle), radius * np.sin(angle))
            for one in np.eye(len(TERMS))
        ],
        axis=1,
    )
    return np.linalg.lstsq(rows, heights, rcond=None)[0]


def forms(rng, size=0.1):
    """Random forms of work and plate."""
    return rng.normal(0, size, len(TERMS)), rng.normal(0, size, len(TERMS))


@pytest.mark.parametrize("angles", [(0, 90), (0, 72, 144, 216, 288), (10, 55, 200)])
def test_both_forms_come_back(rng, angles):
    """Without noise every term that these angles tell apart comes back (analytic)."""
    work, plate = forms(rng)
    found = turned_forms([reading(plate + turned(work, a)) for a in angles], angles)
    for one, truth in ((found.work, work), (found.plate, plate)):
        expected = [truth[TERMS.index(term)] for term in one.terms]
        assert one.values == pytest.approx(expected, abs=1e-6)
    both = [(work + plate)[TERMS.index(term)] for term in found.symmetric.terms]
    assert found.symmetric.values == pytest.approx(both, abs=1e-6)
    assert found.agrees


@pytest.mark.parametrize(
    ("angles", "lost"),
    [((0, 90), (4,)), ((0, 180), (2, 4, 6)), ((0, 72, 144, 216, 288), (5,)), ((0, 50, 110), ())],
)
def test_what_turning_cannot_tell(rng, angles, lost):
    """N equal steps leave frequencies N, 2N, ... undetermined; m = 0 always is (analytic)."""
    work, plate = forms(rng)
    found = turned_forms([reading(plate + turned(work, a)) for a in angles], angles)
    assert found.undetermined == lost
    assert not {abs(m) for _, m in found.work.terms} & {0, *lost}
    assert {m for _, m in found.symmetric.terms} == {0}


def held(rng, angles):
    """How many coefficients of both forms a turning test with noise has within 1.96 u; of all."""
    work, plate = forms(rng)
    seen = [plate + turned(work, a) + rng.normal(0, NOISE, len(TERMS)) for a in angles]
    found = turned_forms([reading(one) for one in seen], angles)
    inside = []
    for one, truth in ((found.work, work), (found.plate, plate)):
        errors = one.values - [truth[TERMS.index(term)] for term in one.terms]
        inside += list(np.abs(errors) <= 1.96 * np.sqrt(np.diag(one.covariance)))
    return sum(inside), len(inside)


def test_intervals_hold(rng):
    """Of 60 turning tests with noise, about 95 % of all coefficients lie within 1.96 u.

    The slack is three standard deviations of a count of 60 independent tests.
    """
    inside, count = np.sum([held(rng, (0, 72, 144, 216, 288)) for _ in range(60)], axis=0)
    assert inside / count == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / 60))


def test_a_form_that_changed_is_noticed(rng):
    """Work that changed between the positions does not fit two forms: the misfit says so."""
    work, plate = forms(rng)
    angles = (0, 72, 144, 216, 288)
    seen = [plate + turned(work * (1 + 0.4 * k), a) for k, a in enumerate(angles)]
    assert not turned_forms([reading(one) for one in seen], angles).agrees


@pytest.mark.parametrize(
    ("angles", "message"),
    [((0,), "2 photographs"), ((0, 2), "hardly turned"), ((0, math.nan), "hardly turned")],
)
def test_nonsense_is_refused(angles, message):
    """Too few angles, or a work that was hardly turned, are one clear line."""
    readings = [reading(np.zeros(len(TERMS)))] * 2
    with pytest.raises(BadInput, match=message):
        turned_forms(readings, angles)


def test_contacts_must_agree():
    """Readings of different contact or lamp cannot be joined."""
    zeros = np.zeros(len(TERMS))
    with pytest.raises(BadInput, match="not in the same place"):
        turned_forms([reading(zeros), reading(zeros, sense="edge")], (0, 90))
    with pytest.raises(BadInput, match="different lamps"):
        turned_forms([reading(zeros), reading(zeros, wavelength_nm=546.1)], (0, 90))
