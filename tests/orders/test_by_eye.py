"""What was seen by eye: the trade's rules against gaps worked out point by point."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from fringe.errors import BadInput
from fringe.optics import spheres
from fringe.optics.lamps import lamp
from fringe.orders.by_eye import ERRORS, by_eye, with_sense
from fringe.orders.options import ReadOptions

SODIUM = lamp("sodium")
PLAIN = ReadOptions(SODIUM)


def options(radius: float, diameter: float, work: str) -> ReadOptions:
    """A contact in sodium light."""
    return ReadOptions(SODIUM, diameter_mm=diameter, plate_radius_mm=radius, work=work)


@given(
    radius=st.floats(50, 5000),
    ratio=st.floats(0.02, 0.8),
    rings=st.floats(0.3, 40),
    contact=st.sampled_from(["centre", "edge"]),
    work=st.sampled_from(["convex", "concave"]),
)
def test_rings_from_centre_to_edge_are_fringes_of_power(
    radius: float, ratio: float, rings: float, contact: str, work: str
) -> None:
    """(analytic) Half-waves of gap between centre and edge, counted, give the radius difference.

    The gap is that of the two spheres at these two points; nothing of power is used.
    """
    convex_is_stronger = contact == "centre"
    sign = -1 if (work == "convex") == convex_is_stronger else 1
    semi = ratio * radius

    def orders(difference: float) -> float:
        gaps = [spheres.gap_nm(radius, sign * difference, r, contact, semi) for r in (0.0, semi)]
        return abs(gaps[1] - gaps[0]) / (SODIUM.wavelength_nm / 2)

    most = 0.2 * (radius - semi)
    assume(orders(most) > rings)
    difference = sign * brentq(lambda d: orders(d) - rings, 0.0, most, xtol=1e-13)
    reading = by_eye(f"rings {rings!r} {contact}", options(radius, 2 * semi, work))
    assert reading.radius_difference_mm == pytest.approx(difference, rel=1e-6)
    assert reading.power_fringes == pytest.approx(rings if contact == "centre" else -rings)


def bow_over_spacing(power: float, tilt: float) -> float:
    """Bow of the fringe through the middle, with a ruler on the gap t x + N rho^2.

    Positive where its ends lie toward the thin side, x < 0. The spacing is the diameter over
    the number of fringes along it.
    """

    def order(x: float, y: float) -> float:
        return tilt * x + power * (x * x + y * y)

    angle = brentq(lambda a: order(math.cos(a), math.sin(a)) - order(0, 0), 0.0, math.pi)
    spacing = 2 / (order(1, 0) - order(-1, 0))
    return -math.cos(angle) / spacing


@given(power=st.floats(-3, 3), leaning=st.floats(1.05, 12))
def test_bow_in_spacings_is_power(power: float, leaning: float) -> None:
    """(analytic) Measured on the gap itself, bow over spacing is the power, for any tilt.

    The ends bend toward the thin side with contact at the centre, and away from it at the edge.
    """
    assume(abs(power) > 1e-3)
    bow = bow_over_spacing(power, max(abs(power), 1.0) * leaning)
    side = "thin" if bow > 0 else "thick"
    reading = by_eye(f"bow {abs(bow):.12f} of spacing, ends {side}", PLAIN)
    assert reading.power_fringes == pytest.approx(power, abs=1e-9)
    assert reading.sense == ("centre" if power > 0 else "edge")


@given(power=st.floats(0.5, 20), closing=st.floats(0.01, 0.4), at=st.floats(0.5, 0.95))
def test_rings_run_to_the_wider_gap(power: float, closing: float, at: float) -> None:
    """(analytic) When all orders fall, a ring is met further out with contact at the centre.

    An eye that is lowered takes a share off every order, the wider gap included.
    """
    for contact, gap in (
        ("centre", lambda rho: 0.5 + power * rho * rho),
        ("edge", lambda rho: 0.5 + power * (1 - rho * rho)),
    ):
        share = 1 - closing * min(abs(gap(1.0) - gap(at)), abs(gap(0.0) - gap(at))) / power
        after = brentq(lambda rho, f=gap, share=share: share * f(rho) - f(at), -1e-9, 1.0001)
        word = "outward" if after > at else "inward"
        assert by_eye(f"rings 3 {word}", PLAIN).sense == contact


@pytest.mark.parametrize(
    ("text", "power", "sense", "u95"),
    [
        ("rings 3.5 centre", 3.5, "centre", ERRORS["rings"]),
        ("rings 3,5 edge", -3.5, "edge", ERRORS["rings"]),
        ("Ring 3 1/2, contact at the edge", -3.5, "edge", ERRORS["rings"]),
        ("rings 3.5 ± 0.1 center", 3.5, "centre", 0.1),
        ("rings 2 unknown", 2.0, "unknown", ERRORS["rings"]),
        ("rings 2", 2.0, "unknown", ERRORS["rings"]),
        ("bow 0.4 of spacing", 0.4, "unknown", ERRORS["bow"]),
        ("bow 1/3 +-1/20 of a band edge", -1 / 3, "edge", 0.05),
        ("bow 0.4 of the spacing, ends bend toward the thick side", -0.4, "edge", ERRORS["bow"]),
    ],
)
def test_words(text: str, power: float, sense: str, u95: float) -> None:
    """Numbers, reading errors and places are read as people write them.

    The reading error is the least that the interval can be; a view askew comes on top, and
    makes not over a tenth more of it for so few fringes as these.
    """
    reading = by_eye(text, PLAIN)
    assert reading.power_fringes == pytest.approx(power)
    assert (reading.sense, reading.sense_source) == (
        sense,
        None if sense == "unknown" else "given",
    )
    assert reading.power_u95_fringes is not None
    view = 1.96 * 0.0341 / math.sqrt(3) * abs(power)
    assert reading.power_u95_fringes == pytest.approx(math.hypot(u95, view), rel=1e-3)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "cannot read"),
        ("rings", "cannot read"),
        ("rings -2 centre", "cannot read"),
        ("rings three centre", "cannot read"),
        ("rings 3 left", "'left'"),
        ("rings 3 from centre to edge", "'from centre to edge'"),
        ("rings 3 of spacing", "counted"),
        ("rings 3 ends thin", "outward"),
        ("bow 0.4 of spacing outward", "ends thin"),
        ("rings 3 ± 0 centre", "reading error"),
        ("rings 3/0 centre", "zero"),
        ("rings 1000 centre", "photograph"),
    ],
)
def test_what_makes_no_sense_is_refused(text: str, reason: str) -> None:
    """Other words, and numbers that no eye tells, are refused in one line."""
    with pytest.raises(BadInput) as refusal:
        by_eye(text, PLAIN)
    assert reason in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_text_and_option_agree() -> None:
    """The sense of the options holds where the text has none, and may not contradict it."""
    at_edge = ReadOptions(SODIUM, sense="edge")
    assert by_eye("rings 2", at_edge).power_fringes == -2
    assert by_eye("rings 2 unknown", at_edge).power_fringes == -2
    with pytest.raises(BadInput, match="contradicts"):
        by_eye("rings 2 centre", at_edge)


def test_what_a_photograph_tells_is_null() -> None:
    """JSON has null where nobody saw anything, never not-a-number."""
    values = by_eye("rings 2 centre", PLAIN).to_json()
    assert values["quality"] == {
        "contrast": None,
        "used_fraction": None,
        "residual": None,
        "warnings": [],
    }
    assert values["irregularity_fringes"] is None
    assert values["iso10110"] == "3/ 2.0; λ = 589.2 nm"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("rings 3.5 +-0.1 centre", "rings 3.5 +-0.1 edge"),
        ("rings 3 1/2, outward", "rings 3 1/2, edge"),
        ("bow 1/3 of spacing, ends thin", "bow 1/3 of spacing, edge"),
        ("rings 3.5", "rings 3.5"),
        ("no fringes at all", "no fringes at all"),
    ],
)
def test_the_same_words_with_another_sense(text, expected):
    """The sense that is said gives way to another; words that say none stay as they are."""
    assert with_sense(text, "edge") == expected
