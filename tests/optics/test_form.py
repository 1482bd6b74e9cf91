"""Form quantities, against analytic values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.optics import form
from fringe.optics.spheres import sphere_form
from fringe.optics.zernike import zernike_matrix, zernike_terms

TERMS = zernike_terms(8)


@pytest.mark.parametrize(
    ("term", "coefficients", "want"),
    [
        # value: power, tilt, astigmatism, B, C, RMSi, RMSt, RMSa (analytic, unit coefficient)
        ("power", {(2, 0): 1.0}, (2, 0, 0, 0, 0, 0, 1 / math.sqrt(3), 0)),
        ("tilt", {(1, 1): 0.6, (1, -1): 0.8}, (0, 1, 0, 0, 0, 0, 0, 0)),
        ("astigmatism", {(2, -2): 1.0}, (0, 0, 2, 2, 0, 6**-0.5, 6**-0.5, 6**-0.5)),
        ("coma", {(3, 1): 1.0}, (0, 0, 0, 2, 0, 8**-0.5, 8**-0.5, 8**-0.5)),
        ("spherical", {(4, 0): 1.0}, (0, 0, 0, 1.5, 1.5, 5**-0.5, 5**-0.5, 0)),
    ],
)
def test_quantities_of_single_terms(term, coefficients, want):
    """One unit Zernike term gives the peak to valley and rms known for it (analytic)."""
    got = form.form_quantities(list(coefficients), list(coefficients.values()))
    values = (
        got.power,
        got.tilt,
        got.astigmatism_pv,
        got.irregularity_pv,
        got.symmetric_irregularity_pv,
        got.rms_irregularity,
        got.rms_total,
        got.rms_asymmetry,
    )
    # the grid may miss a summit by half a step: up to 6 (0.012)^2 of Z40 in rho^2
    assert values == pytest.approx(want, abs=9e-4)


@given(st.lists(st.floats(-3, 3), min_size=len(TERMS), max_size=len(TERMS)))
def test_power_is_twice_the_defocus_coefficient(values):
    """On the full disc no other term leaks into power, tilt or astigmatism (analytic)."""
    got = form.form_quantities(TERMS, values)
    by_term = dict(zip(TERMS, values, strict=True))
    assert got.power == pytest.approx(2 * by_term[2, 0], abs=1e-9)
    assert got.tilt == pytest.approx(math.hypot(by_term[1, 1], by_term[1, -1]), abs=1e-9)
    astigmatism = 2 * math.hypot(by_term[2, 2], by_term[2, -2])
    assert got.astigmatism_pv == pytest.approx(astigmatism, abs=1e-9)


@given(st.floats(0, 2 * math.pi), st.floats(-5, 5))
def test_quantities_do_not_depend_on_the_direction(angle, power):
    """A form turned about its axis keeps its quantities, to the grid's half per cent."""
    terms = [(2, 0), (2, 2), (2, -2), (3, 1), (3, -1), (3, 3), (3, -3)]
    turned = [power, 0.2 * math.cos(2 * angle), 0.2 * math.sin(2 * angle)]
    turned += [0.1 * math.cos(angle), 0.1 * math.sin(angle)]
    turned += [0.05 * math.cos(3 * angle), 0.05 * math.sin(3 * angle)]
    got, want = (
        form.form_quantities(terms, values)
        for values in (turned, [power, 0.2, 0.0, 0.1, 0.0, 0.05, 0.0])
    )
    assert got.irregularity_pv == pytest.approx(want.irregularity_pv, rel=5e-3)
    assert got.rms_irregularity == pytest.approx(want.rms_irregularity, rel=1e-9)
    assert got.astigmatism_pv == pytest.approx(0.4, rel=1e-9)


def test_exact_sphere_leaves_nothing_on_a_steep_surface():
    """A small sphere difference on a steep plate is power alone when its shape is taken out."""
    x = np.linspace(-1, 1, 201)
    u, v = np.meshgrid(x, x)
    with np.errstate(invalid="ignore"):
        inside = u**2 + v**2 <= 1
    surface = np.full(u.shape, np.nan)
    surface[inside] = 3 * sphere_form(u[inside], v[inside], 100.0, 160.0)
    exact = form.form_quantities_of_map(u, v, surface, 100.0, 160.0)
    assert exact.power == pytest.approx(3, abs=1e-9)
    assert exact.irregularity_pv == pytest.approx(0, abs=1e-9)
    # the parabola leaves the r^4 term of the sphere: not nothing at r/R = 0.8
    assert form.form_quantities_of_map(u, v, surface).symmetric_irregularity_pv > 0.1


def test_a_map_gives_what_its_coefficients_give(rng):
    """Dense points of a form give its quantities to a per cent."""
    terms = [(1, 1), (2, 0), (2, 2), (3, 1), (4, 0)]
    values = rng.uniform(0.2, 1.0, 5) * rng.choice([-1, 1], 5)
    want = form.form_quantities(terms, values)
    x = np.linspace(-1, 1, 401)
    u, v = np.meshgrid(x, x)
    got = form.form_quantities_of_map(u, v, zernike_matrix(terms, u, v) @ values)
    for name in vars(want):
        assert getattr(got, name) == pytest.approx(getattr(want, name), rel=0.01), name


def test_map_quantities_leave_out_what_is_masked():
    """Points that are not finite or lie outside the disc do not enter the fit."""
    x = np.linspace(-1.2, 1.2, 121)
    u, v = np.meshgrid(x, x)
    surface = u**2 + v**2
    surface[u**2 + v**2 > 1 + 1e-9] = 1e9
    surface[40:50, 40:50] = np.nan
    assert form.form_quantities_of_map(u, v, surface).power == pytest.approx(1, abs=1e-9)


def test_too_little_to_fit_is_refused():
    """Five points, or a wrong number of values, are refused with one line."""
    with pytest.raises(BadInput, match="6 points"):
        form.form_quantities_of_map(np.zeros(5), np.zeros(5), np.zeros(5))
    with pytest.raises(BadInput, match="as many values"):
        form.form_quantities([(2, 0)], [1.0, 2.0])
