"""Diameter of the second bright ring.

Source
------
READ   inputs: brainmass.com, R = 95.2 cm, 580 nm, the second bright ring.
RUN    diameter 1.8202 mm (order 1.5).
"""

from __future__ import annotations

import pytest

from fringe.optics import rings


def test_second_bright_ring_has_order_one_and_a_half():
    """The second bright ring is 1.8202 mm across (analytic)."""
    assert 2 * rings.bright_ring_radius_mm(2, 580.0, 952.0) == pytest.approx(1.8202, abs=5e-5)
