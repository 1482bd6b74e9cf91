"""Local terms of a form: what they are, and that whoever takes terms takes them."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.optics.form import disc_grid, form_quantities
from fringe.optics.form_features import form_features
from fringe.optics.local_terms import broad_places, without_patches
from fringe.optics.patches import is_patch, node, patch
from fringe.optics.zernike import (
    zernike_gradients,
    zernike_matrix,
    zernike_rows,
    zernike_sum,
    zernike_sum_on_grid,
    zernike_terms,
)
from fringe.orders.form_intervals import form_intervals

OFF_CENTRE = patch(8, 11, 9)
AT_RIM = patch(16, 31, 18)
TERMS = (*zernike_terms(8), (60, 0), OFF_CENTRE, AT_RIM)


def test_a_patch_stands_about_its_node() -> None:
    assert node(OFF_CENTRE) == (0.375, 0.125, 0.125)
    assert is_patch(OFF_CENTRE)
    assert not is_patch((4, 0))


@pytest.mark.parametrize("term", [(-8, 0), (-8, 17 * 17 + 1), (-1000, 5)])
def test_what_is_no_patch_is_refused(term: tuple[int, int]) -> None:
    with pytest.raises(BadInput, match="no patch"):
        zernike_sum((term,), [1.0], 0.1, 0.2)


@pytest.mark.parametrize("term", [OFF_CENTRE, AT_RIM])
def test_plane_sphere_and_astigmatism_explain_nothing_of_a_patch(term: tuple[int, int]) -> None:
    u, v, weight = disc_grid(80, 240)
    height = zernike_sum((term,), [1.0], u, v)
    low = zernike_matrix(zernike_terms(2), u, v)
    assert np.abs(np.einsum("ij,ijk->k", weight * height, low)).max() < 1e-4
    assert form_quantities((term,), [1.0]).power == pytest.approx(0, abs=1e-3)


def test_slopes_are_those_of_the_values() -> None:
    u, v, step = np.array([0.4, 0.3, 0.9]), np.array([0.1, 0.2, -0.1]), 1e-6
    slopes = zernike_gradients((OFF_CENTRE,), u, v)[..., 0]
    for slope, (du, dv) in zip(slopes, ((step, 0), (0, step)), strict=True):
        ends = [zernike_sum((OFF_CENTRE,), [1.0], u + s * du, v + s * dv) for s in (1, -1)]
        np.testing.assert_allclose(slope, (ends[0] - ends[1]) / (2 * step), atol=1e-6)


def test_sums_agree_on_a_grid_at_places_and_in_single_precision() -> None:
    values = np.random.default_rng(1).normal(size=len(TERMS))
    side = np.linspace(-0.7, 0.7, 41)
    u, v = np.meshgrid(side, side)
    at_places = zernike_sum(TERMS, values, u, v)
    np.testing.assert_allclose(zernike_sum_on_grid(TERMS, values, u, v), at_places, atol=1e-10)
    rows = zernike_rows(TERMS, u.ravel().astype("f4"), v.ravel().astype("f4"))
    np.testing.assert_allclose(values.astype("f4") @ rows, at_places.ravel(), atol=2e-3)


def test_a_bump_counts_in_irregularity_and_its_interval() -> None:
    values = np.zeros(len(TERMS))
    values[TERMS.index(OFF_CENTRE)] = 0.8
    form = form_quantities(TERMS, values)
    assert form.irregularity_pv == pytest.approx(0.8, rel=0.1)
    covariance = np.zeros((len(TERMS), len(TERMS)))
    covariance[TERMS.index(OFF_CENTRE), TERMS.index(OFF_CENTRE)] = 0.05**2
    found = form_intervals(TERMS, values, covariance, form)
    assert 0.06 < found.irregularity_u95 < 0.2
    assert found.symmetric == pytest.approx(form.symmetric_irregularity_pv, abs=0.03)


def test_a_form_without_its_patches_keeps_what_zernike_terms_show_of_them() -> None:
    centre = patch(8, 8, 8)  # round about the middle: its low part is that of a hole
    terms = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)), centre)
    kept, shared = without_patches(terms)
    assert broad_places(terms) == list(range(len(kept)))
    values = shared @ np.array([*(0.0 for _ in kept), 1.0])
    rho = np.linspace(0, 0.9, 40)
    as_round = zernike_sum(kept, values, rho, 0 * rho)
    np.testing.assert_allclose(as_round, zernike_sum((centre,), [1.0], rho, 0 * rho), atol=0.03)


def test_a_bump_is_not_named_a_zone() -> None:
    terms = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)), OFF_CENTRE)
    values = np.array([*(0.0 for _ in terms[1:]), 0.8])
    covariance = 1e-5 * np.eye(len(terms))
    assert form_features(terms, values, covariance, wavelength_nm=546.0, signed=True) == ()
