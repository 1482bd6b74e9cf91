"""What would settle an unproven verdict: held to what bettering that input really does."""

from __future__ import annotations

import pytest

from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance, surface_verdict
from fringe.judge.uncertainty.improve import what_settles
from fringe.judge.uncertainty.sources import Bench, reading_budgets, visit_measured
from fringe.orders.reading import Quality, Reading


def judged(power, limit, parts, rule="guard95", sense="centre"):
    """Budget and verdict of one reading of some parts."""
    one = Reading(
        589.3, Quality(0.8, 1.0, 0.1), power_fringes=power, sense=sense, power_u_parts=parts
    )
    found = reading_budgets([one], Bench(), trials=0)
    tolerance = Tolerance(power_fringes=limit, rule=rule)
    return found["power"], surface_verdict(visit_measured([one], Bench()), tolerance)


@pytest.mark.parametrize("rule", ["guard95", "shrinkU"])
@pytest.mark.parametrize("power", [1.85, 2.15])
def test_the_factor_is_what_it_takes(power, rule):
    """Bettered by the stated factor the verdict is proven, by a tenth less it is not (analytic)."""
    parts = {"edge": 0.15, "fit": 0.03}
    budget, verdict = judged(power, 2.0, parts, rule)
    assert verdict.state == "unproven"
    first = what_settles(budget, verdict).suggestions[0]
    assert first.input == "edge"
    for share, proven in ((1.001, True), (0.9, False)):
        bettered = parts | {"edge": parts["edge"] / (first.factor * share)}
        state = judged(power, 2.0, bettered, rule)[1].state
        assert (state != "unproven") is proven


def test_needed_uncertainty():
    """The needed uncertainty is the margin over 1.645 (analytic)."""
    budget, verdict = judged(1.9, 2.0, {"edge": 0.15})
    assert what_settles(budget, verdict).u_needed == pytest.approx(0.1 / 1.644854, rel=1e-6)


def test_no_single_input_settles_it():
    """Where two inputs are equally bad, both are named together."""
    budget, verdict = judged(1.9, 2.0, {"edge": 0.15, "fit": 0.15})
    settling = what_settles(budget, verdict)
    assert "edge and fit together" in settling.text.replace("fit and edge", "edge and fit")
    assert all(one.factor is None for one in settling.suggestions)


def test_what_no_measurement_settles():
    """On the limit, of unknown sense, and not measured: each has its own answer."""
    budget, verdict = judged(2.0, 2.0, {"edge": 0.1})
    assert "no better measurement" in what_settles(budget, verdict).text
    budget, verdict = judged(1.0, 2.0, {"edge": 0.1})
    assert "nothing to settle" in what_settles(budget, verdict).text
    missing = surface_verdict(Measured(1.0, None, "centre"), Tolerance(power_fringes=2.0))
    assert "must be measured" in what_settles(budget, missing).text


def test_more_readings():
    """Where repeatability is the trouble, the answer is how many times as many readings."""
    readings = [
        Reading(
            589.3,
            Quality(0.8, 1, 0.1),
            power_fringes=p,
            sense="centre",
            power_u_parts={"fit": 0.01},
        )
        for p in (1.55, 1.95, 1.75, 1.8)
    ]
    found = reading_budgets(readings, Bench(), trials=0)
    verdict = surface_verdict(visit_measured(readings, Bench()), Tolerance(power_fringes=1.85))
    assert verdict.state == "unproven"
    assert "times as many readings" in what_settles(found["power"], verdict).text


def test_json():
    """The JSON names the inputs, factors and advice."""
    values = what_settles(*judged(1.85, 2.0, {"edge": 0.15, "fit": 0.03})).to_json()
    assert values["suggestions"][0]["input"] == "edge"
    assert "--edge" in values["suggestions"][0]["advice"]
