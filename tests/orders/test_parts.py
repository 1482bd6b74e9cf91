"""The reading engine's parts, each against what it must equal."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from fringe.errors import Refused
from fringe.optics.zernike import zernike_gradients, zernike_matrix, zernike_rows, zernike_terms
from fringe.orders.count import fringe_centre
from fringe.orders.doubts import edge_doubt
from fringe.orders.edge.candidates import parting_level
from fringe.orders.edge.ellipse_fit import fit_ellipse
from fringe.orders.edge.find import EdgeCandidate, _circle_unless_oval, find_edge
from fringe.orders.fit.carry import carried
from fringe.orders.fit.field import cut_field, halve, local_mean, smooth
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.start import quadratic_start
from fringe.orders.fit.tiles import pyramid_tiles
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array


def disc_points(rng: np.random.Generator, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Points that fill the unit disc."""
    rho, angle = np.sqrt(rng.random(count)), rng.uniform(0, 2 * np.pi, count)
    return rho * np.cos(angle), rho * np.sin(angle)


def test_single_precision_rows_are_the_terms(rng: np.random.Generator) -> None:
    """Terms up to degree 8, and round ones to 44, agree with double precision to 1e-4."""
    terms = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
    u, v = disc_points(rng)
    fast = zernike_rows(terms, u.astype(np.float32), v.astype(np.float32))
    np.testing.assert_allclose(fast.T, zernike_matrix(terms, u, v), atol=1e-4)


def test_model_carried_to_another_disc_is_the_same_order(rng: np.random.Generator) -> None:
    """A model on one aperture gives the same orders on a shifted, smaller one."""
    terms = zernike_terms(4)
    model = OrderModel(terms, rng.normal(size=len(terms)))
    old, new = Edge(200, 180, 120, 115, 30), Edge(210, 175, 80, 80)
    moved = carried(model, old, new)
    u, v = disc_points(rng)
    want = zernike_matrix(terms, *old.unit(*new.pixels(u, v))) @ model.values
    np.testing.assert_allclose(zernike_matrix(terms, u, v) @ moved.values, want, atol=1e-6)


def test_order_over_a_field_is_that_of_its_places(rng: np.random.Generator) -> None:
    """The polynomial of rows and columns of an oblique field is the sum of terms, to 1e-3."""
    photo = photo_from_array(rng.integers(0, 255, (300, 340), dtype=np.uint8))
    field = cut_field(photo, Edge(170, 150, 140, 120, angle_deg=rng.uniform(0, 180)), 1)
    terms = zernike_terms(6)
    model = OrderModel(terms, rng.normal(0, 3, len(terms)))
    inside = np.hypot(field.u, field.v) < 1
    away = model.order_on_grid(field.u, field.v) - model.order(field.u, field.v)
    assert np.abs(away[inside]).max() < 1e-3


@pytest.mark.parametrize(("sigma_px", "stride"), [(2.0, 1), (6.3, 6), (14.0, 14)])
def test_products_smooth_as_scipy_does(
    sigma_px: float, stride: int, rng: np.random.Generator
) -> None:
    """Smoothing by products equals scipy's Gaussian filter at the places that are kept."""
    values = rng.normal(size=(71, 96)).astype(np.float32)
    want = ndimage.gaussian_filter(values, sigma_px, mode="constant", truncate=2.5)
    np.testing.assert_allclose(
        smooth(values, sigma_px, stride),
        want[stride // 2 :: stride, stride // 2 :: stride],
        atol=1e-5,
    )


def test_coarse_local_mean_is_the_local_mean(rng: np.random.Generator) -> None:
    """Taken at a few places, a weighted Gaussian mean is off by a hundredth of its spread."""
    weight = (rng.random((203, 251)) < 0.7).astype(np.float32)
    values = (3 + ndimage.gaussian_filter(rng.normal(size=weight.shape), 9)).astype(np.float32)
    top, bottom = (
        ndimage.gaussian_filter(part, 17.0, mode="constant", truncate=3)
        for part in (values * weight, weight)
    )
    want = top / bottom
    found = local_mean(values, weight, 17.0)
    assert np.abs(found - want).max() < 0.02 * np.ptp(values)


def test_doubt_of_the_edge_is_doubt_of_the_power(rng: np.random.Generator) -> None:
    """A sphere's power is unsure by 2 u / r of it; a turned edge adds what lies in the margin.

    Power goes with the square of the radius (sagitta of a sphere, any optics text).
    """
    edge = Edge(200, 180, 150, 150, u_px=0.3)
    power = float(rng.uniform(1, 20))
    sphere = OrderModel(((0, 0), (2, 0)), np.array([0.3, power / 2]))
    plain = edge_doubt(sphere, edge).of_power(1)
    assert plain == pytest.approx(2 * 0.3 / 150 * power, rel=0.01)
    turned = OrderModel(((0, 0), (2, 0), (20, 0)), np.array([0.3, power / 2, 0.1]))
    assert edge_doubt(turned, edge).of_power(1) > plain


def test_an_oval_that_may_be_a_circle_is_one() -> None:
    """An edge hardly out of round is taken for a circle; what that moves it by stays in doubt."""
    radius, u_px = pytest.approx(150.1, abs=1e-3), pytest.approx(np.hypot(0.1, 0.1))
    assert _circle_unless_oval(Edge(200, 180, 150.2, 150.0, 30, u_px=0.1)) == Edge(
        200, 180, radius, radius, 0.0, u_px
    )
    oval = Edge(200, 180, 150.5, 150.0, 30, u_px=0.1)
    assert _circle_unless_oval(oval) == oval


def test_edges_that_hardly_part_anything_are_none(
    monkeypatch: pytest.MonkeyPatch, rng: np.random.Generator
) -> None:
    """Circles that agree on an edge across which nothing changes make no edge: it is refused."""
    weak = EdgeCandidate(-0.2, Edge(80, 80, 50, 50), OrderModel(((0, 0), (2, 0)), np.zeros(2)))
    monkeypatch.setattr(
        "fringe.orders.edge.find._candidates", lambda photo, circle: iter([weak, weak])
    )
    with pytest.raises(Refused, match="edge was not found"):
        find_edge(photo_from_array(rng.uniform(0, 1, (160, 160)), "noise"))


@pytest.mark.parametrize("ratio", [1.0, 0.97, 0.92])
def test_ellipse_through_spoilt_points(ratio: float, rng: np.random.Generator) -> None:
    """A fifth of the rim covered by something moves the ellipse by less than half a pixel."""
    true = Edge(400, 300, 250, 250 * ratio, 35)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    reach = 1 + rng.normal(size=360) / 250
    reach[:72] += rng.uniform(0.06, 0.24)
    x, y = true.pixels(reach * np.cos(angle), reach * np.sin(angle))
    found = fit_ellipse(x, y, tolerance=5)
    assert found is not None
    edge = found[0]
    assert np.hypot(edge.cx - 400, edge.cy - 300) < 0.5
    assert (edge.a, edge.b) == pytest.approx((250, 250 * ratio), abs=0.6)


def test_blocks_keep_their_place() -> None:
    """Block means and halvings of a linear slope of light lie on the slope at their own place."""
    y, x = np.mgrid[:200, :220].astype(np.float32)
    light = (0.001 * x + 0.002 * y).astype(np.float32)
    photo = Photo(light, np.zeros(light.shape, bool), "grey", "slope")
    edge = Edge(110, 100, 80, 70, 30)
    for field in (cut_field(photo, edge, 3), halve(cut_field(photo, edge, 1))):
        good = field.weight > 0.99
        px, py = edge.pixels(field.u, field.v)
        np.testing.assert_allclose((0.001 * px + 0.002 * py)[good], field.light[good], atol=1e-5)


def test_local_frequencies_give_power_and_tilt(rng: np.random.Generator) -> None:
    """Frequencies on tiles, signs unknown, give power and tilt of a plain picture within 3 %."""
    y, x = np.mgrid[:600, :600].astype(float)
    edge = Edge(300, 300, 280, 280)
    u, v = edge.unit(x, y)
    power, tilt = rng.uniform(15, 25), rng.uniform(-5, 5)
    order = power * (u * u + v * v) + tilt * u
    light = (0.4 * (1 - 0.8 * np.cos(2 * np.pi * order))).astype(np.float32)
    field = cut_field(Photo(light, np.zeros(light.shape, bool), "grey", "plain"), edge, 1)
    start = quadratic_start(pyramid_tiles(field), 1)
    assert start is not None
    assert start.power == pytest.approx(power, rel=0.05)
    assert abs(start.slope[0]) == pytest.approx(abs(tilt), abs=0.6)


def test_fringe_centre_is_where_the_order_is_stationary() -> None:
    """N rho^2 + t u is stationary at u = -t / 2N; a saddle, or one outside, has no centre."""
    terms = zernike_terms(2)

    def model(**values: float) -> OrderModel:
        names = {"tilt": (1, 1), "power": (2, 0), "saddle": (2, 2)}
        given = {names[name]: value for name, value in values.items()}
        return OrderModel(terms, np.array([given.get(term, 0.0) for term in terms]))

    centre = fringe_centre(model(power=4.0, tilt=4.0))  # rim less centre is twice (2, 0)
    assert centre is not None
    np.testing.assert_allclose(centre, (-0.25, 0.0), atol=1e-6)
    assert fringe_centre(model(power=1.0, tilt=9.0)) is None
    assert fringe_centre(model(power=0.2, saddle=3.0)) is None


def test_halved_rim_pixels_lie_where_their_light_is_from() -> None:
    """(analytic) Light that grows evenly is right at each pixel's place, at the rim, too."""
    x, y = np.meshgrid(np.arange(200.0), np.arange(180.0))
    light = (0.2 + 0.002 * x + 0.001 * y).astype(np.float32)
    edge = Edge(97.3, 88.1, 70.0, 66.0, 20)
    field = cut_field(Photo(light, np.zeros(light.shape, bool), "grey", "plain"), edge, 1).half
    good = field.weight > 0
    px, py = edge.pixels(field.u[good], field.v[good])
    np.testing.assert_allclose(field.light[good], 0.2 + 0.002 * px + 0.001 * py, atol=2e-5)
    assert (field.weight[good] < 0.9).sum() > 50


def test_pixels_that_the_rim_crosses_are_left_out() -> None:
    """(analytic) No pixel of a field, blur included, reaches beyond the rim, at any scale."""
    light = np.ones((400, 400), np.float32)
    edge = Edge(200.2, 199.7, 150.0, 150.0)
    for scale in (1, 2, 5):
        field = cut_field(Photo(light, np.zeros(light.shape, bool), "grey", "even"), edge, scale)
        farthest = edge.a * float(np.hypot(field.u, field.v)[field.weight > 0].max())
        assert farthest + scale / 2 < edge.a - 1
        assert farthest > edge.a - 3 - 1.5 * scale


def test_parting_level_parts_two_heaps(rng: np.random.Generator) -> None:
    """Two heaps of values are parted between them; values that are all the same, at their own."""
    low = rng.normal(0.1, 0.05, int(rng.integers(500, 5000)))
    high = rng.normal(0.7, 0.2, int(rng.integers(500, 5000)))
    assert low.max() - 0.1 < parting_level(np.concatenate([low, high])) < 0.7
    assert parting_level(np.full((4, 5), 0.3)) == 0.3


def test_a_model_is_carried_there_and_back(rng: np.random.Generator) -> None:
    """A model on a disc within another's, carried out and in again, is what it was."""
    terms = zernike_terms(6)
    model = OrderModel(terms, rng.normal(0, 1, len(terms)))
    disc, inner = Edge(300, 280, 200, 195, 30), Edge(302, 279, 190, 188, -10)
    there = carried(model, disc, inner)
    u, v = disc_points(rng)
    x, y = inner.pixels(u, v)
    np.testing.assert_allclose(
        zernike_matrix(terms, u, v) @ there.values,
        zernike_matrix(terms, *disc.unit(x, y)) @ model.values,
        atol=1e-9,
    )
    np.testing.assert_allclose(carried(there, inner, disc).values, model.values, atol=1e-8)


def test_gradients_are_those_of_finite_differences(rng: np.random.Generator) -> None:
    """Derivatives of many terms at once, from degree 0 to 44."""
    terms = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
    u, v = (0.9 * w for w in disc_points(rng, 60))
    step = 1e-6
    du, dv = zernike_gradients(terms, u, v)
    along_u = zernike_matrix(terms, u + step, v) - zernike_matrix(terms, u - step, v)
    along_v = zernike_matrix(terms, u, v + step) - zernike_matrix(terms, u, v - step)
    np.testing.assert_allclose(du, along_u / (2 * step), atol=2e-6)
    np.testing.assert_allclose(dv, along_v / (2 * step), atol=2e-6)
