"""Radius of a lens from its 12th dark ring.

Source
------
READ   inputs: numerade.com, a problem of Walker's Physics, chapter 28: 648 nm, the 12th dark ring
       at r = 1.56 cm.
RUN    R = 31.296 m, from r^2 = 12 lambda R.
"""

from __future__ import annotations

import pytest

from fringe.optics import rings, spheres


def test_radius_from_the_twelfth_dark_ring():
    """The twelfth dark ring, not counting the spot of contact, gives 31.3 m (analytic)."""
    radius = rings.effective_radius_from_step_mm(15.6**2 / 12, 648.0)
    assert radius / 1000 == pytest.approx(31.296, abs=5e-4)


def test_the_lens_sagitta_is_twelve_half_waves():
    """The sagitta of that lens over its twelfth ring is 12 half waves (analytic)."""
    assert spheres.sagitta_mm(31_296.0, 15.6) * 1e6 == pytest.approx(12 * 324.0, rel=2e-5)
