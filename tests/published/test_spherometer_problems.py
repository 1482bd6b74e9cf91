"""Spherometer: printed formulas and problems, and the closure of the ball feet.

Sources
-------
READ   R = s/2 + r^2/(2 s): "Spherometry Equations"; Oxford Index in the form (l^2 + x^2)/(2 x).
READ   three legs, R = h/2 + a^2/(6 h): scienceaq.com, futurelabgalaxy.
RUN    a = 40 mm, h = 0.5 mm: 533.5833 mm.
READ   (weak) 0.02 % of R = 10 in on an arm of 3.5 in needs the sagitta to 0.00015 in. The copy is
       garbled; its other formulas are wrong and not used.
RUN    that change: 0.000135012 in exact, 0.0001225 in paraxial.
RUN    ball feet b = 3.175 on a = 20, R = 100: sagitta 2.0880979 concave, 1.9570143 convex.
       Derived, no printed source. A forum post (READ) has the signs for going from the
       wanted radius to that of the balls' centres; from a reading to R they are the other
       way round.
READ   dial indicator to 0.001 mm or 0.0001 in, "less than this level of accuracy is not
       enough" (bobmay.astronomy.net).
Common practice, no source: on a spherometer that reads 808 um on a plate of about 3048 mm
       radius, a work that reads 793 is too shallow by 15, one that reads 820 too deep by 12.
"""

from __future__ import annotations

import pytest

from fringe.judge.spherometer.compare import SpherometerReadings, compare
from fringe.optics.spherometer import (
    circle_of_feet,
    radius_from_reading_mm,
    reading_from_radius_mm,
    ring,
    three_legs,
)


def test_three_legs_problem():
    """Legs 40 mm apart and 0.5 mm of sagitta make a radius of 533.5833 mm (analytic)."""
    contact = three_legs([40.0]).contact_mm("convex")
    assert radius_from_reading_mm(0.5, contact, "convex") == pytest.approx(533.5833, abs=5e-5)
    assert radius_from_reading_mm(0.5, contact, "convex") == pytest.approx(
        0.5 / 2 + 40**2 / (6 * 0.5), rel=1e-12
    )


@pytest.mark.parametrize("form", ["convex", "concave"])
def test_plain_ring_formula(form):
    """A knife-edged ring follows R = s/2 + r^2/(2 s) on either form (published)."""
    contact = ring(70.0).contact_mm(form)
    assert radius_from_reading_mm(1.25, contact, form) == pytest.approx(1.25 / 2 + 35**2 / 2.5)


def test_sagitta_for_a_radius_tolerance():
    """0.02 % of 10 in, arm 3.5 in, is 0.000135 in of sagitta; printed is 0.00015 (analytic)."""
    inch = 25.4
    first = reading_from_radius_mm(10 * inch, 3.5 * inch, "concave")
    second = reading_from_radius_mm(10 * 1.0002 * inch, 3.5 * inch, "concave")
    change = (first - second) / inch
    assert change == pytest.approx(0.000135012, abs=5e-9)
    assert change == pytest.approx(0.00015, abs=5e-5)  # the print, to the one digit it holds


@pytest.mark.parametrize(("form", "sagitta"), [("concave", 2.0880979), ("convex", 1.9570143)])
def test_ball_feet_close(form, sagitta):
    """Ball feet of 3.175 on 20 read these sagittas on R = 100, and come back to it (analytic)."""
    assert reading_from_radius_mm(100, 20, form, 3.175) == pytest.approx(sagitta, abs=5e-8)
    assert radius_from_reading_mm(sagitta, 20, form, 3.175) == pytest.approx(100, abs=5e-6)


def test_equal_readings_are_not_equal_radii():
    """The same sagitta means radii that differ by the balls' diameter (analytic)."""
    one = circle_of_feet(40, 6.35)
    radii = [
        radius_from_reading_mm(2.0, one.contact_mm(form), form, one.ball_radius_mm)
        for form in ("concave", "convex")
    ]
    assert radii[0] - radii[1] == pytest.approx(6.35, abs=1e-12)


@pytest.mark.parametrize(
    ("work", "state", "by"), [(0.793, "too shallow", -15.0), (0.820, "too deep", 12.0)]
)
def test_trade_example(work, state, by):
    """Plate 808, work 793: 15 um too shallow; 820: 12 too deep (analytic; common practice)."""
    readings = SpherometerReadings((0.808,), (work,), u_reading_mm=0.0005)
    for options in ({}, {"plate_radius_mm": 3048.0}):
        result = compare(readings, "convex", **options)
        assert result.state == state
        assert result.depth_um.value == pytest.approx(by, abs=1e-6)


def test_trade_example_fits_its_radius():
    """808 um on 3048 mm is a ring about 140 mm across, so the example hangs together (analytic)."""
    readings = SpherometerReadings((0.808,), (0.793,), u_reading_mm=0.0005)
    result = compare(readings, "convex", plate_radius_mm=3048.0)
    assert result.work_radius_mm is not None
    # to first order the radius goes as the inverse of the sagitta
    assert result.work_radius_mm.value == pytest.approx(3048 * 808 / 793, rel=1e-4)


def test_dial_to_a_micrometre_on_a_long_radius():
    """1 um of sagitta is 3.8 mm of radius at 3048 mm: dR = -(a^2/2h^2 - 1/2) dh (analytic)."""
    a, h = 70.2, reading_from_radius_mm(3048, 70.2, "concave")
    exact = radius_from_reading_mm(h + 0.001, a, "concave") - 3048
    assert exact == pytest.approx(-(a**2 / (2 * h**2) - 0.5) * 0.001, rel=2e-3)
