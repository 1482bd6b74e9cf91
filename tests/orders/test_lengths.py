"""Uncertainty of a radius difference: the slope of the contact at hand, and each source's part."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.optics.lamps import lamp
from fringe.optics.spheres import power_fringes, radius_difference_mm
from fringe.orders.by_eye import by_eye
from fringe.orders.lengths import Lengths, at_stated_wavelength, radius_difference, wavelength_of
from fringe.orders.options import ReadOptions
from fringe.quantity import Quantity, Source, correlation
from fringe.student_t import coverage_factor

RADIUS_MM, WAVELENGTH_NM = 100.0, 589.3
FIT = Source("fit", "one photograph")
SLOPES = (0.01, 0.5, 0.8, 0.95)


def lengths(ratio: float, work: str, **u: float) -> Lengths:
    """A plate of 100 mm, an aperture of that r/R."""
    return Lengths(
        Quantity.of(RADIUS_MM, "mm", {Source("plate_radius", "plate 1"): u.get("radius", 0.0)}),
        Quantity.of(2 * ratio * RADIUS_MM, "mm", {Source("diameter"): u.get("diameter", 0.0)}),
        wavelength_of(WAVELENGTH_NM, u.get("wavelength", 0.0), "led"),
        work,
    )


@pytest.mark.parametrize("work", ["convex", "concave"])
@pytest.mark.parametrize("ratio", SLOPES)
@pytest.mark.parametrize("way", [1, -1])
def test_u_is_that_of_the_exact_spheres_at_either_contact(
    way: int, ratio: float, work: str
) -> None:
    """u of the radius difference is u of the power over dN/dR of the exact spheres (analytic).

    To first order 2 (1 - cos t) / lambda a mm at the centre and 2 (1/cos t - 1) / lambda at the
    edge: at r/R 0.5, 0.8 and 0.95 they differ by 0.866, 0.600 and 0.312.
    """
    power, u = 0.02 * way, 0.001
    found = radius_difference(Quantity.of(power, "fringes", {FIT: u}), lengths(ratio, work))
    shape = (RADIUS_MM, 2 * ratio * RADIUS_MM, WAVELENGTH_NM, work)
    step = radius_difference_mm(power, *shape)
    assert found.value == step
    h = abs(step) * 1e-4
    slope = (power_fringes(step + h, *shape) - power_fringes(step - h, *shape)) / (2 * h)
    assert found.u == pytest.approx(u / abs(slope), rel=1e-5)
    cos = math.sqrt(1 - ratio**2)
    fringes_a_mm = 2e6 / WAVELENGTH_NM * ((1 - cos) if way > 0 else (1 / cos - 1))
    assert found.u == pytest.approx(u / fringes_a_mm, rel=0.01)


@pytest.mark.parametrize(("ratio", "share"), [(0.5, 0.866), (0.8, 0.600), (0.95, 0.312)])
def test_the_same_power_tells_less_at_the_centre(ratio: float, share: float) -> None:
    """U at the edge is cos t of that at the centre: 0.866, 0.600, 0.312 (analytic)."""
    u = {}
    for sense, word in (("centre", "centre"), ("edge", "edge")):
        options = ReadOptions(
            lamp("sodium"), diameter_mm=2 * ratio * RADIUS_MM, plate_radius_mm=RADIUS_MM
        )
        u[sense] = by_eye(f"rings 1 {word}", options).radius_difference_u95_mm
    assert u["centre"] is not None
    assert u["edge"] is not None
    assert u["edge"] / u["centre"] == pytest.approx(share, rel=0.002)


def test_u_of_a_reading_holds_every_draw(rng: np.random.Generator) -> None:
    """U95 that a reading states is 1.96 times the scatter of 20,000 draws of what errs."""
    light = lamp("led:590:16")
    options = ReadOptions(
        light,
        diameter_mm=160.0,
        plate_radius_mm=RADIUS_MM,
        u_diameter_mm=0.2,
        u_plate_radius_mm=0.1,
        work="concave",
    )
    reading = by_eye("rings 20 +- 0.4 centre", options)
    assert reading.power is not None
    draws = rng.normal(size=(20_000, 4))
    spread = (reading.power.u, 0.1, 0.2, light.u_wavelength_nm)
    at = (20.0, RADIUS_MM, 160.0, light.wavelength_nm)
    made = [radius_difference_mm(*(at + np.array(spread) * row), "concave") for row in draws]
    assert reading.radius_difference_u95_mm == pytest.approx(1.959964 * np.std(made), rel=0.03)


def test_the_wavelength_has_its_share_of_the_radius_difference() -> None:
    """An LED known to 0.3 % adds 0.3 % of the difference, to first order (analytic)."""
    light = lamp("led:590:16")
    options = ReadOptions(light, diameter_mm=100.0, plate_radius_mm=RADIUS_MM)
    reading = by_eye("rings 20 +- 0.01 centre", options)
    assert reading.radius_difference is not None
    share = light.u_wavelength_nm / light.wavelength_nm
    from_light = reading.radius_difference.u_of("wavelength")
    assert from_light == pytest.approx(share * abs(reading.radius_difference.value), rel=1e-3)
    assert reading.radius_difference_u95_mm == pytest.approx(
        coverage_factor() * reading.radius_difference.u
    )
    assert from_light > 0


def test_two_readings_in_one_lamp_are_correlated_by_it() -> None:
    """Radius differences in one LED share its error, those in two lamps share none (analytic)."""
    pair = []
    for text, light in (
        ("rings 50", "led:590:16"),
        ("rings 40", "led:590:16"),
        ("rings 9", "hene"),
    ):
        options = ReadOptions(lamp(light), diameter_mm=20.0, plate_radius_mm=RADIUS_MM)
        found = by_eye(f"{text} +- 0.1 centre", options).radius_difference
        assert found is not None
        pair.append(found)
    one, other, apart = pair
    expected = one.u_of("wavelength") * other.u_of("wavelength") / (one.u * other.u)
    assert correlation(one, other) == pytest.approx(expected)
    assert expected > 0.01
    assert correlation(one, apart) == 0.0


def test_fringes_are_a_height_only_with_the_wavelength() -> None:
    """N fringes at a stated wavelength err by N u/lambda more than their count (analytic)."""
    counted = Quantity.of(-5.0, "fringes", {FIT: 0.03})
    stated = at_stated_wavelength(counted, wavelength_of(590.0, 5.9, "led"))
    assert stated.contributions == pytest.approx({FIT: 0.03, Source("wavelength", "led"): -0.05})
