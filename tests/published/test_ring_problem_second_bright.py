"""Diameter of the second bright ring.

Source
------
READ   inputs: brainmass.com, R = 95.2 cm, 580 nm, the second bright ring.
RUN    diameter 1.8202 mm (order 1.5).
"""

from __future__ import annotations

import pytest

from fringe.optics import spheres


def test_second_bright_ring_has_order_one_and_a_half():
    """Where the second bright ring lies, 1.8202 mm across, the gap is 1.5 half waves (analytic)."""
    gap_nm = 1e6 * spheres.sagitta_mm(952.0, 1.8202 / 2)
    # half a unit of the last digit of the diameter is 5.5e-5 of its square
    assert 2 * gap_nm / 580.0 == pytest.approx(1.5, rel=5.5e-5)
