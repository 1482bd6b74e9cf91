"""Spheres in contact: exact geometry against an independent solution, limits and round trips."""

from __future__ import annotations

import math
import subprocess
import sys
from decimal import Decimal, localcontext

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.optics import spheres

GREEN = 546.0735

radii = st.floats(20.0, 5000.0)
# semi-diameter over radius, from nearly flat to steep
steepness = st.floats(0.01, 0.95)
shares = st.floats(-1.0, 1.0)
works = st.sampled_from(["convex", "concave"])


def a_power(radius: float, ratio: float, share: float) -> float:
    """Return a power of up to 50 fringes that leaves 70 % of the plate's own sagitta."""
    sagitta = spheres.fringes_from_nm(spheres.sagitta_mm(radius, ratio * radius) * 1e6, GREEN)
    return share * min(50.0, 0.3 * sagitta)


def first_order_fringes(difference: float, radius: float, diameter: float, work: str) -> float:
    """Power to first order in the difference d of the radii, at a rim of slope t.

    2 |d| (1 - cos t) / lambda for contact at the centre, 2 |d| (1/cos t - 1) / lambda at the edge.
    """
    signed = difference if work == "concave" else -difference
    cos = math.sqrt(1 - (diameter / (2 * radius)) ** 2)
    sin2 = (diameter / (2 * radius)) ** 2
    height = sin2 / (1 + cos)  # 1 - cos, of which a shallow slope would leave no digits
    return 2e6 * signed * (height if signed > 0 else height / cos) / GREEN


def gap_by_bisection_mm(radius: float, difference: float, r: float, rim: float | None) -> Decimal:
    """Gap along the plate's normal, by stepping along the normal until the work is met.

    Uses nothing but distances from the two centres, in 50 digits.
    """
    with localcontext() as context:
        context.prec = 50
        plate, work, x = Decimal(radius), Decimal(radius) + Decimal(difference), Decimal(r)
        if rim is None:
            centre = plate - work
        else:
            a = Decimal(rim)
            centre = (plate**2 - a**2).sqrt() - (work**2 - a**2).sqrt()
        z = (plate**2 - x**2).sqrt()

        def outside(scale: Decimal) -> bool:
            return (scale * x) ** 2 + (scale * z - centre) ** 2 > work**2

        low, high = Decimal("0.5"), Decimal(2)
        assert not outside(low)
        assert outside(high)
        for _ in range(150):
            middle = (low + high) / 2
            low, high = (low, middle) if outside(middle) else (middle, high)
        return abs(low - 1) * plate


@pytest.mark.parametrize("contact", ["centre", "edge"])
@pytest.mark.parametrize("difference", [-0.8, -0.01, 1e-5, 0.01, 0.8])
@pytest.mark.parametrize(("radius", "rim"), [(100.0, 25.0), (100.0, 87.0), (3048.0, 75.0)])
def test_gap_is_the_distance_along_the_plates_normal(radius, rim, difference, contact):
    """The closed form of the gap agrees with a 50-digit search along the normal (analytic)."""
    for share in (0.0, 0.3, 0.7, 0.99, 1.0):
        r = share * rim
        got = spheres.gap_nm(radius, difference, r, contact, rim)
        want = gap_by_bisection_mm(radius, difference, r, rim if contact == "edge" else None)
        assert got == pytest.approx(float(want) * 1e6, rel=1e-9, abs=1e-6)


@given(radii, steepness, shares, works)
def test_power_and_radius_difference_invert_each_other(radius, ratio, share, work):
    """A power turned into a radius difference and back is the same power (analytic)."""
    power = a_power(radius, ratio, share)
    diameter = 2 * ratio * radius
    difference = spheres.radius_difference_mm(power, radius, diameter, GREEN, work)
    again = spheres.power_fringes(difference, radius, diameter, GREEN, work)
    assert again == pytest.approx(power, rel=1e-9, abs=1e-9)


@given(radii, steepness, shares, works)
def test_sign_tells_which_radius_is_smaller(radius, ratio, share, work):
    """Positive power means R_convex < R_concave, whichever piece is the work (analytic)."""
    power = a_power(radius, ratio, share)
    assume(abs(power) > 1e-6)
    difference = spheres.radius_difference_mm(power, radius, 2 * ratio * radius, GREEN, work)
    convex, concave = (difference, 0.0) if work == "convex" else (0.0, difference)
    assert (convex < concave) == (power > 0)


@given(radii, steepness, st.floats(0.001, 1), works, st.sampled_from([1, -1]))
def test_power_is_rim_minus_centre_of_the_gap(radius, ratio, share, work, sign):
    """The power equals the gap at the rim less that at the centre, for either contact."""
    semi, power = ratio * radius, a_power(radius, ratio, share)
    difference = spheres.radius_difference_mm(sign * power, radius, 2 * semi, GREEN, work)
    contact = "centre" if sign > 0 else "edge"
    rim, centre = (spheres.gap_nm(radius, difference, r, contact, semi) for r in (semi, 0.0))
    assert 2 * (rim - centre) / GREEN == pytest.approx(sign * power, rel=1e-8, abs=1e-8)


@given(radii, steepness, st.floats(1e-4, 10), works, st.sampled_from([1, -1]))
def test_first_order_is_the_slope_of_the_exact_power(radius, ratio, share, work, sign):
    """For a small enough difference the exact power is the first-order one, at any slope."""
    difference = sign * share * 1e-9 * radius
    exact = spheres.power_fringes(difference, radius, 2 * ratio * radius, GREEN, work)
    first = first_order_fringes(difference, radius, 2 * ratio * radius, work)
    assert exact == pytest.approx(first, rel=2e-7)


@pytest.mark.parametrize("ratio", [0.1, 0.5, 0.87, 0.95])
def test_edge_contact_shows_more_rings_by_the_secant_of_the_slope(ratio):
    """To first order the same |dR| gives 1/cos t more fringes for edge contact (analytic)."""
    centre = spheres.power_fringes(1e-6, 100.0, 200 * ratio, GREEN, "concave")
    edge = spheres.power_fringes(-1e-6, 100.0, 200 * ratio, GREEN, "concave")
    assert -edge / centre == pytest.approx(1 / math.sqrt(1 - ratio**2), rel=1e-6)


@given(radii, st.floats(0.01, 1), works, st.sampled_from([1, -1]))
def test_paraxial_form_holds_on_shallow_apertures(radius, share, work, sign):
    """At r/R = 0.001 exact and test-plate formula agree to a part in 10^6, or in dR/R."""
    diameter, power = 0.002 * radius, sign * 1e-4 * a_power(radius, 0.001, share)
    exact = spheres.radius_difference_mm(power, radius, diameter, GREEN, work)
    sign = 1 if work == "concave" else -1
    paraxial = sign * 4e-6 * power * GREEN * (radius / diameter) ** 2
    assert exact == pytest.approx(paraxial, rel=1e-6 + 2 * abs(paraxial) / radius)


def test_sagitta_does_not_cancel_on_shallow_caps():
    """The sagitta keeps its digits where R - sqrt(R^2 - r^2) would lose them (analytic)."""
    with localcontext() as context:
        context.prec = 50
        want = Decimal(50_000) - (Decimal(50_000) ** 2 - Decimal(1) ** 2).sqrt()
    assert spheres.sagitta_mm(50_000.0, 1.0) == pytest.approx(float(want), rel=1e-14)


def test_sagitta_of_a_flat_is_nothing():
    """An infinite radius has no sagitta."""
    assert spheres.sagitta_mm(math.inf, 30.0) == 0.0


@pytest.mark.parametrize("contact", ["centre", "edge"])
def test_arrays_give_what_scalars_give(contact):
    """An array of points gets the gap that each point gets alone, in the same shape."""
    r = np.linspace(0, 40, 12).reshape(3, 4)
    gaps = spheres.gap_nm(90.0, -0.02, r, contact, 40.0)
    alone = [spheres.gap_nm(90.0, -0.02, float(x), contact, 40.0) for x in r.ravel()]
    assert gaps.shape == r.shape
    np.testing.assert_allclose(gaps.ravel(), alone, rtol=1e-12, atol=1e-9)


@given(radii, steepness, st.floats(-0.002, 0.002), st.sampled_from(["centre", "edge"]))
def test_gap_is_never_negative(radius, ratio, share, contact):
    """No pair of spheres in contact overlaps anywhere on the aperture."""
    semi = ratio * radius
    assume(semi < radius * (1 + min(share, 0)) * 0.999)
    gaps = spheres.gap_nm(radius, share * radius, np.linspace(0, semi, 101), contact, semi)
    assert gaps.min() >= 0


@pytest.mark.parametrize("contact", ["centre", "edge"])
@pytest.mark.parametrize("semi", [3.0, 30.0, 87.0])
def test_sphere_form_is_the_shape_of_a_small_gap(contact, semi):
    """The gap of a small difference, less that at the centre, is `sphere_form` times power."""
    difference = 1e-7
    rho = np.linspace(0, 1, 21)
    gap = spheres.gap_nm(100.0, difference, rho * semi, contact, semi)
    shape = (gap - gap[0]) / (gap[-1] - gap[0])
    form = spheres.sphere_form(rho * 0.6, rho * 0.8, 100.0, 2 * semi)
    np.testing.assert_allclose(form, shape, atol=2e-8)


def test_sphere_form_without_radius_is_the_parabola():
    """Without a radius, or with an infinite one, the shape is rho squared."""
    u, v = np.array([0.0, 0.3, 1.0]), np.array([0.0, -0.4, 0.0])
    np.testing.assert_allclose(spheres.sphere_form(u, v), [0, 0.25, 1], atol=1e-15)
    np.testing.assert_allclose(spheres.sphere_form(u, v, math.inf, 20.0), [0, 0.25, 1], atol=1e-15)


def test_fringes_heights_and_percent_convert():
    """Two fringes are one wavelength of height; conversions keep the height (analytic)."""
    assert spheres.nm_from_fringes(2.0, 546.0) == 546.0
    assert spheres.fringes_from_nm(273.0, 546.0) == 1.0
    assert spheres.convert_fringes(3.0, 600.0, 450.0) == pytest.approx(4.0)
    assert spheres.percent_of_radius(0.5, 200.0) == 0.25
    assert spheres.difference_from_percent_mm(0.25, 200.0) == 0.5


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: spheres.sagitta_mm(10.0, 10.0), "does not lie on a sphere"),
        (lambda: spheres.sagitta_mm(-10.0, 1.0), "not a sphere"),
        (lambda: spheres.sagitta_mm(math.nan, 1.0), "not a sphere"),
        (lambda: spheres.gap_nm(100.0, 0.1, 5.0, "edge"), "semi-diameter"),
        (lambda: spheres.gap_nm(100.0, 0.1, 26.0, "edge", 25.0), "beyond the rim"),
        (lambda: spheres.gap_nm(100.0, 0.1, 5.0, "middle"), "centre or edge"),
        (lambda: spheres.gap_nm(100.0, -60.0, 50.0), "does not lie on a sphere"),
        (lambda: spheres.gap_nm(100.0, 0.1, np.array([0.0, 101.0])), "does not lie"),
        (lambda: spheres.power_fringes(0.01, 100.0, 200.0, GREEN), "does not lie"),
        (lambda: spheres.power_fringes(0.01, 100.0, 50.0, GREEN, "flat"), "convex or concave"),
        (lambda: spheres.power_fringes(0.01, 100.0, 50.0, 0.0), "wavelength"),
        # more fringes than from this plate to a flat, or to a hemisphere
        (lambda: spheres.radius_difference_mm(-2000, 3000.0, 50.0, GREEN), "no sphere is"),
        (
            lambda: spheres.radius_difference_mm(2000, 3000.0, 50.0, GREEN, "concave"),
            "no sphere is",
        ),
        (lambda: spheres.radius_difference_mm(90_000, 50.0, 60.0, GREEN), "no sphere is"),
        (lambda: spheres.sphere_form(1.0, 0.0, 100.0), "diameter"),
        (lambda: spheres.sphere_form(1.2, 0.0, 100.0, 180.0), "equator"),
    ],
)
def test_bad_geometry_is_named_in_one_line(call, words):
    """Impossible geometry is refused with one line that says what is wrong."""
    with pytest.raises(BadInput, match=words) as error:
        call()
    assert "\n" not in str(error.value)


def test_scalars_need_no_numpy():
    """Sagitta, gap, power and their inverses of single numbers load no numpy."""
    code = (
        "import sys; from fringe.optics import spheres as s;"
        "s.gap_nm(100.0, s.radius_difference_mm(3, 100.0, 50.0, 546.0), 0.0, 'centre');"
        "s.power_fringes(0.01, 100.0, 50.0, 546.0); s.sagitta_mm(100.0, 20.0);"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_many_radius_differences_are_those_of_each(rng: np.random.Generator) -> None:
    """Arrays give what scalars give, to rounding, and no number where these are refused."""
    power, radius = rng.uniform(-3e5, 3e5, 200), rng.uniform(30.0, 90.0, 200)
    diameter, wavelength = rng.uniform(0.0, 130.0, 200), rng.uniform(-100.0, 700.0, 200)
    for work in ("convex", "concave"):
        found = spheres.radius_differences_mm(power, radius, diameter, wavelength, work)
        assert 20 < np.isnan(found).sum() < 180
        for one, *sizes in zip(found, power, radius, diameter, wavelength, strict=True):
            if np.isnan(one):
                with pytest.raises(BadInput):
                    spheres.radius_difference_mm(*sizes, work)
            else:
                assert one == pytest.approx(spheres.radius_difference_mm(*sizes, work), rel=1e-12)
