"""Worked form codes of a manufacturer's tutorial.

Source
------
READ   layertec.de, "Surface Form Tolerances": `3/ A(B/C)` with A the sagitta error of the best-fit
       sphere, B the irregularity peak to valley, C its rotationally symmetric part; RMSt, RMSi,
       RMSa. "B = 1 fringe = 1 x lambda/2 = 0.5 x 546 nm = 273 nm"; "1 fringe = 0.5 x 632.8 nm =
       316.4 nm".
"""

from __future__ import annotations

import pytest

from fringe.optics.iso10110 import parse_iso10110


def test_code_with_irregularity_and_asymmetry_only():
    """`3/ - (1); RMSa < 0.1; lambda=546 nm` allows 273 nm of irregularity (published)."""
    code = parse_iso10110("3/ - (1); RMSa < 0.1; lambda=546 nm")
    assert code.power_nm is None
    assert code.irregularity_nm == pytest.approx(273)
    assert code.symmetric_irregularity_nm is None
    assert code.rms_asymmetry_nm == pytest.approx(27.3)
    assert code.wavelength_nm == 546


def test_code_with_all_three():
    """`3/ 2(1/0.5); lambda = 632.8 nm` has fringes of 316.4 nm (published)."""
    code = parse_iso10110("3/ 2(1/0.5); lambda = 632.8 nm")
    assert code.power_nm == pytest.approx(632.8)
    assert code.irregularity_nm == pytest.approx(316.4)
    assert code.symmetric_irregularity_nm == pytest.approx(158.2)
