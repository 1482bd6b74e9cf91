"""Settling: the end of the curve is covered as claimed, and a drift is never taken for none."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.judge.settling.powers import settling_powers
from fringe.judge.settling.settle import Span, settle, with_common
from fringe.judge.settling.temperature import held_against, thermal_check
from fringe.judge.settling.words import span_text, text_of
from fringe.optics.thermal import glass
from fringe.orders.reading import Quality, Reading


def decay(times, end=1.3, amplitude=-1.2, tau=25.0):
    """Powers of a settling piece."""
    return end + amplitude * np.exp(-np.asarray(times, float) / tau)


def left_of(times, tau, slow):
    """What is left of an amplitude: by one exponential, or 30 % of it by one four times as slow."""
    return (1 - slow) * np.exp(-times / tau) + slow * np.exp(-times / (4 * tau))


def simulate(rng, watched, counts, slow):
    """One piece with a time constant of 10 to 100 min, watched for some of them."""
    tau, u = 10 ** rng.uniform(1, 2), 10 ** rng.uniform(-2, -1)
    span, count = tau * rng.uniform(*watched), int(rng.integers(*counts))
    times = np.sort(rng.uniform(0, span, count))
    times[[0, -1]] = 0.0, span
    amplitude = rng.choice([-1, 1]) * 10 ** rng.uniform(-0.5, 0.5)
    powers = 1.3 + amplitude * left_of(times, tau, slow) + rng.normal(0, u, count)
    return times, powers, u, amplitude * float(left_of(np.float64(span), tau, slow))


@pytest.mark.parametrize("slow", [0.0, 0.3])
@pytest.mark.parametrize("understated", [1.0, 0.5])
@pytest.mark.parametrize("counts", [(4, 7), (8, 16)])
def test_the_interval_covers_the_end(rng, counts, understated, slow):
    """Of 150 pieces, watched for 0.3 to 8 time constants, 95 % or more end in the interval.

    The same of what is still to come; and of the pieces that are called settled, no more than
    2 % still had more than the limit before them. It holds for pieces that settle by one
    exponential, and for those of which 30 % settle four times as slowly. With the readings'
    uncertainty understated by half, their scatter is used; with four readings that is one
    degree of freedom or two, and 93 % is asked for. The slack is three standard deviations.
    """
    least, pieces = 0.95 if understated == 1.0 else 0.93, 150
    ends = left = settled = wrong = 0
    for _ in range(pieces):
        times, powers, u, remaining = simulate(rng, (0.3, 8.0), counts, slow)
        found = settle(times, powers, understated * u, limit_fringes=0.2)
        ends += found.power_fringes.low <= 1.3 <= found.power_fringes.high
        left += found.remaining_fringes.low <= remaining <= found.remaining_fringes.high
        settled += found.state == "settled"
        wrong += found.state == "settled" and abs(remaining) > 0.2
    slack = 3 * math.sqrt(least * (1 - least) / pieces)
    assert ends / pieces > least - slack
    assert left / pieces > least - slack
    assert settled > 10
    assert wrong <= 0.02 * settled + 3 * math.sqrt(0.02 * settled)


@pytest.mark.parametrize(("minutes", "widest"), [(75, 10), (200, 3), (400, 1.5)])
def test_intervals_are_no_wider_than_they_must(minutes, widest):
    """Well watched, the end has about the interval of plain least squares, and no narrower one.

    Analytic: for 3, 8 and 16 time constants in 31 even readings, the least squares of end,
    amplitude and time constant together. A slower part that is not there but cannot be
    excluded yet opens the interval toward where the power still moves, the less the longer it
    was watched; the other end stays.
    """
    times = np.linspace(0, minutes, 31)
    found = settle(times, decay(times), 0.02)
    e = np.exp(-times / 25)
    jacobian = np.column_stack([np.ones(31), e, -1.2 * times * e / 25**2])
    u95 = 1.96 * 0.02 * math.sqrt(np.linalg.inv(jacobian.T @ jacobian)[0, 0])
    end = found.power_fringes
    assert end.value == pytest.approx(1.3, abs=0.1 * u95)
    assert 0.9 * u95 < end.value - end.low < 1.5 * u95
    assert 0.9 * u95 < end.high - end.value < widest * u95
    assert found.time_constant_min.value == pytest.approx(25.0, rel=5e-3)
    left, rate = -1.2 * math.exp(-minutes / 25), 60 * 1.2 / 25 * math.exp(-minutes / 25)
    assert found.remaining_fringes.value == pytest.approx(left, abs=0.1 * u95)
    assert found.rate_fringes_h == pytest.approx(rate, rel=5e-3, abs=1e-3)


def test_three_readings_are_told_to_be_few():
    """Three readings fit any curve: they are never called settled, and that is said."""
    found = settle([0, 60, 120], [1.30, 1.30, 1.30], 0.003, limit_fringes=1.0)
    assert found.state == "unknown"
    assert "too few to see whether they follow a settling curve" in found.notes[0]
    assert settle([0, 60, 120, 180], [1.3] * 4, 0.003, limit_fringes=1.0).state == "settled"


def test_how_long_to_wait():
    """Analytic: from exp(-t/tau) of the amplitude left, tau ln(left / limit) more."""
    times = np.linspace(0, 30, 11)
    found = settle(times, decay(times), 0.002, limit_fringes=0.1)
    left = 1.2 * math.exp(-30 / 25)
    assert found.wait_min == pytest.approx(25 * math.log(left / 0.1), rel=1e-2)
    # a slower part of a tenth or more cannot be excluded so soon
    assert 1.5 * found.wait_min < found.wait_most_min < 12 * found.wait_min
    assert (found.state, found.action) == ("settling", "wait")
    later = settle(times + 60, decay(times + 60), 0.002, limit_fringes=0.2)
    assert (later.state, later.action, later.wait_min) == ("settled", "read", 0.0)


def test_a_straight_drift_has_no_end_in_view():
    """A drift that does not bend yet: the end is open over a wide range, and that is said."""
    times = np.linspace(0, 6, 7)
    found = settle(times, decay(times, tau=60.0), 0.02, limit_fringes=0.2)
    assert found.time_constant_min.high is None
    assert found.power_fringes.u95 > 2.0
    assert found.action == "wait"
    assert "do not show where the curve bends" in found.notes[0]
    assert text_of(found).startswith("Wait: where it will end is not in view yet")


def test_no_drift():
    """Readings that scatter about one value: that value, and no time constant."""
    powers = 2.0 + np.array([0.01, -0.012, 0.004, -0.003, 0.008, -0.007, 0.001, -0.001])
    found = settle(np.linspace(0, 90, 8), powers, 0.01)
    assert found.power_fringes.value == pytest.approx(2.0)
    assert (found.time_constant_min, found.rate_fringes_h) == (None, 0.0)
    assert found.power_fringes.low < 2.0 < found.power_fringes.high
    assert "no drift is seen" in found.notes[0]


def test_scatter_beyond_the_readings_own():
    """Readings that scatter far more than they say widen the interval, and it is said why."""
    times = np.linspace(0, 75, 12)
    jumps = 0.2 * np.array([1, -1, 1, 1, -1, -1, 1, -1, 1, -1, -1, 1])
    wild, calm = settle(times, decay(times) + jumps, 0.01), settle(times, decay(times), 0.01)
    assert wild.power_fringes.u95 > 10 * calm.power_fringes.u95
    assert "something else moves" in wild.notes[0]


@given(st.floats(-5, 5), st.floats(-3, 3), st.floats(0.2, 5.0), st.floats(-1e4, 1e4))
def test_units_and_zeros_do_not_matter(shift, amplitude, stretch, start):
    """Another zero of time, of power, or another order of the readings: the same answer."""
    times = np.array([0.0, 5.0, 12.0, 30.0, 41.0])
    powers = decay(times, 0.0, amplitude) + 0.01 * np.array([1, -1, 0.5, -0.5, 0.2])
    one = settle(times, powers, 0.02)
    other = settle(start + times[::-1], (shift + powers)[::-1], 0.02)
    assert other.power_fringes.value == pytest.approx(shift + one.power_fringes.value, abs=1e-3)
    assert other.power_fringes.high == pytest.approx(
        shift + one.power_fringes.high, rel=1e-3, abs=1e-3
    )
    assert settle(times, -powers, 0.02).power_fringes.high == pytest.approx(
        -one.power_fringes.low, rel=1e-6, abs=1e-9
    )


@pytest.mark.parametrize(
    ("times", "powers", "u", "message"),
    [
        ([0, 1], [1, 2], 0.1, "2 different times are too few for a curve"),
        ([0, 0, 1], [1, 2, 3], 0.1, "2 different times"),
        ([0, 1, 2], [1, 2], 0.1, "3 times for 2 readings"),
        ([0, 1, math.nan], [1, 2, 3], 0.1, "not a number"),
        ([0, 1, 2], [1, 2, 3], 0.0, "uncertainty greater than zero"),
    ],
)
def test_what_tells_nothing(times, powers, u, message):
    """Too few readings, or such that are none, are refused in one line."""
    with pytest.raises(BadInput, match=message):
        settle(times, powers, u)


def reading(power, sense="edge", wavelength=589.29, **parts):
    """A reading with its uncertainty in parts."""
    return Reading(
        wavelength,
        Quality(0.8, 0.9, 0.1),
        power_fringes=power,
        power_u95_fringes=0.1,
        sense=sense,
        power_u_parts=parts,
    )


def test_what_differs_and_what_is_common():
    """The fit errs anew each time; edge and view err alike, and come on top of the end alone."""
    found = settling_powers([reading(-2.0, fit=0.02, edge=0.03, view=0.04)] * 3)
    assert found.u_fringes == (0.02,) * 3
    assert found.common_u_fringes == pytest.approx(0.05)
    plain = settle([0, 20, 60, 90], decay([0, 20, 60, 90]), 0.02)
    wider = with_common(plain, 0.05)
    assert wider.power_fringes.high - 1.3 == pytest.approx(
        math.hypot(plain.power_fringes.high - plain.power_fringes.value, 1.959964 * 0.05), abs=0.01
    )
    assert wider.remaining_fringes == plain.remaining_fringes


def test_senses_of_photographs():
    """Unknown senses take that of the others; none leaves magnitudes; a crossing stays signed."""
    some = settling_powers([reading(2.0, "unknown"), reading(-1.9), reading(1.8, "unknown")])
    assert (some.powers_fringes, some.sense) == ((-2.0, -1.9, -1.8), "edge")
    none = settling_powers([reading(2.0, "unknown")] * 3)
    assert (none.powers_fringes, none.sense) == ((2.0,) * 3, "unknown")
    both = settling_powers([reading(-0.1), reading(0.1, "centre"), reading(0.2, "centre")])
    assert (both.powers_fringes, both.sense) == ((-0.1, 0.1, 0.2), "centre")


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        (
            [reading(-1.0), dataclasses.replace(reading(-1.0), power_fringes=None)],
            "without a power",
        ),
        ([reading(-1.0), reading(-1.0, wavelength=546.07)], "different lamps"),
        (
            [reading(-1.0), reading(1.0, "centre"), reading(1.0, "unknown")],
            "at the edge in another",
        ),
    ],
)
def test_photographs_that_do_not_go_together(readings, message):
    """What cannot be one settling is refused."""
    with pytest.raises(BadInput, match=message):
        settling_powers(readings)


def test_temperature_by_the_glass():
    """Analytic: alpha D^2 / 8t a kelvin, t^2 / pi^2 a, and rho c t / h in still air."""
    pyrex = glass("borosilicate")
    check = thermal_check(pyrex, 25.0, 150.0, 589.29)
    assert check.bending_fringes_k == pytest.approx(3.25e-6 * 150**2 / 200 * 2e6 / 589.29)
    assert check.slab_min == pytest.approx(25**2 / math.pi**2 / pyrex.diffusivity_mm2_s / 60)
    assert check.air_min == pytest.approx(2230 * 750 * 0.025 / 5 / 60)
    low, high = check.time_constants_min
    assert low < check.slab_min < check.air_min < high


def test_what_temperature_cannot_do():
    """A settling faster than the glass, or larger than the difference told, is named."""
    check = thermal_check(glass("plate-glass"), 40.0, 150.0, 589.29)
    fast = settle(np.linspace(0, 6, 13), decay(np.linspace(0, 6, 13), tau=1.5), 0.005)
    assert "faster (1.5 min) than this glass can" in held_against(check, fast).notes[0]
    slow = settle(np.linspace(0, 30, 13), decay(np.linspace(0, 30, 13), tau=25.0), 0.005)
    held = held_against(check, slow, 0.05)
    left = 1.2 * math.exp(-1.2)
    assert held.difference_k == pytest.approx(left / check.bending_fringes_k, rel=0.1)
    assert "more than the 0.05 K told" in held.notes[0]
    assert held_against(check, slow, 5.0).notes == ()


@pytest.mark.parametrize(
    ("span", "text"),
    [
        (Span(0.312, 0.22, 0.47), "+0.31 (+0.22 to +0.47) min"),
        (Span(22.4, 21.9, None), "+22.4 (+21.9 or more) min"),
        (Span(22.4, None, 23.0), "+22.4 (+23.0 or less) min"),
        (Span(22.4, None, None), "+22.4 (anything) min"),
    ],
)
def test_spans_as_text(span, text):
    """A span is its value with both ends, or with the one that is known."""
    assert span_text(span, "min") == text


def test_json_names():
    """The JSON has the numbers under their names, open ends as null."""
    values = settle([0, 3, 6], decay([0, 3, 6]), 0.05, limit_fringes=0.2).to_json()
    assert values["time_constant_min"] is None or values["time_constant_min"]["high"] is None
    assert set(values["settled_power_fringes"]) == {"value", "low", "high"}
    assert values["action"] == "wait"


def test_no_photograph_repeats_better_than_the_floor():
    """A fit that claims 0.0005 fringe is taken to repeat to 0.003 (the floor, common practice)."""
    found = settling_powers([reading(-2.0, fit=0.0005, edge=0.03), reading(-2.1, fit=0.01)])
    assert found.u_fringes == (0.003, 0.01)
    assert found.common_u_fringes == pytest.approx(0.015)


def test_the_wavelength_is_common_to_all_photographs():
    """An error of the lamp moves all powers by one share: 0.3 % of 2 fringes (analytic)."""
    one = dataclasses.replace(
        reading(-2.0, fit=0.02), u_wavelength_nm=0.003 * 589.29, lamp="led:589:18"
    )
    found = settling_powers([one] * 3)
    assert found.u_fringes == pytest.approx((0.02,) * 3)
    assert found.common_u_fringes == pytest.approx(0.006)


@pytest.mark.parametrize(("minutes", "drift"), [((0, 0.1, 0.2), 0.0), ((0, 1, 2, 3), 0.3)])
def test_readings_too_near_each_other_tell_no_end(rng, minutes, drift):
    """Within seconds or few minutes the end is out of view, drift or none, and is not shown."""
    powers = (
        2.0 + drift * np.exp(-np.array(minutes) / 40) + 0.02 * rng.standard_normal(len(minutes))
    )
    found = settle(minutes, powers, 0.02, limit_fringes=0.2)
    assert not found.end_in_view
    assert found.state != "settled"
    assert text_of(found).endswith("the readings lie too near each other in time")


def test_an_hour_keeps_the_end_in_view():
    """Readings over three time constants show the end, and without a drift an hour does."""
    assert settle(np.linspace(0, 60, 7), decay(np.linspace(0, 60, 7), tau=20.0), 0.01).end_in_view
    assert settle(np.linspace(0, 60, 7), np.full(7, 2.0), 0.01).end_in_view


def test_an_eye_errs_anew_and_alike():
    """By eye the count errs anew, its angle may err in all alike: it counts as both (analytic)."""
    one = dataclasses.replace(reading(-2.0), power_u_parts={"eye": 0.12, "eye angle": 0.05})
    found = settling_powers([one] * 3)
    assert found.u_fringes == pytest.approx((0.13,) * 3)
    assert found.common_u_fringes == pytest.approx(0.05, abs=1e-4)
