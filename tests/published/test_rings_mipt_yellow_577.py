"""Rings in mercury yellow measured in a student laboratory: the cleanest table found.

Source
------
READ   repository BlackSamorez/mipt_lab, folder 4.2.1, first report, commit 97036554: both edges of
       dark and bright rings (data/rings.csv, hundredths of a division), 1 division = 98.3 um;
       577 +/- 10 nm; a convex lens on a flat. Printed: radii in um, slope 7185 +/- 40 um^2,
       R = (1.25 +/- 0.02) cm.
"""

from __future__ import annotations

import numpy as np
import pytest
from ring_line import ring_line

from fringe.optics import rings

ORDERS = np.arange(1, 12)
EDGES = {
    "dark": (
        [312, 276, 248, 225, 205, 187, 170, 154, 140, 125, 113],
        [490, 522, 551, 574, 593, 613, 629, 644, 660, 674, 685],
    ),
    "bright": (
        [335, 290, 261, 235, 216, 196, 179, 162, 148, 134, 119],
        [462, 509, 537, 561, 584, 602, 620, 637, 652, 667, 680],
    ),
}
RADII_UM = {
    "dark": [87.5, 120.9, 148.9, 171.5, 190.7, 209.4, 225.6, 240.8, 255.6, 269.8, 281.1],
    "bright": [62.4, 107.6, 135.7, 160.2, 180.9, 199.5, 216.8, 233.5, 247.7, 262.0, 275.7],
}


@pytest.mark.parametrize("kind", ["dark", "bright"])
def test_printed_radii_follow_from_the_edges(kind):
    """Half the distance of the edges is the printed radius, to its last digit (published)."""
    left, right = EDGES[kind]
    radii = np.subtract(right, left) / 200 * 98.3
    np.testing.assert_allclose(radii, RADII_UM[kind], atol=0.051)


def test_printed_slope_is_that_of_the_rings():
    """The printed slope, 7185 um^2, lies between those of dark and bright rings (published).

    Which rings it is of is not said. The two are 9 um^2 apart, a quarter of the printed 40.
    """
    dark, bright = (ring_line(ORDERS, RADII_UM[k]) for k in ("dark", "bright"))
    assert bright.slope < 7185 < dark.slope
    assert dark.slope - bright.slope == pytest.approx(9, abs=0.5)


def test_bright_rings_lie_half_an_order_further_in():
    """Intercepts of dark and bright rings differ by half a ring, within their u of 0.03 (analytic).

    Both lie 0.07 of a ring further out than contact in a point would have them: dust, or pressing.
    """
    dark, bright = (ring_line(ORDERS, RADII_UM[k]) for k in ("dark", "bright"))
    u = np.hypot(dark.intercept_stderr, bright.intercept_stderr) / dark.slope
    assert (dark.intercept - bright.intercept) / dark.slope == pytest.approx(0.5, abs=u)
    assert u == pytest.approx(0.03, abs=5e-3)


def test_uncertainty_covers_dark_against_bright():
    """The two steps differ by less than their combined u, within the printed 40 (published)."""
    dark, bright = (ring_line(ORDERS, RADII_UM[k]) for k in ("dark", "bright"))
    combined = np.hypot(dark.stderr, bright.stderr)
    assert abs(dark.slope - bright.slope) < combined
    assert combined < 40


def test_radius_is_the_printed_one():
    """R is the printed 12.5 mm, to its last digit (published)."""
    fit = ring_line(ORDERS, np.array(RADII_UM["dark"]) / 1000)
    assert rings.effective_radius_from_step_mm(fit.slope, 577.0) == pytest.approx(12.5, abs=0.05)
