"""Newton's rings: textbook forms against the exact gap, and the fit of the ring step."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from fringe.errors import BadInput
from fringe.optics import rings, spheres

YELLOW = 587.562


@given(st.integers(0, 40), st.floats(500, 50_000), st.floats(1.001, 100))
def test_dark_rings_lie_where_the_gap_is_whole_half_waves(order, convex, ratio):
    """On shallow surfaces the exact gap at the m-th dark ring is m half waves (analytic)."""
    concave = ratio * convex
    effective = rings.effective_radius_mm(convex, concave)
    r = rings.dark_ring_radius_mm(order, YELLOW, effective)
    gap = spheres.gap_nm(convex, concave - convex, r)
    steepness = (r / convex) ** 2
    assert 2 * gap / YELLOW == pytest.approx(order, rel=1e-9 + steepness, abs=1e-9)
    assert rings.order_at_mm(r, YELLOW, effective) == pytest.approx(order, abs=1e-9)


def test_first_bright_ring_is_half_an_order():
    """Bright rings are counted from 1, and the first has order one half."""
    r = rings.bright_ring_radius_mm(1, YELLOW, 1000.0)
    assert rings.order_at_mm(r, YELLOW, 1000.0) == pytest.approx(0.5)


@given(st.floats(50, 5000), st.floats(-0.5, 0.5), st.sampled_from(["convex", "concave"]))
def test_effective_radius_gives_the_radius_difference_back(plate, share, work):
    """From both radii to the effective radius and back to their difference (analytic)."""
    difference = share * plate
    pair = (plate + difference, plate) if work == "convex" else (plate, plate + difference)
    effective = rings.effective_radius_mm(*pair)
    if math.isinf(effective):
        assert pair[0] == pair[1]
        return
    again = rings.radius_difference_from_effective_mm(effective, plate, work)
    assert again == pytest.approx(difference, rel=1e-6, abs=1e-9 * plate)
    assert (effective > 0) == (pair[0] < pair[1])


def test_lens_on_a_flat_is_its_own_effective_radius():
    """A convex on a flat has its own radius; equal radii have no rings."""
    assert rings.effective_radius_mm(321.0) == pytest.approx(321.0)
    assert math.isinf(rings.effective_radius_mm(321.0, 321.0))


def test_ring_step_is_ordinary_least_squares(rng):
    """Step, intercept and their uncertainties equal those of an independent regression."""
    orders = np.arange(1, 13)
    radii = np.sqrt(0.4 + 0.73 * orders + rng.normal(0, 0.02, 12))
    got, want = rings.ring_step_from_radii(orders, radii), linregress(orders, radii**2)
    assert got.step == pytest.approx(want.slope, rel=1e-10)
    assert got.u_step == pytest.approx(want.stderr, rel=1e-8)
    assert got.intercept == pytest.approx(want.intercept, rel=1e-9)
    assert got.u_intercept == pytest.approx(want.intercept_stderr, rel=1e-8)
    assert got.n == 12


def test_ring_step_uncertainty_covers_the_truth(rng):
    """Over many noisy ring sets the pulls of step and intercept have mean 0 and spread 1.

    Radii carry like errors, so they are weighted; bounds are four standard errors of the spread
    of 600 values of Student's t with 18 degrees of freedom (spread sqrt(18/16)).
    """
    orders, u = np.arange(1.0, 21.0), 0.004
    true = np.sqrt(0.3 + 0.8 * orders)
    pulls = []
    for _ in range(600):
        fit = rings.ring_step_from_radii(orders, true + rng.normal(0, u, 20), np.full(20, u))
        pulls.append(((fit.step - 0.8) / fit.u_step, (fit.intercept - 0.3) / fit.u_intercept))
    spread = math.sqrt(18 / 16)
    assert np.abs(np.mean(pulls, axis=0)).max() < 4 * spread / math.sqrt(600)
    assert np.std(pulls, axis=0) == pytest.approx([spread, spread], rel=4 / math.sqrt(2 * 600))


def test_two_rings_have_a_step_but_no_finite_uncertainty():
    """Two rings give the step exactly and say that nothing checks it."""
    fit = rings.ring_step_from_radii([5, 15], [1.68, 2.95])
    assert fit.step == pytest.approx((2.95**2 - 1.68**2) / 10)
    assert math.isinf(fit.u_step)
    assert fit.residual == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: rings.ring_step_from_radii([1], [2.0]), "two rings"),
        (lambda: rings.ring_step_from_radii([1, 1], [2.0, 2.1]), "two rings"),
        (lambda: rings.ring_step_from_radii([1, 2, 3], [2.0, 2.1]), "two rings"),
        (lambda: rings.ring_step_from_radii([1, 2], [math.nan, 2.1]), "radii"),
        (lambda: rings.ring_step_from_radii([0, 1], [0.0, 1.0], [0.1, 0.1]), "weights"),
        (lambda: rings.effective_radius_mm(-3.0, 5.0), "positive"),
        (lambda: rings.bright_ring_radius_mm(0, YELLOW, 100.0), "counted from 1"),
        (lambda: rings.dark_ring_radius_mm(3, YELLOW, -100.0), "contact at the edge"),
        (lambda: rings.radius_difference_from_effective_mm(50.0, 100.0, "flat"), "convex or"),
        (lambda: rings.radius_difference_from_effective_mm(50.0, 100.0, "concave"), "no concave"),
    ],
)
def test_what_is_no_ring_is_refused_in_one_line(call, words):
    """Ring data without sense are refused with one line."""
    with pytest.raises(BadInput, match=words) as error:
        call()
    assert "\n" not in str(error.value)
