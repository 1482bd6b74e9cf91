"""Uncertainties as certificates print them."""

from __future__ import annotations

import pytest
from scipy.stats import norm

from fringe.certificates import certified, standard_uncertainty
from fringe.errors import BadInput

BY_PERCENT = norm.ppf(0.975)


@pytest.mark.parametrize(
    "text",
    [
        "3048.60 +- 0.30 mm (k=2)",
        "3048.60 mm ± 0.30 mm (k = 2)",
        "3048,60 mm ± 0,30 mm (k = 2)",
        "3048,6 ± 0,3 mm, k=2",
        "3048,60 mm ± 0,30 mm (mit k = 2)",
        "3048,60 mm ± 0,30 mm (avec k = 2)",
        "3048.6mm+/-0.3mm k=2",
        "3048.6 mm +/− 300 um (k=2.0)",
        "3048.6mm+-0.3mm, 2 sigma",
        "3048.6 mm ± 0.3 mm (2σ)",
        "(3048.60 ± 0.30) mm, k = 2",
        "(3048,60 ± 0,30) mm (k=2)",
        "3048.6 mm ± 0.3 (k=2)",
        "304.86 cm ± 0.3 mm [k=2]",
    ],
)
def test_a_certificate_line(text: str) -> None:
    """Value and half the expanded uncertainty, in each spelling; the text is kept (analytic)."""
    read = certified(text, "--radius")
    assert read.value == pytest.approx(3048.6, rel=1e-12)
    assert read.u == pytest.approx(0.15, rel=1e-12)
    assert read.text == text


@pytest.mark.parametrize(
    ("text", "u_mm"),
    [
        ("0.3mm", 0.3),  # bare: a standard uncertainty
        ("300 um", 0.3),
        ("0,3 mm", 0.3),
        ("u = 0.3 mm", 0.3),
        ("0.3mm (k=1)", 0.3),
        ("0.3mm (k=2)", 0.15),
        ("0.3 mm, k = 2", 0.15),
        ("0,3 mm; k=2,00", 0.15),
        ("0.3mm k=3", 0.1),
        ("+-0.3mm (k=2)", 0.15),
        ("± 0,3 mm (k = 2)", 0.15),
        ("+/- 0.3 mm (k=2)", 0.15),
        ("U = 0.3 mm (k = 2)", 0.15),
        ("U(k=2) = 0.3 mm", 0.15),
        ("0.3mm 95%", 0.3 / BY_PERCENT),
        ("0.3 mm (95 %)", 0.3 / BY_PERCENT),
        ("±0,3 mm, P = 95 %", 0.3 / BY_PERCENT),
        ("0.3mm 95,45 %", 0.3 / norm.ppf(0.5 + 0.9545 / 2)),
        ("0.3 mm 99%", 0.3 / norm.ppf(0.995)),
        ("0.3mm 2 sigma", 0.15),
        ("1/8 in (k=2)", 1.5875),
    ],
)
def test_an_uncertainty(text: str, u_mm: float) -> None:
    """A bare one is standard; one with its coverage is divided by the factor (analytic)."""
    read = standard_uncertainty(text, "--radius-u")
    assert read.u == pytest.approx(u_mm, rel=1e-9)
    assert read.value is None
    expanded = any(word in text for word in ("k", "%", "sigma"))
    assert read.text == (text if expanded else None)


def test_a_number_without_a_unit() -> None:
    """Kelvins and pixels take a coverage as well (analytic)."""
    assert standard_uncertainty("0,4 (k=2)", "--axial-u", plain=True).u == pytest.approx(0.2)
    assert standard_uncertainty("0.4", "--axial-u", plain=True) == (None, 0.4, None)


def test_a_length_alone() -> None:
    """Without an uncertainty a certified length is any length above zero."""
    assert certified("120in") == (pytest.approx(3048.0), None, None)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("3048.6 ± 0.3 mm", "does not say what it covers"),
        ("3048.6 mm ± 0.3 mm (k=0.5)", "between 1 and 10"),
        ("3048.6 mm ± 0.3 mm 20%", "between 50 and 100"),
        ("3048.6 ± 0.3 (k=2)", "no unit"),
        ("± 0.3 mm (k=2)", "cannot read"),
        ("3048.6 mm ± mm (k=2)", "cannot read"),
        ("3048.6 mm ± -0.3 mm (k=2)", "greater than zero"),
        ("3,048 mm ± 0.3 mm (k=2)", "decimal or thousands"),
        ("-3048.6 mm ± 0.3 mm (k=2)", "greater than zero"),
    ],
)
def test_refused_lines(text: str, reason: str) -> None:
    """A ± without its coverage, or what cannot be read, is refused in one line of the option."""
    with pytest.raises(BadInput, match=reason) as caught:
        certified(text, "--radius")
    assert str(caught.value).startswith("--radius: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["± 0.3mm", "+-0.3mm", "U = 0.3 mm"])
def test_an_expanded_one_says_its_coverage(text: str) -> None:
    """± or U without a coverage may be either, and is refused with what to write."""
    with pytest.raises(BadInput, match=r"write \(k=2\) or 95% behind it"):
        standard_uncertainty(text, "--radius-u")
