"""Fringes in an oblique view, 2 h cos(theta) = m lambda with theta in the air gap.

Sources
-------
READ   (form only) a lecture page at ques10 prints the path difference as "2 mu cos(r + theta) +
       lambda/2", the thickness dropped by the page.
RUN    cos - 1 at 5 and 10 degrees.
"""

from __future__ import annotations

import math

import pytest

from fringe.optics import view


@pytest.mark.parametrize(("angle", "per_cent"), [(5, -0.381), (10, -1.519)])
def test_orders_lost_to_the_angle(angle, per_cent):
    """A gap shows 0.381 % fewer orders at 5 degrees and 1.519 % fewer at 10 (analytic)."""
    distance = 300.0 / math.tan(math.radians(angle))
    at_rim = float(view.cos_view(0.0, 1.0, 300.0, distance))
    assert 100 * (at_rim - 1) == pytest.approx(per_cent, abs=5e-4)
