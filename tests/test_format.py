"""Numbers as they are printed."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.format import capital, figures, fixed, plus_minus, share_text, uncertainty_decimals


@pytest.mark.parametrize(
    ("value", "u95", "text"),
    [
        # the Particle Data Group's own examples (recalled): 0.827 +- 0.119 and 0.827 +- 0.367
        (0.827, 0.119, "0.83 ± 0.12"),
        (0.827, 0.367, "0.8 ± 0.4"),
        (1523.84, 0.42, "1523.8 ± 0.4"),
        (3105.66, 11.2, "3106 ± 11"),
        (3105.66, 960.0, "3100 ± 1000"),
        (3105.66, 123.0, "3110 ± 120"),
        (-2.921, 0.0354, "−2.921 ± 0.035"),
        (-2.921, 0.0355, "−2.92 ± 0.04"),
        (0.0004, 0.03, "0.000 ± 0.030"),
    ],
)
def test_uncertainty_sets_the_digits(value, u95, text):
    """The uncertainty keeps one or two figures, and the value ends at the same place."""
    assert plus_minus(value, u95) == text


@pytest.mark.parametrize("u95", [None, 0.0, float("inf"), float("nan")])
def test_without_an_uncertainty(u95):
    """Without a finite uncertainty the value stands alone, to significant figures."""
    assert plus_minus(3048.123, u95, "mm") == "3048 mm"
    assert plus_minus(3048.123, u95, "mm", digits=6) == "3048.12 mm"


def test_signs():
    """Plus signs only where asked for, a true minus, and never a minus zero."""
    assert plus_minus(1.5, 0.2, "fringes", signed=True) == "+1.50 ± 0.20 fringes"
    assert plus_minus(-1.5, 0.2, "fringes", signed=True) == "−1.50 ± 0.20 fringes"
    assert plus_minus(-0.001, 0.2, signed=True) == "0.00 ± 0.20"
    assert fixed(-0.0004, 2) == "0.00"
    assert figures(-0.0) == "0"
    assert figures(-0.0, signed=True) == "0"


@given(st.floats(1e-9, 1e9))
def test_one_or_two_figures_and_never_far_off(u):
    """A printed uncertainty has one or two figures and is within 18 % of itself (analytic).

    The worst case of the rule is 355 of a decade, rounded to 400: up by 13 %; just under 550,
    to 500, down by 9 %.
    """
    decimals = uncertainty_decimals(u)
    shown = round(u, decimals)
    assert shown == pytest.approx(u, rel=0.18)
    assert 1 <= round(shown * 10.0**decimals) <= 99


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
def test_value_and_uncertainty_end_alike(value, u):
    """Value and uncertainty are printed to the same decimal place."""
    first, second = plus_minus(value, u).split(" ± ")
    places = [len(re.sub(r"^[^.]*\.?", "", one)) for one in (first, second)]
    assert places[0] == places[1]
    assert float(first.replace("−", "-")) == pytest.approx(value, abs=0.51 * u + 1e-12)


@pytest.mark.parametrize(
    ("value", "count", "text"),
    [(589.194, 5, "589.19"), (0.25, 4, "0.25"), (3.0, 4, "3"), (123456.0, 3, "123456"),
     (0.0, 3, "0"), (1.2e-12, 3, "1.20e-12")],
)  # fmt: skip
def test_significant_figures(value, count, text):
    """Numbers without uncertainty lose trailing zeros, never figures before the point."""
    assert figures(value, count) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (1.0, "100 %"),
        (0.643, "64 %"),
        (0.0996, "10 %"),
        (0.0714, "7.1 %"),
        (0.0004, "< 0.1 %"),
        (0.0, "0.0 %"),
        (-0.31, "−31 %"),
    ],
)
def test_a_share_of_the_variance(share, text):
    """A share has a decimal where it is small, and none so small prints as nothing (analytic)."""
    assert share_text(share) == text


def test_a_sentence_that_begins_with_a_file_keeps_its_name():
    """Only the first letter of words is made large: another file may have the large one."""
    assert capital("no fringe shows") == "No fringe shows"
    assert capital("rings.jpg: no fringe shows") == "rings.jpg: no fringe shows"
    assert capital("") == ""
