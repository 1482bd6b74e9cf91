"""Zernike terms, against an independent library and analytic values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import eval_jacobi

from fringe.errors import BadInput
from fringe.optics import zernike
from fringe.optics.form import disc_grid

TERMS = zernike.zernike_terms(8)


@pytest.mark.parametrize(("n", "m"), zernike.zernike_terms(12))
def test_terms_are_jacobi_polynomials_times_waves(n, m):
    """R_n^m = rho^m P_k^(0,m)(2 rho^2 - 1), k = (n - m)/2, times cosine or sine (analytic)."""
    rho, theta = np.meshgrid(np.linspace(0, 1, 23), np.linspace(0, 6, 17))
    k = abs(m)
    wave = np.cos(k * theta) if m >= 0 else np.sin(k * theta)
    want = rho**k * eval_jacobi((n - k) // 2, 0, k, 2 * rho**2 - 1) * wave
    got = zernike.zernike(n, m, rho * np.cos(theta), rho * np.sin(theta))
    np.testing.assert_allclose(got, want, atol=1e-11)


@pytest.mark.parametrize(("n", "m"), TERMS)
def test_gradient_is_the_limit_of_differences(n, m, rng):
    """The gradient agrees with central differences of the term itself (analytic)."""
    u, v = rng.uniform(-0.7, 0.7, (2, 40))
    h = 1e-5
    du, dv = zernike.zernike_gradients(((n, m),), u, v)[..., 0]
    along_u = (zernike.zernike(n, m, u + h, v) - zernike.zernike(n, m, u - h, v)) / (2 * h)
    along_v = (zernike.zernike(n, m, u, v + h) - zernike.zernike(n, m, u, v - h)) / (2 * h)
    np.testing.assert_allclose(du, along_u, atol=1e-6)
    np.testing.assert_allclose(dv, along_v, atol=1e-6)


def test_gradient_is_finite_at_the_centre():
    """No term's gradient breaks down at rho = 0, where the angle is undefined."""
    assert np.all(np.isfinite(zernike.zernike_gradients(TERMS, 0.0, 0.0)))


def test_terms_are_orthogonal_with_known_norms():
    """Over the disc the mean square of a term is 1/(2n+2), halved for waves (analytic)."""
    u, v, weight = disc_grid()
    matrix = zernike.zernike_matrix(TERMS, u, v).reshape(-1, len(TERMS))
    gram = matrix.T @ (matrix * weight.reshape(-1, 1))
    norms = [1 / (n + 1) / (1 if m == 0 else 2) for n, m in TERMS]
    np.testing.assert_allclose(gram, np.diag(norms), atol=1e-12)


def test_matrix_has_one_column_a_term():
    """The matrix adds one axis at the end, in the order of the terms, also for no terms."""
    u = np.linspace(-0.5, 0.5, 12).reshape(3, 4)
    matrix = zernike.zernike_matrix(TERMS, u, 0.1)
    assert matrix.shape == (3, 4, len(TERMS))
    np.testing.assert_array_equal(matrix[..., 4], zernike.zernike(*TERMS[4], u, 0.1))
    assert zernike.zernike_matrix([], u, u).shape == (3, 4, 0)


@pytest.mark.parametrize(("n", "m"), [(2, 1), (1, 3), (-1, 1), (3, 0)])
def test_terms_that_do_not_exist_are_refused(n, m):
    """An odd n - |m|, or one below zero, is not a Zernike term."""
    with pytest.raises(BadInput, match="no Zernike term"):
        zernike.zernike(n, m, 0.1, 0.2)


@pytest.mark.parametrize("degree", [6, 44])
def test_sum_on_a_grid_is_the_sum_at_its_places(degree, rng):
    """On a turned grid that reaches past the rim the fast sum is the plain one (analytic)."""
    terms = (*zernike.zernike_terms(6), *((n, 0) for n in range(8, degree + 1, 2)))
    values = rng.normal(size=len(terms))
    x, y = np.meshgrid(np.linspace(-1.1, 1, 83), np.linspace(-1, 1.05, 70))
    u, v = 0.8 * x - 0.5 * y, 0.6 * x + 0.8 * y
    inside = np.hypot(u, v) <= 1
    fast = zernike.zernike_sum_on_grid(terms, values, u, v)
    slow = zernike.zernike_sum(terms, values, u[inside], v[inside])
    np.testing.assert_allclose(fast[inside], slow, atol=1e-10)
