"""Zones, edges and astigmatism are marked where they lie, by letters that a key explains."""

from __future__ import annotations

import numpy as np
import pytest
from formed import TERMS, fitted, places, saddle, turned, zone
from matplotlib.patches import Circle

from fringe.optics.form import form_quantities
from fringe.orders.reading import FormFit
from fringe.show.figures.gap_map import gap_map_figure
from fringe.show.figures.profile import profile_figure
from fringe.show.figures.relief import relief_figure
from fringe.show.figures.style import COLUMN_IN

RHO, THETA = places()
WORK = zone(RHO, 0.4, 0.5, 0.08) + turned(RHO, -0.7, 0.85, 2.0) + saddle(RHO, THETA, 0.35, 30.0)


@pytest.fixture
def zoned(made_reading, rng):
    """A reading of a zone, a turned edge and astigmatism."""

    def make(sense="centre"):
        values, covariance = fitted(4 * RHO**2 - WORK, 0.02, rng)
        form = form_quantities(TERMS, values)
        return made_reading(
            4.0,
            sense=sense,
            form=FormFit(TERMS, values, covariance),
            irregularity_fringes=form.irregularity_pv,
            irregularity_u95_fringes=0.02,
        )

    return make


def rings(axes):
    """Radii of the circles that are drawn on a map, the rim left out."""
    return sorted(one.radius for one in axes.patches if isinstance(one, Circle) and one.radius < 1)


def test_rings_lie_where_the_zones_do(zoned, assert_clean):
    """The map has a ring at the zone's crest and one where the edge turns, none on the gap's."""
    figure = gap_map_figure(zoned())
    gap, _, rest, _ = figure.axes
    assert rings(gap) == []
    assert rings(rest) == pytest.approx([0.5, 0.85], abs=0.04)
    texts = " ".join(assert_clean(figure))
    for name in ("edge turned down", "raised zone", "astigmatism high along"):
        assert name in texts
    assert {"A", "B", "C"} <= set(assert_clean(figure))


def test_the_axis_runs_along_the_high_places(zoned):
    """The axis of astigmatism is drawn at its angle; both axes where the sense is unknown."""
    for sense, count in (("centre", 1), ("unknown", 2)):
        rest = gap_map_figure(zoned(sense)).axes[2]
        lines = [one.get_xydata() for one in rest.lines if len(one.get_xydata()) == 2]
        angles = [np.degrees(np.arctan2(*(b - a)[::-1])) % 180 for a, b in lines]
        assert angles == pytest.approx([30.0, 120.0][:count], abs=2)


def test_profiles_mark_places_on_either_side(zoned, assert_clean):
    """Upright lines stand at the places, in mm, on both sides; astigmatism has none."""
    figure = profile_figure(zoned(), diameter_mm=150.0)
    lower = figure.axes[1]
    upright = [one.get_xdata()[0] for one in lower.lines if len(set(one.get_xdata())) == 1]
    wanted = [s * 75 * r for r in (0.5, 0.85) for s in (-1, 1)]
    assert sorted(upright) == pytest.approx(sorted(wanted), abs=3)
    texts = " ".join(assert_clean(figure))
    assert "raised zone at" in texts
    assert "astigmatism" not in texts


def test_a_perfect_sphere_has_no_marks(made_reading):
    """Where nothing is proven nothing is drawn."""
    figure = gap_map_figure(made_reading(4.0))
    assert rings(figure.axes[2]) == []


@pytest.mark.parametrize("sense", ["centre", "unknown"])
def test_the_relief_names_them(zoned, assert_clean, sense):
    """Each stands by its name over the relief; an unknown sense is said."""
    texts = assert_clean(relief_figure(zoned(sense), width_in=COLUMN_IN, diameter_mm=150.0))
    names = {text.partition(": ")[2] for text in texts if text[1:3] == ": "}
    known = {"raised zone", "edge turned down", "astigmatism"}
    assert names == (known if sense == "centre" else {one.name for one in zoned(sense).features})
    told = " ".join(texts)
    assert "times too large" in told
    assert ("The sense is unknown" in told) == (sense == "unknown")
