"""Spherometer formulas: closure, forms of feet, and nonsense."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.optics.spherometer import (
    circle_of_feet,
    contact_from_radius_mm,
    other_form,
    radius_from_reading_mm,
    reading_from_radius_mm,
    ring,
    three_legs,
)

FORMS = st.sampled_from(["convex", "concave"])


@given(FORMS, st.floats(1, 100), st.floats(1.02, 1e5), st.floats(0, 0.9))
def test_there_and_back(form, contact, ratio, ball_share):
    """Radius to sagitta and back closes to 1e-9, and so does the circle of contact (analytic)."""
    ball = ball_share * contact
    radius = ratio * contact + ball
    sagitta = reading_from_radius_mm(radius, contact, form, ball)
    assert radius_from_reading_mm(sagitta, contact, form, ball) == pytest.approx(radius, rel=1e-9)
    assert contact_from_radius_mm(radius, sagitta, form, ball) == pytest.approx(contact, rel=1e-9)


@given(st.floats(5, 100), st.floats(1.5, 1e4), st.floats(0.01, 0.3))
def test_balls_touch_the_sphere(contact, ratio, ball_share):
    """A ball of radius b whose centre is R - b (or R + b) from the sphere's touches it (geometry).

    Plunger and balls stand on one plane for the zero, so the balls' centres lie b above the
    feet, and the sagitta is how far the vertex is from the plane of the feet's lowest points.
    """
    ball = ball_share * contact
    radius = ratio * contact + ball
    # concave sphere about the origin, bowl below: vertex at -R, centres of the balls at -z
    z = math.sqrt((radius - ball) ** 2 - contact**2)
    concave = radius - (z + ball)
    assert reading_from_radius_mm(radius, contact, "concave", ball) == pytest.approx(
        concave, rel=1e-6, abs=1e-10 * radius
    )
    z = math.sqrt((radius + ball) ** 2 - contact**2)
    convex = radius - (z - ball)
    assert reading_from_radius_mm(radius, contact, "convex", ball) == pytest.approx(
        convex, rel=1e-6, abs=1e-10 * radius
    )


def test_ring_touches_on_its_two_edges():
    """A plain ring has its inner edge on a convex and its outer edge on a concave surface."""
    one = ring(70.0, 72.0)
    assert one.contact_mm("convex") == 35.0
    assert one.contact_mm("concave") == 36.0


def test_three_uneven_legs():
    """Legs of a 3-4-5 triangle stand on a circle as wide as its longest side (Thales)."""
    assert three_legs([30, 40, 50]).contact_mm("convex") == pytest.approx(25.0, rel=1e-12)
    assert three_legs([50.0]).contact_mm("concave") == pytest.approx(50 / math.sqrt(3))


def test_other_form():
    """The plate has the form that the work has not."""
    assert [other_form(one) for one in ("convex", "concave")] == ["concave", "convex"]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: radius_from_reading_mm(0.0, 20, "convex"), "not greater than zero"),
        (lambda: radius_from_reading_mm(-0.1, 20, "convex"), "not greater than zero"),
        (lambda: radius_from_reading_mm(20.1, 20, "concave"), "beyond the sphere"),
        (lambda: radius_from_reading_mm(19.0, 20, "convex", 19.999), None),
        (lambda: reading_from_radius_mm(15, 20, "concave"), "too small for the spherometer"),
        (lambda: contact_from_radius_mm(100, 101, "concave"), "beyond the sphere"),
        (lambda: contact_from_radius_mm(100, -1, "concave"), "not greater than zero"),
        (lambda: radius_from_reading_mm(1, 20, "flat"), "neither convex nor concave"),
        (lambda: three_legs([10, 20, 40]), "make no triangle"),
        (lambda: three_legs([10, 20]), "one spacing of the legs, or all three"),
        (lambda: ring(72, 70), "smaller than its inner edge"),
        (lambda: ring(-3), "greater than zero"),
        (lambda: circle_of_feet(10, 30), "do not fit"),
    ],
)
def test_nonsense(call, message):
    """Sizes and sagittas that no sphere has are refused in one line; the rest is not."""
    if message is None:
        assert call() > 0
        return
    with pytest.raises(BadInput, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_convex_smaller_than_the_balls():
    """A sagitta that would make a convex sphere of no radius is refused."""
    with pytest.raises(BadInput, match="smaller than the balls"):
        radius_from_reading_mm(20.0, 20.0, "convex", 19.99 + 0.02)
