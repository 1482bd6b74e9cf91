"""Lengths as people write them."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.units import MM_PER_UNIT, length_mm, number, positive_length_mm

REGISTRY = pint.get_application_registry()
# units that pint does not spell so: signs and full stops of inches and feet
SIGNS = {
    '"': "inch",
    "″": "inch",
    "”": "inch",
    "''": "inch",
    "in.": "inch",
    "'": "foot",
    "′": "foot",
    "ft.": "foot",
}


@pytest.mark.parametrize("unit", MM_PER_UNIT)
def test_each_unit_agrees_with_pint(unit: str) -> None:
    """Every unit of the table has the size that pint gives it."""
    expected = REGISTRY.Quantity(1.0, SIGNS.get(unit, unit)).to("mm").magnitude
    assert length_mm(f"1 {unit}") == pytest.approx(expected, rel=1e-15)


@given(
    value=st.decimals(-10_000, 10_000, places=4),
    unit=st.sampled_from([unit for unit in MM_PER_UNIT if unit not in SIGNS]),
    space=st.sampled_from(["", " ", "  "]),
)
def test_decimals_agree_with_pint(value: object, unit: str, space: str) -> None:
    """Any decimal number with any unit is the length that pint reads."""
    expected = REGISTRY.Quantity(float(str(value)), unit).to("mm").magnitude
    assert length_mm(f"{value}{space}{unit}") == pytest.approx(expected, rel=1e-14, abs=1e-18)


@given(
    sign=st.sampled_from(["", "+", "-"]),
    whole=st.integers(0, 99),
    numerator=st.integers(0, 99),
    denominator=st.integers(1, 64),
)
def test_fractions_are_exact(sign: str, whole: int, numerator: int, denominator: int) -> None:
    """`5 3/4 in` is the whole plus the fraction, and a minus counts for both."""
    inches = (-1 if sign == "-" else 1) * (whole + Fraction(numerator, denominator))
    text = f"{sign}{whole} {numerator}/{denominator} in"
    assert length_mm(text) == pytest.approx(float(inches * Fraction("25.4")), rel=1e-14)


# analytic: the inch is 25.4 mm by definition
@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [
        ("150mm", 150.0),
        ("6in", 152.4),
        ('6"', 152.4),
        ("5 3/4 in", 146.05),
        ("5-3/4 in", 146.05),
        ("5¾ in", 146.05),
        ("5 ¾″", 146.05),
        ("¾in.", 19.05),
        ("-½ in", -12.7),
        ("5⅞ In", 149.225),
        ("6 INCH", 152.4),
        ("10'", 3048.0),
        ("3/4 in", 19.05),
        ("793um", 0.793),
        ("0,5 mm", 0.5),
        ("12,5mm", 12.5),
        (".5mm", 0.5),
        ("2.mm", 2.0),
        ("1e3 mm", 1000.0),
        (" 10 ft ", 3048.0),
        ("-0.25mm", -0.25),
        ("−0.25mm", -0.25),
        ("2 yards", 1828.8),
        ("5 angstrom", 5e-7),
    ],
)
def test_spellings(text: str, expected_mm: float) -> None:
    """The spellings that people use are read, rarer units through pint."""
    assert length_mm(text) == pytest.approx(expected_mm, rel=1e-14)


REFUSED = {
    "": "cannot read",
    "mm": "cannot read",
    "150": "no unit",
    "-0,5": "no unit",
    "1/0 in": "divides by zero",
    "5 kg": "cannot read",
    "5 kelvin": "cannot read",
    "5 blobs": "cannot read",
    "1 2 mm": "cannot read",
    "5 mm 3": "cannot read",
    "5 3/4 3/4 in": "cannot read",
    "¾¾ in": "cannot read",
    "¾": "no unit",
    "150 Kg": "cannot read",
    "1.2.3mm": "cannot read",
    "nan mm": "cannot read",
    "inf mm": "cannot read",
    "1e999 mm": "too large",
    "1e13 mm": "too large",
    "1e-13 mm": "too small",
    "9**9**9 mm": "cannot read",
    # 1.5 mm or 1500 mm? A factor of a thousand is not to be guessed.
    "1,500mm": "write 1.500 or 1500 and the unit",
    "12,345 mm": "write 12.345 or 12345",
}


@pytest.mark.parametrize(("text", "reason"), REFUSED.items())
def test_refusals(text: str, reason: str) -> None:
    """What is no length, or might be two, is refused in one line that names it and the option."""
    with pytest.raises(BadInput) as caught:
        length_mm(text, "--diameter")
    line = str(caught.value)
    assert line.startswith("--diameter: ")
    assert repr(text) in line
    assert reason in line
    assert "\n" not in line


@pytest.mark.parametrize("text", ["0mm", "-1mm", "-3/4 in", "0 in"])
def test_only_lengths_above_zero(text: str) -> None:
    """Where a length must be greater than zero, zero and less are refused."""
    with pytest.raises(BadInput, match="greater than zero"):
        positive_length_mm(text, "--diameter")


@given(value=st.floats(1e-6, 1e6), unit=st.sampled_from(["mm", "in", "um", "m"]))
def test_positive_lengths_are_the_same(value: float, unit: str) -> None:
    """A length above zero is read alike whether or not it must be."""
    text = f"{value!r}{unit}"
    assert positive_length_mm(text) == length_mm(text) > 0


def test_the_unit_proposed_is_that_of_the_quantity() -> None:
    """A bare wavelength is told to carry nanometres, a bare sagitta micrometres."""
    with pytest.raises(BadInput, match="write for example 589nm"):
        length_mm("589", "--wavelength", "nm")
    with pytest.raises(BadInput, match="write for example 808um"):
        positive_length_mm("808", "--plate", "um")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2.5", 2.5),
        ("2,5", 2.5),
        (" −3 ", -3.0),
        ("1/4", 0.25),
        ("1 1/2", 1.5),
        ("½", 0.5),
        ("-1½", -1.5),
        ("+.5", 0.5),
        ("1e-3", 1e-3),
    ],
)
def test_numbers(text: str, expected: float) -> None:
    """Numbers without a unit are read as people write them, fractions too (analytic)."""
    assert number(text) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "not a number"),
        ("three", "not a number"),
        ("3 mm", "not a number"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("1e999", "too large"),
        ("1/0", "divides by zero"),
        ("1,500", "write 1.500 or 1500"),
        ("3%", "not a number"),
    ],
)
def test_what_is_no_number(text: str, reason: str) -> None:
    """What is not a number, or might be two, is refused in one line that names the option."""
    with pytest.raises(BadInput, match=reason) as caught:
        number(text, "--fringes")
    assert str(caught.value).startswith(f"--fringes: {text!r}")
