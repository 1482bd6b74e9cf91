"""The view of a camera near by or from aside: what the picture tells of it, and what not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.optics.lamps import lamp
from fringe.optics.view import cos_view
from fringe.optics.zernike import zernike_matrix, zernike_terms
from fringe.orders.doubts import places, projected
from fringe.orders.fit.model import OrderModel
from fringe.orders.near_view import as_normal
from fringe.orders.options import ReadOptions
from fringe.photo.ellipse import Edge

TERMS = zernike_terms(8)
POWER = TERMS.index((2, 0))
LOW = tuple(TERMS.index(term) for term in ((2, -2), (2, 2), (3, -1), (3, 1), (4, 0)))
LAMP = lamp("sodium")
EXACT = np.zeros((len(TERMS), len(TERMS)))


def seen(power, ratio, aside_deg=0.0, *, form=(0, 0, 0, 0, 0), tilt=0.0, lifted=0.0):
    """Orders of a gap that touches at the centre, seen at r/L = ratio; and the edge."""
    cosine = math.cos(math.radians(aside_deg))
    edge = Edge(0.0, 0.0, 300.0, 300.0 * cosine, 20.0)
    values = np.zeros(len(TERMS))
    values[POWER], values[TERMS.index((1, 1))] = power / 2, tilt
    values[list(LOW)] = form
    gap = zernike_matrix(TERMS, *places()) @ values
    view = cos_view(*places(), ratio or None, 1.0 if ratio else None, cosine, 110.0)
    order = (gap - gap.min() + lifted) * view
    return OrderModel(TERMS, projected(TERMS, order[None])[0]), edge


def normal(orders, sense="centre", **options):
    """Power and its U of the view and of the gap at the contact."""
    model, edge = orders
    found = as_normal(model, edge, ReadOptions(LAMP, edge=edge, **options), sense, EXACT)
    u = math.hypot(found.view.of_power(POWER), found.gap.of_power(POWER))
    return 2 * found.values[POWER], 1.96 * u


@pytest.mark.parametrize("aside_deg", [0, 15])
@pytest.mark.parametrize("ratio", [0.02, 0.16])
def test_told_distance_gives_the_sphere_back(ratio, aside_deg):
    """(analytic) Divided by the cosine of its view a sphere's order is the gap's again."""
    told = {"diameter_mm": 100.0, "camera_distance_mm": 50 / ratio, "gap_um": 0.0}
    power, _ = normal(seen(20.0, ratio, aside_deg), **told)
    assert power == pytest.approx(20.0, abs=2e-3)


@pytest.mark.parametrize("told", [{}, {"diameter_mm": 100.0, "camera_distance_mm": 400.0}])
def test_dust_does_not_blur_the_fringes(told):
    """Where dark fringes lie is seen: neither view nor dust moves all orders together.

    Two photographs of one contact are compared by it, to tell where the contact is.
    """
    model, edge = seen(5.0, 0.05)
    found = as_normal(model, edge, ReadOptions(LAMP, edge=edge, **told), "unknown", EXACT)
    for doubt in (found.view, found.gap):
        assert doubt.covariance[TERMS.index((0, 0)), TERMS.index((0, 0))] == 0


@pytest.mark.parametrize("tilt", [0.0, 0.6, 1.3])
@pytest.mark.parametrize("power", [2.9, 4.2, 5.0])
def test_dark_fringes_stay_at_whole_orders(power, tilt):
    """Also where the contact may be at either end, and the mean of both is told."""
    model, edge = seen(power, 0.05, tilt=tilt)
    told = {"diameter_mm": 100.0, "camera_distance_mm": 1000.0}
    found = as_normal(model, edge, ReadOptions(LAMP, edge=edge, **told), "unknown", EXACT)
    rows = zernike_matrix(TERMS, *places())
    off = rows @ found.values * cos_view(*places(), 50.0, 1000.0) - rows @ model.values
    assert off == pytest.approx(np.round(off.mean()), abs=0.02)


def test_few_rings_tell_nothing_of_the_view():
    """(analytic) U of five rings is 1.96 root mean squares of (r/L)^2 / 2 up to a sixth.

    That is of the whole gap, dust included: half a normal of 0.5 um, 1.70 fringes.
    """
    power, u95 = normal(seen(5.0, 0.0))
    share = (1 / 6) ** 2 / 2 / math.sqrt(5)
    dust = 0.5 * 2e3 / LAMP.wavelength_nm
    known = share * math.sqrt(5.0**2 + 2 * 5.0 * dust * math.sqrt(2 / math.pi) + dust**2)
    assert power == pytest.approx(5.0, abs=1e-6)
    # five rings say a little: a near view would be two hundredths of a fringe of form
    assert u95 == pytest.approx(1.96 * known, rel=0.25)


def test_rings_over_a_wide_field_tell_a_far_camera():
    """A hundred rings of a sphere without form leave a tenth of the doubt that few leave."""
    few, many = normal(seen(5.0, 0.0))[1] / 5, normal(seen(200.0, 0.0))[1] / 200
    assert many < few / 5


def test_an_oval_tells_a_far_camera():
    """Seen from aside near by, a sphere takes on coma; without it the camera was far."""
    assert normal(seen(20.0, 0.0, 20))[1] < normal(seen(20.0, 0.0))[1] / 3


def test_rings_over_a_wide_field_tell_a_near_camera():
    """A near view makes zones of many rings: the value is corrected then, its U not widened."""
    orders = seen(200.0, 0.15)
    power, u95 = normal(orders)
    assert abs(2 * orders[0].values[POWER] - 200) > 2.0
    assert abs(power - 200) < 0.3
    assert abs(power - 200) < u95 < 1.5


def test_zones_of_the_work_are_not_all_taken_for_the_view():
    """A work whose zones are the reverse of what a near view makes is read as from far."""
    power, u95 = normal(seen(20.0, 0.0, form=(0, 0, 0, 0, 0.3)))
    assert abs(power - 20) < u95


@pytest.mark.parametrize("sense", ["centre", "unknown"])
@pytest.mark.parametrize("aside_deg", [0.0, 12.0])
def test_untold_views_are_covered(sense, aside_deg, rng):
    """Of cameras from far off to three diameters, of works of usual form and with dust.

    Of 60 draws with a coverage of 95 % fewer than 51 are held once in 1300 runs.
    """
    held = 0
    for _ in range(60):
        power = math.exp(rng.uniform(0, math.log(60)))
        form = np.clip(0.03 * rng.standard_cauchy(5), -1, 1)
        lifted = abs(rng.normal()) * 0.5 * 2e3 / LAMP.wavelength_nm
        orders = seen(
            power,
            rng.uniform(0, 1 / 6),
            aside_deg,
            form=form,
            tilt=rng.uniform(0, 4),
            lifted=lifted,
        )
        found, u95 = normal(orders, sense)
        held += abs(found - power) <= u95
    assert held >= 51


def test_a_lens_tells_how_near_the_camera_stood(rng: np.random.Generator) -> None:
    """Of 60 contacts 54 or more are held, with a lens noted a twentieth off, and more closely."""
    held, narrower = 0, 0
    for _ in range(60):
        power, ratio = rng.uniform(2, 15), rng.uniform(0.06, 0.3)
        model, edge = seen(power, ratio, tilt=rng.uniform(0, 3))
        focal_px = edge.a / ratio * (1 + rng.normal(0, 0.05))
        found = as_normal(model, edge, ReadOptions(LAMP, edge=edge), "centre", EXACT, focal_px)
        u95 = 1.96 * math.hypot(found.view.of_power(POWER), found.gap.of_power(POWER))
        held += abs(2 * found.values[POWER] - power) <= u95
        narrower += u95 < normal((model, edge))[1]
    assert held >= 54
    assert narrower >= 45
