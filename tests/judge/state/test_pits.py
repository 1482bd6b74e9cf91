"""Depth of pits by rates, gauge and loupe."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from fringe.judge.state.abrasives import stage
from fringe.judge.state.observed import ObservedVisit, Spell
from fringe.judge.state.pits import TAIL_DOF, PitsBelief, PitsFilter, log_evidence
from fringe.judge.state.shop import Layout
from sample_visits import hours

GRITS = [stage(name) for name in ("#120", "#240", "#400", "#800")]
POLISH = stage("polish")


def believed(*spells: Spell) -> PitsBelief:
    """Pits after one visit a spell."""
    found = PitsFilter(Layout().extended([*GRITS, POLISH]))
    for number, spell in enumerate(spells, 1):
        found.step(ObservedVisit(hours(number), (spell,), (), number))
    belief = found.belief()
    assert belief is not None
    return belief


def test_new_grit_has_the_pits_of_the_one_before() -> None:
    """After a minute of a finer grit, the pits of the coarser one are left, and it is named."""
    found = believed(Spell(GRITS[1], 120.0, "work"), Spell(GRITS[2], 1.0, "work"))
    assert found.left_by == "#240"
    assert found.chance_left > 0.98
    assert found.minutes_needed(GRITS[2], 0.9) > found.minutes_needed(GRITS[2], 0.5) > 10


def test_gauge_tells_the_rate() -> None:
    """Removed glass by a gauge teaches a stage's rate to the gauge's own uncertainty (analytic)."""
    rate = 2.2
    spells = [Spell(GRITS[2], 60.0, "work", rate * 60) for _ in range(4)]
    found = believed(*spells)
    before = believed(Spell(GRITS[2], 60.0, "work")).removal_um_min(GRITS[2])
    assert found.removal_um_min(GRITS[2]) == pytest.approx(rate, rel=0.15)
    assert abs(before - rate) > 0.5


def test_loupe_decides() -> None:
    """What a loupe sees three times outweighs what the rates foretell."""
    start = Spell(GRITS[1], 120.0, "work")
    gone = [Spell(GRITS[2], 12.0, "work", pits="gone") for _ in range(3)]
    left = [Spell(GRITS[2], 20.0, "work", pits="left") for _ in range(3)]
    assert believed(start, *gone).chance_left < 0.1
    assert believed(start, Spell(GRITS[2], 36.0, "work")).chance_left > 0.4
    assert believed(start, *left).chance_left > 0.9
    assert believed(start, Spell(GRITS[2], 60.0, "work")).chance_left < 0.3


def test_wrong_minutes_show_in_the_gauge() -> None:
    """Half the minutes logged, twice the glass removed: the gauge's evidence says so."""
    found = PitsFilter(Layout().extended([*GRITS, POLISH]))
    for number in range(1, 5):
        spell = Spell(GRITS[2], 40.0, "work", 56.0)
        found.step(ObservedVisit(hours(number), (spell,), (), number))
    wrong = Spell(GRITS[2], 20.0, "work", 56.0)
    gauged = found.step(ObservedVisit(hours(5), (wrong,), (), 5))
    assert gauged is not None
    evidence = gauged.evidence
    assert max(evidence, key=lambda factor: evidence[factor]) == 2.0
    assert evidence[2.0] - evidence[1.0] > 1.0


def test_evidence_of_a_gauge_holds_its_own_error() -> None:
    """The likelihood is the integral over removal and gauge error (SciPy's quadrature)."""

    def density(log: float) -> float:
        return float(
            stats.t(TAIL_DOF).pdf((log - middle) / spread)
            / spread
            * np.exp(-0.5 * ((told - np.exp(log)) / u) ** 2)
        )

    for told, u, middle, spread in ((3.0, 2.0, 2.2, 0.3), (140.0, 7.0, 4.6, 0.2)):
        found = log_evidence(told, u, middle, spread)
        ends = middle - 8 * spread, middle + 8 * spread
        wanted = integrate.quad(density, *ends, points=[np.log(told)], limit=400)[0]
        assert found == pytest.approx(np.log(wanted), abs=0.02)


def test_chance_falls_with_work_to_come() -> None:
    """More minutes leave pits less often, and the minutes needed for a chance give that chance."""
    found = believed(Spell(GRITS[1], 120.0, "work"), Spell(GRITS[2], 5.0, "work"))
    minutes = found.minutes_needed(GRITS[2], 0.9, "work")
    chances = [
        found.chance_left_after([Spell(GRITS[2], m, "work")]) for m in (0.5 * minutes, minutes)
    ]
    assert chances[0] > chances[1]
    assert chances[1] == pytest.approx(0.1, abs=0.03)
