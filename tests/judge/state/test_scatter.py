"""How much the spells of a shop differ: learned from spells that were read."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.judge.state.abrasives import stage
from fringe.judge.state.filter import believe
from fringe.judge.state.observed import HeightReading, ObservedVisit, OtherSurface, Spell
from fringe.judge.state.scatter import USUAL, USUAL_SCATTER
from sample_visits import hours

POLISH = stage("polish")


def surface(scatter: float, rng: np.random.Generator, count: int = 20) -> tuple[ObservedVisit, ...]:
    """Visits of a surface whose spells differ so much, read precisely and well rested."""
    height = 40.0
    found = [ObservedVisit(hours(0), (), (HeightReading("fringes", height, 0.01),), 1)]
    for number in range(2, count + 2):
        height -= 0.03 * 60.0 * np.exp(scatter * rng.standard_normal())
        reading = HeightReading("fringes", height, 0.01, rested_minutes=600.0)
        spell = Spell(POLISH, 60.0, "work")
        found.append(ObservedVisit(hours(20 * number), (spell,), (reading,), number))
    return tuple(found)


@pytest.mark.parametrize("scatter", [0.1, 0.4])
def test_a_shop_is_known_by_its_spells(scatter: float, rng: np.random.Generator) -> None:
    """After 40 spells of two surfaces the standard deviation has gone a fifth of the way or more.

    Not all of it: spells far off are put down to slips in part.
    """
    others = [OtherSurface(surface(scatter, rng))]
    found = believe(surface(scatter, rng), others=others)[-1].scatter
    assert abs(found - scatter) < 0.8 * abs(USUAL_SCATTER - scatter)


def test_a_forecast_is_as_wide_as_the_shop_is_uneven(rng: np.random.Generator) -> None:
    """The next height of an uneven shop is foretold with a wider interval than an even one's."""
    widths = []
    for scatter in (0.1, 0.4):
        others = [OtherSurface(surface(scatter, rng)) for _ in range(2)]
        belief = believe(surface(scatter, rng), others=others)[-1]
        low, high = belief.after([Spell(POLISH, 60.0, "work")]).interval()
        widths.append(high - low)
    assert widths[1] > 1.8 * widths[0]


def test_what_nothing_tells_changes_nothing() -> None:
    """A spell that no reading follows leaves the scatter as it was."""
    found = believe([ObservedVisit(hours(0), (Spell(POLISH, 60.0, "work"),), (), 1)])
    assert found[-1].scatter == pytest.approx(USUAL.u)
