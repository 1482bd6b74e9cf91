"""Rates and forecasts: held against arithmetic, and against what simulated work then does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from simulated_histories import WAVELENGTH_NM, outcome

from fringe.judge.progress import visit_rows
from fringe.judge.state.forecast import forecast, minutes_to_band
from fringe.judge.state.history import half_width_um, rate_history, usual_minutes
from fringe.judge.state.rates import HeightChange, Kind, Mixture, learn
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.tolerance import Aperture
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes
from sample_visits import hours

POLISH = Kind("polish", "tool")
GRIT = Kind("17.3 um", "tool")


def spells(rates, minutes=30.0, u=0.001, kind=POLISH):
    """Changes of a surface whose spells had these rates [um/min]."""
    return [
        HeightChange(rate * minutes, u, u, ((kind, minutes),), follows=i > 0)
        for i, rate in enumerate(rates)
    ]


def test_forecasts_cover_what_happens(rng):
    """Of 1250 simulated shops, 85 to 95 % reach the tolerance within the 90 % interval.

    Each has a history of 1 to 8 spells, or none and like surfaces, or both; rates and spells
    are gamma-distributed, which the model does not know. The same of where the next spell
    ends. The bounds are the claim; the sampling error is 0.9 %.
    """
    counts = [(1, 0), (2, 0), (4, 0), (8, 0), (0, 3), (0, 8), (1, 4), (3, 6)]
    found = [outcome(rng, *counts[i % len(counts)]) for i in range(1250)]
    covered = np.mean([one.covered for one in found])
    after = np.mean([one.after_covered for one in found if one.after_covered is not None])
    assert 0.85 <= covered <= 0.95
    assert 0.85 <= after <= 0.95


def test_chances_come_true(rng):
    """Of simulated next spells, as many end inside as their chances add up to, within 4 %.

    They fall short by 2.5 % in the long run, since the model takes for normal what is skewed.
    Beyond the 4 %, five standard deviations of a sum of such chances.
    """
    found = [outcome(rng, 3, 3) for _ in range(800)]
    told = [one for one in found if one.forecast.inside_after is not None]
    chances = np.array([one.forecast.inside_after for one in told])
    inside = np.array([abs(one.after_um) <= one.forecast.half_width_um for one in told])
    sigma = math.sqrt(np.sum(chances * (1 - chances)))
    assert inside.sum() == pytest.approx(chances.sum(), abs=5 * sigma + 0.04 * len(told))


def test_a_steady_rate_is_learned():
    """Analytic: equal precise spells leave their rate, and little doubt of it."""
    found = learn(POLISH, spells([0.1] * 12), -1.0, 0.001)
    assert np.median(found.rate_um_min) == pytest.approx(0.1, rel=0.01)
    low, high = found.interval()
    assert 0.08 < low < 0.1 < high < 0.12
    assert (found.spells, found.minutes, found.surfaces) == (12, 360.0, 0)


def test_unsteady_spells_widen_the_interval():
    """Spells that differ foretell spells that differ."""
    low, high = learn(POLISH, spells([0.05, 0.15, 0.09, 0.12, 0.06, 0.13]), -1.0, 0.001).interval()
    assert low < 0.06
    assert high > 0.14


def test_own_spells_count_first():
    """Three own spells outweigh eight surfaces twice as fast; without own, these decide."""
    like = [spells([rate, rate * 1.1]) for rate in (0.18, 0.2, 0.22, 0.2, 0.19, 0.21, 0.2, 0.23)]
    own = learn(POLISH, spells([0.1, 0.11, 0.09]), -1.0, 0.001, like)
    assert np.median(own.rate_um_min) == pytest.approx(0.1, rel=0.1)
    assert own.surfaces == 8
    alone = learn(POLISH, [], -1.0, 0.001, like)
    assert np.median(alone.rate_um_min) == pytest.approx(0.21, rel=0.1)
    assert np.diff(alone.interval())[0] > np.diff(own.interval())[0]
    one = learn(POLISH, [], -1.0, 0.001, like[:1])
    assert np.diff(one.interval())[0] > np.diff(alone.interval())[0]


def test_mixed_work_teaches_its_parts():
    """Analytic: two stages in one change, one of them known otherwise, leave the other's rate."""
    grit = spells([1.0] * 8, 10.0, kind=GRIT)
    both = [HeightChange(10.0 + 0.1 * 30, 0.001, 0.001, ((GRIT, 10.0), (POLISH, 30.0)))] * 8
    found = learn(POLISH, [*grit, *both], -1.0, 0.001)
    assert np.median(found.rate_um_min) == pytest.approx(0.1, rel=0.35)


def test_nothing_known():
    """A kind of work that was never logged has no rate; its reverse gives a wide guess."""
    assert learn(GRIT, spells([0.1]), -1.0, 0.001) is None
    back = learn(Kind("polish", "work"), spells([0.1] * 6), 1.0, 0.001)
    assert back.borrowed
    assert np.median(back.rate_um_min) == pytest.approx(-0.1, rel=0.05)
    low, high = back.interval()
    assert low / high > 3
    assert learn(Kind("polish"), spells([0.1]), -1.0, 0.001) is None


def test_the_last_readings_error_is_weighed():
    """A last reading that jumps ahead of a steady rate is taken to err by some of that jump."""
    steady = spells([0.1] * 10, u=0.001)
    jump = HeightChange(6.0, 0.001, 2.0, ((POLISH, 30.0),), follows=True)
    found = learn(POLISH, [*steady, jump], -5.0, 2.0)
    assert -9.0 < np.mean(found.height_um) < -7.0  # 6 um read, 3 expected: some 3 too much
    assert np.std(found.height_um) < 1.0


def test_the_same_every_time():
    """Learning and forecasting draw no chance of their own."""
    one, other = (learn(POLISH, spells([0.1, 0.13]), -3.0, 0.1) for _ in range(2))
    assert np.array_equal(one.rate_um_min, other.rate_um_min)
    assert forecast(POLISH, one, 0.5, 30.0) == forecast(POLISH, other, 0.5, 30.0)


def certain(height, rate):
    """A state and a rate without doubt."""
    full = np.ones(50)
    return Mixture(height * full, rate * full, 0 * full, 3, 90.0, 0)


@pytest.mark.parametrize(
    ("height", "rate", "minutes"),
    [(-5.0, 0.1, 45.0), (5.0, -0.1, 45.0), (0.3, 0.1, 0.0), (-5.0, -0.1, math.inf),
     (-5.0, 0.0, math.inf), (-2000.0, 0.1, math.inf)],
)  # fmt: skip
def test_time_to_the_band(height, rate, minutes):
    """Analytic: the way to the nearer limit over the rate; never where it leads away."""
    times = minutes_to_band(certain(height, rate), 0.5, 30.0, 6000.0)
    assert times == pytest.approx(minutes)


def test_the_advised_spell():
    """Analytic: without doubt the advised spell ends in the middle, and is inside for sure."""
    found = forecast(POLISH, certain(-5.0, 0.1), 0.5, 30.0)
    assert found.advised_minutes == pytest.approx(50.0)
    assert found.after_um.median == pytest.approx(0.0, abs=1e-9)
    assert (found.inside_after, found.chance) == (1.0, 1.0)
    assert forecast(POLISH, certain(-5.0, -0.1), 0.5, 30.0).advised_minutes is None
    assert forecast(POLISH, certain(-500.0, 0.1), 0.5, 30.0).advised_minutes == 480.0


def test_doubt_shortens_the_advised_spell():
    """The less the rate is known, the shorter the spell, and 5 % at most pass through."""
    sure = forecast(POLISH, learn(POLISH, spells([0.1] * 12), -5.0, 0.001), 0.5, 30.0)
    mixture = learn(POLISH, spells([0.1]), -5.0, 0.001)
    doubtful = forecast(POLISH, mixture, 0.5, 30.0)
    assert doubtful.advised_minutes < sure.advised_minutes < 50
    ends = -5.0 + doubtful.advised_minutes * (
        mixture.rate_um_min + mixture.spell_um_min * np.random.default_rng(5).normal(size=4000)
    )
    assert np.mean(ends > 0.5) < 0.07


def visit(power, minutes=30.0, stage="polish", sense=None, u=0.05):
    """A visit with one reading of power after polishing."""
    sense = sense or ("centre" if power >= 0 else "edge")
    one = Measured(power, u, sense, wavelength_nm=WAVELENGTH_NM)
    return VisitRecord("s", hours(0), Work(stage, minutes, "tool"), (one,))


def lived(*visits):
    """What the learning takes of visits."""
    return rate_history(visit_rows(visits, WAVELENGTH_NM), WAVELENGTH_NM)


def test_changes_of_a_life():
    """Analytic: heights are fringes times half a wavelength, and each change has its spells."""
    found = lived(visit(-9.0), visit(-5.0, 20.0), visit(-3.0, 25.0))
    assert [one.height_um for one in found.changes] == pytest.approx([4 * 0.294645, 2 * 0.294645])
    assert [one.minutes for one in found.changes] == [((POLISH, 20.0),), ((POLISH, 25.0),)]
    assert [one.follows for one in found.changes] == [False, True]
    assert found.height_um == pytest.approx(-3 * 0.294645)
    assert found.u_um == pytest.approx(0.05 * 0.294645)


def test_what_teaches_nothing():
    """Work without minutes breaks the chain; readings of unknown sense are passed over."""
    unknown = visit(7.0, 20.0, sense="unknown")
    found = lived(visit(-9.0), unknown, visit(-5.0, 20.0))
    assert [one.minutes for one in found.changes] == [((POLISH, 20.0), (POLISH, 20.0))]
    broken = lived(visit(-9.0), visit(-5.0, None), visit(-3.0, 20.0))
    assert [one.height_um for one in broken.changes] == pytest.approx([2 * 0.294645])
    assert not broken.changes[0].follows
    bare = VisitRecord("s", hours(0), Work("polish", 10.0, "tool"))
    assert lived(visit(-9.0), bare).unread
    assert not lived(visit(-9.0)).unread


def test_one_grit_by_any_name():
    """A grit is one kind of work, however it is written."""
    names = ["#400", "F400", "400 grit", "carborundum #400"]
    found = lived(*(visit(-90.0 + i, stage=name) for i, name in enumerate(names)))
    assert {kind for one in found.changes for kind, _ in one.minutes} == {GRIT}


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


def test_usual_spells():
    """How long a spell lasts: this surface's own median, else the others', else half an hour."""
    own, other = spells([0.1, 0.1], 20.0), spells([0.1], 50.0)
    assert usual_minutes(POLISH, own, [other]) == 20.0
    assert usual_minutes(POLISH, [], [other]) == 50.0
    assert usual_minutes(GRIT, own, [other]) == 30.0
