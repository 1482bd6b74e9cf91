"""Units of form in ISO 10110-5.

Sources
-------
READ   ISO 10110-5:2015, scope (standards.iteh.ai): "nanometres shall now be the preferred and
       standard unit ... fringe spacings is still permitted given that the base wavelength is
       explicitly stated."
READ   DIN ISO 10110-5:2016-04, abstract (dinmedia.de): "One 'fringe spacing' is equal to a surface
       form deviation that causes a deformation of the reflected wavefront of one wavelength";
       values in nanometres are "the actual height deviation of the surface itself (and not that
       of the reflected wavefront)".
"""

from __future__ import annotations

import pytest

from fringe.errors import BadInput
from fringe.optics.iso10110 import iso10110_text, parse_iso10110
from fringe.optics.spheres import nm_from_fringes


def test_a_fringe_is_half_a_wavelength_of_height():
    """One wavelength of reflected wavefront is half a wavelength of surface (published)."""
    assert nm_from_fringes(1, 632.8) == pytest.approx(316.4)


def test_fringes_always_state_their_wavelength():
    """A code in fringes carries its wavelength, and one without is not read (published)."""
    assert "λ = 546.1 nm" in iso10110_text(2, 0.5, 0.2, 546.0735)
    with pytest.raises(BadInput, match="states no wavelength"):
        parse_iso10110("3/ 2(1/0.5)")


def test_nanometres_are_heights_of_the_surface():
    """A value in nanometres is height as it stands: not halved, no wavelength (published)."""
    assert parse_iso10110("3/ 300 nm(150 nm)").irregularity_nm == 150
