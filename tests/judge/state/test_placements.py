"""A plate smaller than the work: carried over spheres exactly, over zones by least squares."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.state.placements import Placement, carry
from fringe.judge.state.whole_aperture import Placed, carried
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.optics.spheres import power_fringes

APERTURE = Aperture(3048.0, 150.0, 589.3, "concave")


@pytest.mark.parametrize("diameter", [40.0, 80.0, 150.0])
@pytest.mark.parametrize("step", [-4.0, 0.7])
def test_over_a_sphere(diameter, step):
    """Analytic: over a sphere every circle tells the same radius difference, exactly."""
    power = power_fringes(step, 3048.0, diameter, 589.3, "concave")
    found = carry([Placement(power, 0.02, diameter, 10.0)], APERTURE)
    assert found.radius_difference_mm == pytest.approx(step, rel=1e-6)
    whole = power_fringes(step, 3048.0, 150.0, 589.3, "concave")
    assert found.power_fringes == pytest.approx(whole, rel=1e-6)
    (zone,) = found.zones
    assert zone.radius_difference_mm == pytest.approx(step, rel=1e-6)


def local_power(p, q, offset, radius):
    """Power over a circle of a surface p r^2 + q r^4, by least squares over its places."""
    side = np.linspace(-1, 1, 201)
    u, v = (axis.ravel() for axis in np.meshgrid(side, side))
    inside = u**2 + v**2 <= 1
    u, v = u[inside], v[inside]
    r2 = (offset + radius * u) ** 2 + (radius * v) ** 2
    height = p * r2 + q * r2**2
    basis = np.column_stack([np.ones(len(u)), u, v, u**2 + v**2])
    return float(np.linalg.lstsq(basis, height, rcond=None)[0][3])


def test_over_a_zone():
    """Placements of a surface that is not a sphere find it again: its power, and its zone.

    Analytic: the powers over the circles are least squares of the heights themselves; the
    surface's own power is that of its whole aperture.
    """
    p, q = 3.0, 1.6
    places = [(0.0, 80.0), (25.0, 80.0), (35.0, 80.0)]
    placements = [
        Placement(local_power(p, q, offset / 75, diameter / 150), 0.005, diameter, offset)
        for offset, diameter in places
    ]
    found = carry(placements, APERTURE, 5.0)
    assert found.power_fringes == pytest.approx(local_power(p, q, 0.0, 1.0), abs=0.02)
    assert found.zone_fringes == pytest.approx(q, rel=0.02)
    assert [zone.offset_mm for zone in found.zones] == [0.0, 25.0, 35.0]
    assert found.zones[0].radius_difference_mm < found.zones[2].radius_difference_mm
    # 3.0 and 1.6: r^4 over a whole disc has the best-fitting sphere r^2
    assert found.power_fringes == pytest.approx(4.6, abs=0.02)


def test_unseen_zones_widen_it():
    """One small placement leaves the zones open, by what is allowed for; more close them."""
    alone = carry([Placement(1.0, 0.02, 60.0)], APERTURE, 0.3)
    # analytic: q of standard uncertainty 1.2 counts for 1 less the placement's own (a / R)^2
    share = (60 / 150) ** 2
    whole = 0.02 / share
    assert alone.u_fringes == pytest.approx(math.hypot(1.2 * (1 - share), whole), rel=1e-3)
    assert "no placement reached beyond 40 %" in alone.notes[0]
    assert "one placement shows no zones" in alone.notes[1]
    more = carry([Placement(1.0, 0.02, 60.0, d) for d in (0.0, 20.0, 40.0)], APERTURE, 0.3)
    assert more.u_fringes < 0.5 * alone.u_fringes
    assert more.notes == ()
    assert carry([Placement(5.0, 0.02, 150.0)], APERTURE).u_fringes == pytest.approx(0.02, rel=1e-6)


def test_intervals_cover_the_truth(rng):
    """Of 1000 surfaces with a zone as allowed for, 95 % of intervals hold the whole power."""
    hits = 0
    for _ in range(1000):
        p, q = rng.normal(0, 5), rng.normal(0, 4 * 0.3)
        placements = []
        for _ in range(int(rng.integers(1, 5))):
            diameter, u = rng.uniform(50, 100), 0.03
            offset = rng.uniform(0, 75 - diameter / 2)
            a, d = diameter / 150, offset / 75
            power = (p + q * (4 * d * d + a * a)) * a * a + rng.normal(0, u)
            placements.append(Placement(power, u, diameter, offset))
        found = carry(placements, APERTURE, 0.3)
        hits += abs(found.power_fringes - (p + q)) <= 1.96 * found.u_fringes
    assert hits / 1000 == pytest.approx(0.95, abs=5 * math.sqrt(0.95 * 0.05 / 1000))


def test_placements_that_contradict_each_other():
    """Two at one place that differ by far are said to be no surface of revolution, or unsettled."""
    found = carry([Placement(1.0, 0.02, 80.0, 30.0), Placement(1.5, 0.02, 80.0, 30.0)], APERTURE)
    assert found.probability < 1e-6
    assert any("not a surface of revolution" in note for note in found.notes)


@pytest.mark.parametrize(
    ("placement", "message"),
    [
        (Placement(1.0, 0.1, 200.0), "none of an aperture"),
        (Placement(1.0, 0.1, 80.0, 80.0), "off the work"),
        (Placement(1.0, 0.0, 80.0), "uncertainty greater than zero"),
    ],
)
def test_what_cannot_be_carried(placement, message):
    """Circles that are not on the work, and powers that are exact, are refused."""
    with pytest.raises(BadInput, match=message):
        carry([placement], APERTURE)
    with pytest.raises(BadInput, match="there is none"):
        carry([], APERTURE)


@pytest.mark.parametrize("power", [-4.0, 4.0])
def test_without_a_sense_power_and_difference_are_magnitudes(power):
    """(analytic) A convex work's difference has the other sign; unknown, neither has one."""
    aperture = Aperture(3000.0, 150.0, 546.07, "convex")
    measured = Measured(
        power_fringes=power,
        power_u_fringes=0.05,
        sense="unknown",
        radius_difference_mm=None,
        radius_difference_u_mm=None,
        wavelength_nm=546.07,
    )
    (whole,) = carried([Placed(measured, 148.0)], aperture)
    assert whole.sense == "unknown"
    assert whole.power_fringes == pytest.approx(4.0 * (150 / 148) ** 2, rel=1e-3)
    assert whole.radius_difference_mm > 0
