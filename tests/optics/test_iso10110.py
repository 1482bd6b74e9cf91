"""The form code of ISO 10110-5, written and read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.optics.iso10110 import iso10110_text, parse_iso10110


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ((2.0, 0.3, 0.1, 589.3), "3/ 2.0(0.30/0.10); λ = 589.3 nm"),
        ((-2.04, 0.3, 0.1, 589.3), "3/ 2.0(0.30/0.10); λ = 589.3 nm"),
        ((0.42, 0.3, None, 546.0735), "3/ 0.42(0.30); λ = 546.1 nm"),
        ((None, 1.0, None, 546.0), "3/ -(1.00); λ = 546.0 nm"),
        ((5.0, None, 0.5, 546.0), "3/ 5.0(-/0.50); λ = 546.0 nm"),
        ((5.0, None, None, 546.0), "3/ 5.0; λ = 546.0 nm"),
    ],
)
def test_text_states_form_and_wavelength(values, text):
    """The code has its unsigned power, its irregularities and always the wavelength."""
    assert iso10110_text(*values) == text


def test_rms_forms_stand_behind_the_code():
    """RMSt, RMSi and RMSa are written before the wavelength, and read back."""
    text = iso10110_text(2.0, 1.0, 0.5, 600.0, rms={"t": 0.2, "i": None, "a": 0.05})
    assert text == "3/ 2.0(1.00/0.50); RMSt < 0.20; RMSa < 0.05; λ = 600.0 nm"
    assert parse_iso10110(text).rms_nm == (pytest.approx(60), None, pytest.approx(15))


@pytest.mark.parametrize(
    ("limits", "text"),
    [
        # three thousandths of a fringe are not cut to nothing
        ((0.0068, 0.0034, 0.05, 589.2), "3/ 0.0068(0.0034/0.05); λ = 589.2 nm"),
        # ISO's example of 546 nm in the light of sodium: 2 * 546 / 589.19 = 1.8534
        ((2 * 546 / 589.19, 546 / 589.19, None, 589.19), "3/ 1.85(0.926); λ = 589.19 nm"),
        ((2.0, 0.3, None, 546.0735), "3/ 2.0(0.30); λ = 546.07 nm"),
        ((0.1 + 0.2, None, None, 500.0), "3/ 0.30; λ = 500.0 nm"),
        ((123.456, None, None, 500.0), "3/ 123.4; λ = 500.0 nm"),
    ],
)
def test_limits_are_rounded_down(limits, text):
    """A limit keeps three figures and is rounded to the safe side, the wavelength too."""
    assert iso10110_text(*limits, limits=True) == text


@given(st.floats(1e-3, 99), st.none() | st.floats(1e-3, 50), st.floats(300, 1100))
def test_a_printed_limit_never_allows_more(power, irregularity, wavelength):
    """A code of limits, read back, is never looser than they are, and under 1.5 % stricter.

    The slack of a billionth is that of the binary fractions.
    """
    code = parse_iso10110(iso10110_text(power, irregularity, None, wavelength, limits=True))
    for got, want in ((code.power_nm, power), (code.irregularity_nm, irregularity)):
        if want is not None:
            assert 0.985 < got / (want * wavelength / 2) <= 1 + 1e-9


@given(
    st.floats(-99, 99),
    st.none() | st.floats(0, 50),
    st.none() | st.floats(0, 50),
    st.floats(300, 1100),
)
def test_text_is_read_back_to_its_printed_digits(power, irregularity, symmetric, wavelength):
    """What is written is read back within half its last digit."""
    code = parse_iso10110(iso10110_text(power, irregularity, symmetric, wavelength))
    assert code.wavelength_nm == pytest.approx(wavelength, abs=0.0501)
    half = code.wavelength_nm / 2
    assert code.power_nm / half == pytest.approx(abs(power), abs=0.0501)
    for got, want in (
        (code.irregularity_nm, irregularity),
        (code.symmetric_irregularity_nm, symmetric),
    ):
        assert (got is None) == (want is None)
        if want is not None:
            assert got / half == pytest.approx(want, abs=0.00501)


def test_nanometres_need_no_wavelength():
    """A code in nanometres is height itself, one `nm` standing for the whole of it."""
    code = parse_iso10110("3/ 633 nm(316 nm/158 nm)")
    assert (code.power_nm, code.irregularity_nm) == (633, 316)
    assert code.symmetric_irregularity_nm == 158
    assert code.wavelength_nm is None
    assert parse_iso10110("3/633(316/158 nm); RMSi < 20 nm") == parse_iso10110(
        "3/ 633nm (316 / 158); RMSi<20nm"
    )


def test_fringes_without_wavelength_use_the_callers_or_are_refused():
    """No wavelength is ever assumed: it stands in the code or comes from the caller."""
    with pytest.raises(BadInput, match="states no wavelength"):
        parse_iso10110("3/ 2(1)")
    assert parse_iso10110("3/ 2(1)", 600.0).power_nm == 600
    assert parse_iso10110("3/ 2(1); λ = 500 nm", 600.0).power_nm == 500


def test_commas_and_greek_and_microns_are_read():
    """Decimal commas and a wavelength in micrometres are read as they are meant."""
    assert parse_iso10110("3/ 2,5(0,5); λ = 0,5 µm").power_nm == pytest.approx(625)


@pytest.mark.parametrize(
    "text",
    ["", "2(1)", "3/", "3/ x", "3/ 2(1", "3/ -2(1); λ = 546 nm", "3/ 2(1); λ = 546", "4/ 2(1)"],
)
def test_what_is_no_code_is_refused_in_one_line(text):
    """Anything else is refused, with the form it should have."""
    with pytest.raises(BadInput, match=r"3/ A\(B/C\)") as error:
        parse_iso10110(text)
    assert "\n" not in str(error.value)


def test_a_form_in_fringes_needs_its_wavelength():
    """No code is written without a wavelength."""
    with pytest.raises(BadInput, match="wavelength"):
        iso10110_text(1.0, 0.1, None, 0.0)
