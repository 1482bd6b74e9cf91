"""Rates and forecasts: held against arithmetic, and against what simulated work then does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from simulated_histories import WAVELENGTH_NM, outcome

from fringe.judge.advice.ahead import forecast
from fringe.judge.state.abrasives import stage
from fringe.judge.state.filter import believe
from fringe.judge.state.observed import (
    HeightReading,
    ObservedVisit,
    OtherSurface,
    Spell,
    observed,
)
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.half_width import half_width_um
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes
from sample_visits import hours

POLISH, GRIT = stage("polish"), stage("#400")


def visits(rates, minutes=30.0, u=0.001, start=-40.0, of=POLISH):
    """Visits of a surface whose spells, tool on top, had these rates [um/min], well rested."""
    height = start
    found = [ObservedVisit(hours(0), (), (HeightReading("fringes", height, u),), 1)]
    for number, rate in enumerate(rates, 2):
        height += rate * minutes
        reading = HeightReading("fringes", height, u, rested_minutes=600.0)
        spell = Spell(of, minutes, "tool")
        found.append(ObservedVisit(hours(20 * number), (spell,), (reading,), number))
    return found


def rate(rates, others=(), on_top="tool"):
    """What is believed of polishing after spells of these rates."""
    like = [OtherSurface(tuple(visits(one))) for one in others]
    return believe(visits(rates), others=like)[-1].rate(POLISH, on_top)


def test_forecasts_cover_what_happens(rng):
    """Of 160 simulated shops, 85 to 98 % reach the tolerance within the 90 % interval.

    Each has a history of 1 to 8 spells, or none and like surfaces, or both; rates and spells
    are gamma-distributed, and surfaces differ by up to 60 %, which the model does not know. The
    same of where the next spell ends. The bounds are the claim; the sampling error is 2.4 %.
    """
    counts = [(1, 0), (2, 0), (4, 0), (8, 0), (0, 3), (0, 8), (1, 4), (3, 6)]
    found = [outcome(rng, *counts[i % len(counts)]) for i in range(160)]
    assert 0.85 <= np.mean([one.covered for one in found]) <= 0.98
    assert 0.85 <= np.mean([one.after_covered for one in found]) <= 0.98


def test_chances_come_true(rng):
    """Of simulated next spells, as many end inside as their chances add up to, within 4 %.

    Beyond the 4 %, three standard deviations of a sum of such chances.
    """
    found = [outcome(rng, 3, 3) for _ in range(80)]
    chances = np.array([one.forecast.inside_after for one in found])
    inside = np.array([abs(one.after_um) <= one.forecast.half_width_um for one in found])
    sigma = math.sqrt(np.sum(chances * (1 - chances)))
    assert inside.sum() == pytest.approx(chances.sum(), abs=3 * sigma + 0.04 * len(found))


def test_a_steady_rate_is_learned():
    """Analytic: equal precise spells leave their rate; what spells differ by stays as assumed."""
    found = rate([0.1] * 12)
    assert found.median == pytest.approx(0.1, rel=0.05)
    assert 0.05 < found.low < 0.08 < 0.12 < found.high < 0.18
    assert (found.spells, found.minutes, found.surfaces) == (12, 360.0, 0)


def test_own_spells_count_first():
    """Six own spells outweigh eight surfaces twice as fast; without own, these decide."""
    like = [[one, one * 1.1] for one in (0.18, 0.2, 0.22, 0.2, 0.19, 0.21, 0.2, 0.23)]
    own = rate([0.1, 0.11, 0.09, 0.1, 0.11, 0.1], like)
    assert own.median == pytest.approx(0.1, rel=0.25)
    assert own.surfaces == 8
    alone, one = rate([], like), rate([], like[:1])
    assert alone.median == pytest.approx(0.21, rel=0.15)
    assert alone.high / alone.low < one.high / one.low < rate([]).high / rate([]).low


def test_mixed_work_teaches_its_parts():
    """Analytic: two stages in one change, one of them known otherwise, leave the other's rate."""
    found = visits([0.3] * 8, 10.0, of=GRIT)
    height = found[-1].readings[0].height_um
    for i in range(8):
        height += 0.3 * 10 + 0.1 * 60
        spells = (Spell(GRIT, 10.0, "tool"), Spell(POLISH, 60.0, "tool"))
        reading = HeightReading("fringes", height, 0.001, rested_minutes=600.0)
        found.append(ObservedVisit(hours(1000 + 20 * i), spells, (reading,), 10 + i))
    assert believe(found)[-1].rate(POLISH, "tool").median == pytest.approx(0.1, rel=0.2)


def test_the_other_piece_is_faster_and_goes_the_other_way():
    """A rate that was learned with the tool on top gives a wide guess of the other sign."""
    found, back = rate([0.05] * 6), rate([0.05] * 6, on_top="work")
    assert back.median == pytest.approx(-0.05 / 0.75, rel=0.4)  # a ratio known to 35 %
    assert back.low < back.median < back.high < 0
    assert back.low / back.high > found.high / found.low


def test_one_odd_spell_does_not_turn_the_sign():
    """A spell that went the other way is taken for one of its own; the rate keeps its sign."""
    assert rate([0.05, 0.05, -0.04]).low > 0
    assert rate([-0.04]).median > 0


def test_the_last_readings_error_is_weighed():
    """A last reading that jumps ahead of a steady rate is taken to err by some of that jump."""
    steady = visits([0.1] * 10)
    height = steady[-1].readings[0].height_um
    reading = HeightReading("fringes", height + 6.0, 2.0, rested_minutes=600.0)
    last = ObservedVisit(hours(1000), (Spell(POLISH, 30.0, "tool"),), (reading,), 12)
    found = believe([*steady, last])[-1].height
    assert 3.0 < found.median - height < 4.5  # 6 um read, 3 expected
    assert found.u < 1.2


def test_the_same_every_time():
    """Learning and forecasting draw no chance of their own."""
    one, other = (believe(visits([0.1, 0.13]))[-1] for _ in range(2))
    made = [forecast(b, POLISH, (("tool", 60.0),), 0.5) for b in (one, other)]
    assert made[0] == made[1]


def test_work_without_minutes_teaches_no_rate():
    """A spell whose minutes are not told moves the height, and hardly the rate."""
    known = visits([0.1] * 4)
    height = known[-1].readings[0].height_um
    reading = HeightReading("fringes", height + 20.0, 0.01, rested_minutes=600.0)
    odd = ObservedVisit(hours(500), (Spell(POLISH, None, "tool"),), (reading,), 6)
    before, after = (believe(one)[-1].rate(POLISH, "tool") for one in (known, [*known, odd]))
    assert after.median == pytest.approx(before.median, rel=0.1)


def test_one_grit_by_any_name():
    """A grit is one kind of work, however it is written."""
    names = ["#400", "F400", "400 grit", "carborundum #400"]
    measured = (Measured(-9.0, 0.05, "edge", wavelength_nm=WAVELENGTH_NM),)
    rows = [
        VisitRecord("s", hours(4 * i), Work(name, 30.0, "tool"), measured)
        for i, name in enumerate(names)
    ]
    belief = believe(observed(rows, WAVELENGTH_NM))[-1]
    assert belief.rate(GRIT, "tool").spells == 4
    assert [one.key for one in belief.layout.stages] == [GRIT.key]


def test_the_band_of_a_tolerance():
    """Analytic: fringes by half a wavelength, a radius by exact spheres; the stricter counts."""
    aperture = Aperture(3048.0, 150.0, WAVELENGTH_NM, "concave")
    by_power = half_width_um(Tolerance(2.0, wavelength_nm=WAVELENGTH_NM), None)
    assert by_power == pytest.approx(2 * 0.294645)
    radius = Tolerance(radius_difference_mm=1.5, wavelength_nm=WAVELENGTH_NM)
    step = abs(power_fringes(1.5, 3048.0, 150.0, WAVELENGTH_NM, "concave")) * 0.294645
    assert half_width_um(radius, aperture) == pytest.approx(step, rel=1e-3)
    both = Tolerance(2.0, radius_difference_mm=1.5, wavelength_nm=WAVELENGTH_NM)
    assert half_width_um(both, aperture) == pytest.approx(min(step, 2 * 0.294645), rel=1e-3)
    assert half_width_um(Tolerance(irregularity_fringes=0.3), aperture) is None
