"""Zones, turned edges, holes and astigmatism are named, placed and sized, and nothing else is."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from formed import TERMS, centre, fitted, places, saddle, turned, zone

from fringe.optics.feature import FormFeature
from fringe.optics.form_features import form_features
from fringe.optics.spheres import sphere_form

RHO, THETA = places()
WAVELENGTH = 546.1


def named(
    work: np.ndarray, rng: np.random.Generator, noise: float = 0.02, **sizes: float
) -> dict[str, FormFeature]:
    """What is named of a work's heights, lying with power and tilt on its plate."""
    lying = rng.uniform(-12, 12) * RHO**2 + rng.uniform(0, 3) * RHO * np.cos(THETA - 1.0)
    values, covariance = fitted(lying - work, noise, rng)
    found = form_features(TERMS, values, covariance, wavelength_nm=WAVELENGTH, signed=True, **sizes)
    kinds = [one.kind for one in found]
    assert len(set(kinds)) == len(kinds), [one.text() for one in found]
    return dict(zip(kinds, found, strict=True))


def height_of(rng: np.random.Generator, least: float = 0.15) -> float:
    """Some height of either sign [fringe]."""
    return float(rng.choice([-1, 1]) * rng.uniform(least, 0.8))


def is_held(one: FormFeature, height: float, place: float | None = None) -> bool:
    """Whether the intervals of height and place hold the truth."""
    held = abs(one.height_fringes - height) <= one.height_u95_fringes
    if place is None or one.place is None or one.place_u95 is None:
        return held
    return held and abs(one.place - place) <= one.place_u95


def check(found: list[tuple[FormFeature, float, float]]) -> None:
    """Signs are right, places near, intervals neither missed nor wide."""
    for one, height, place in found:
        assert one.side == np.sign(height)
        assert one.place == pytest.approx(place, abs=0.04)
        assert one.height_u95_fringes < 0.35 * abs(height)
    # 95 % intervals: four or more misses of twenty have a chance of 1.6 %, six of 0.03 %
    assert sum(not is_held(*one) for one in found) <= 5


def test_zones_are_named_and_placed(rng: np.random.Generator) -> None:
    """Twenty Gaussian rings, raised and hollow, are zones of their height at their place."""
    found = []
    for _ in range(20):
        height, crest = height_of(rng), rng.uniform(0.25, 0.82)
        one = named(zone(RHO, height, crest, rng.uniform(0.06, 0.15)), rng)
        assert set(one) == {"zone"}
        assert one["zone"].name == ("raised zone" if height > 0 else "hollow zone")
        found.append((one["zone"], height, crest))
    check(found)


def test_turned_edges_are_named_and_placed(rng: np.random.Generator) -> None:
    """Twenty edges that turn by a power of the distance, up and down, from their place."""
    found = []
    for _ in range(20):
        height, start = height_of(rng, 0.2), rng.uniform(0.7, 0.93)
        one = named(turned(RHO, height, start, rng.uniform(1.6, 3.0)), rng)
        assert set(one) == {"edge"}
        assert one["edge"].name == f"edge turned {'up' if height > 0 else 'down'}"
        found.append((one["edge"], height, start))
    check(found)


def test_holes_are_named_and_sized(rng: np.random.Generator) -> None:
    """Twenty holes and raised centres, of their depth and reach."""
    found = []
    for _ in range(20):
        height, reach = height_of(rng), rng.uniform(0.12, 0.3)
        one = named(centre(RHO, height, reach), rng)
        assert set(one) == {"centre"}
        assert one["centre"].name == ("raised centre" if height > 0 else "hole in the centre")
        found.append((one["centre"], height, reach))
    check(found)


def test_astigmatism_has_its_axis(rng: np.random.Generator) -> None:
    """Saddles are astigmatism of their peak to valley, high along their axis."""
    missed = 0
    for _ in range(20):
        height, axis = float(rng.uniform(0.1, 0.8)), float(rng.uniform(0, 180))
        (one,) = named(saddle(RHO, THETA, height, axis), rng).values()
        assert one.kind == one.name == "astigmatism"
        assert one.axis_deg is not None
        assert one.axis_u95_deg is not None
        off = abs((one.axis_deg - axis + 90) % 180 - 90)
        assert off < 5
        missed += off > one.axis_u95_deg or not is_held(one, height)
    assert missed <= 6  # two intervals each: seven misses of forty have a chance of 0.3 %


def test_zone_and_edge_stand_side_by_side(rng: np.random.Generator) -> None:
    """A zone at half the radius and a turned edge are both named, each with its own sign."""
    for _ in range(8):
        ring, rim = height_of(rng, 0.3), height_of(rng, 0.3)
        found = named(zone(RHO, ring, 0.45, 0.08) + turned(RHO, rim, 0.85, 2.0), rng)
        assert set(found) == {"zone", "edge"}
        assert found["zone"].side == np.sign(ring)
        assert found["edge"].side == np.sign(rim)


def test_two_zones_keep_their_sides(rng: np.random.Generator) -> None:
    """A hollow zone inside a raised one: each has its own height at its own place."""
    for _ in range(5):
        work = zone(RHO, -0.4, 0.35, 0.06) + zone(RHO, 0.3, 0.75, 0.06)
        values, covariance = fitted(3 * RHO**2 - work, 0.02, rng)
        found = form_features(TERMS, values, covariance, wavelength_nm=WAVELENGTH, signed=True)
        assert [one.name for one in found] == ["hollow zone", "raised zone"]
        for one, height, crest in zip(found, (-0.4, 0.3), (0.35, 0.75), strict=True):
            assert one.height_fringes == pytest.approx(height, abs=0.05)
            assert one.place == pytest.approx(crest, abs=0.03)


def test_nothing_is_named_of_noise(rng: np.random.Generator) -> None:
    """Three hundred perfect spheres, fitted with noise of all sizes, have no feature at all."""
    for _ in range(300):
        assert named(0.0 * RHO, rng, noise=10 ** rng.uniform(-3, -0.5)) == {}


def test_a_bump_aside_is_no_astigmatism(rng: np.random.Generator) -> None:
    """A bump at one side makes astigmatism in the terms, but no one would call it so."""
    u, v = RHO * np.cos(THETA), RHO * np.sin(THETA)
    bump = 0.6 * np.exp(-((u - 0.5) ** 2 + v**2) / 2 / 0.18**2)
    assert "astigmatism" not in named(bump, rng)


def test_a_smooth_departure_is_a_broad_zone(rng: np.random.Generator) -> None:
    """rho^4 less its best sphere is highest at 0.71 of the radius (analytic), and broad."""
    (one,) = named(0.5 * 4 * RHO**2 * (1 - RHO**2), rng).values()
    assert one.name == "raised zone"
    assert one.place == pytest.approx(np.sqrt(0.5), abs=0.02)
    assert one.height_fringes == pytest.approx(0.5, abs=0.05)
    assert "broad" in one.text()


def test_a_steep_sphere_is_no_zone(rng: np.random.Generator) -> None:
    """A steep sphere's power has higher terms than rho^2; told its radius, none is a zone."""
    radius, diameter = 60.0, 100.0
    ball = 8.0 * sphere_form(RHO, 0 * RHO, radius, diameter)
    values, covariance = fitted(ball, 0.01, rng)

    def found(**sizes: float) -> tuple[FormFeature, ...]:
        return form_features(
            TERMS, values, covariance, wavelength_nm=WAVELENGTH, signed=True, **sizes
        )

    assert found()
    assert found(radius_mm=radius, diameter_mm=diameter) == ()


def test_the_sign_waits_for_the_sense() -> None:
    """Without a sense neither side is named; contact at the edge turns what was fitted over."""
    one = FormFeature("zone", 0.3, 0.04, WAVELENGTH, False, 0.62, 0.02, 0.2)
    assert one.name == "raised or hollow zone"
    assert one.text() == (
        "raised or hollow zone at 0.62 of the radius, 0.30 ± 0.04 fringes (82 ± 11 nm)"
    )
    assert one.of_sense("unknown") == one
    assert one.of_sense("centre").name == "raised zone"
    assert one.of_sense("edge").name == "hollow zone"
    assert one.of_sense("edge").height_fringes == -0.3
    known = dataclasses.replace(one, signed=True)
    assert known.of_sense("edge") == known
    assert known.of_sense("unknown") == one  # readings that contradict each other tell no side
    bent = FormFeature("astigmatism", 0.3, 0.04, WAVELENGTH, False, axis_deg=30, axis_u95_deg=2)
    assert "along 30° or across it" in bent.text()
    assert bent.of_sense("edge").axis_deg == 120
    assert bent.of_sense("centre").axis_deg == 30


def test_heights_are_the_same_in_every_light() -> None:
    """0.3 fringe at 546.1 nm is 81.9 nm, and 0.259 fringe at 632.8 nm (analytic)."""
    one = FormFeature("edge", -0.3, 0.04, 546.1, True, 0.8, 0.02, 0.2)
    other = one.at_wavelength(632.8)
    assert other.height_fringes == pytest.approx(-0.3 * 546.1 / 632.8)
    assert other.to_json()["height_nm"] == pytest.approx(-0.3 * 546.1 / 2)
    assert one.to_json()["height_nm"] == pytest.approx(-0.3 * 546.1 / 2)


@pytest.mark.parametrize(
    ("terms", "covariance"),
    [
        (((0, 0), (2, 0), (4, 0)), -np.eye(3)),
        (((0, 0), (2, 0), (4, 0)), np.full((3, 3), np.nan)),
        (((0, 0), (2, 0), (2**31 - 2, 0)), np.eye(3)),
        (((0, 0), (2, 0), (3, 0)), np.eye(3)),
        (((0, 0), (2, 0)), np.eye(2)),
        ((), np.eye(0)),
    ],
)
def test_what_no_fit_gives_has_no_name(terms, covariance) -> None:
    """A damaged covariance, impossible terms or none at all name nothing, and raise nothing."""
    values = np.arange(1.0, len(terms) + 1)
    assert form_features(terms, values, covariance, wavelength_nm=546.1, signed=True) == ()
