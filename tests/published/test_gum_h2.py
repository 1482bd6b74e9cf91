"""Resistance and reactance measured at once: the GUM's example H.2, with correlations.

Sources
-------
MEMORY the data of table H.2 and the printed results: R = 127.732 (0.071), X = 219.847 (0.295),
       Z = 254.260 (0.236) ohm; correlations -0.588, -0.485, 0.993.
RUN    the same data with GTC 1.5.1: 127.7322 (0.0711), 219.8465 (0.2956), 254.2597 (0.2363);
       -0.5884, -0.4853, 0.9925. That it agrees with the recalled print supports both.
"""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest

from fringe.judge.uncertainty.budget import Budgets, budgets
from fringe.judge.uncertainty.model import Input

DATA = {
    "V": (5.007, 4.994, 5.005, 4.990, 4.999),
    "I": (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3),
    "phi": (1.0456, 1.0438, 1.0468, 1.0428, 1.0433),
}
MODELS = {
    ("R", "ohm"): lambda x: x["V"] / x["I"] * np.cos(x["phi"]),
    ("X", "ohm"): lambda x: x["V"] / x["I"] * np.sin(x["phi"]),
    ("Z", "ohm"): lambda x: x["V"] / x["I"],
}


@pytest.fixture(scope="module")
def impedance() -> Budgets:
    """Return the budgets of all three results from the means of five observations."""
    count = len(DATA["V"])
    inputs = [
        Input(
            name,
            np.mean(values),
            np.std(values, ddof=1) / math.sqrt(count),
            dof=count - 1,
            dof_group="together",
        )
        for name, values in DATA.items()
    ]
    r = np.corrcoef([DATA[name] for name in DATA])
    names = list(DATA)
    correlations = {(names[i], names[j]): float(r[i, j]) for i in range(3) for j in range(i + 1, 3)}
    return budgets(MODELS, inputs, correlations, trials=0)


@pytest.mark.parametrize(
    ("name", "value", "u"),
    [("R", 127.7322, 0.0711), ("X", 219.8465, 0.2956), ("Z", 254.2597, 0.2363)],
)
def test_results(impedance, name, value, u):
    """Resistance, reactance and impedance with their uncertainties (analytic; as printed)."""
    assert impedance[name].value == pytest.approx(value, abs=5e-5)
    assert impedance[name].u == pytest.approx(u, abs=5e-5)


@pytest.mark.parametrize(
    ("first", "second", "r"), [("R", "X", -0.5884), ("R", "Z", -0.4853), ("X", "Z", 0.9925)]
)
def test_correlations_of_the_results(impedance, first, second, r):
    """Shared observations correlate the results, by -0.588, -0.485, 0.993 (published)."""
    assert impedance.correlation_of(first, second) == pytest.approx(r, abs=5e-5)


@pytest.mark.parametrize(
    ("name", "value", "u"), [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)]
)
def test_printed_digits(impedance, name, value, u):
    """The digits that the GUM prints come out, to one in its last place (published; recalled)."""
    assert impedance[name].value == pytest.approx(value, abs=1e-3)
    assert impedance[name].u == pytest.approx(u, abs=1e-3)


def test_shares_add_up_with_correlations(impedance):
    """Shares add up to one although some are taken away by correlation (analytic)."""
    for budget in impedance.results.values():
        assert sum(row.share for row in budget.rows) == pytest.approx(1.0)


def test_gtc_agrees(impedance):
    """GTC gives the same uncertainties and, all observed at once, 4 degrees (analytic)."""
    v, i, phi = GTC.ta.multi_estimate_real([DATA["V"], DATA["I"], DATA["phi"]])
    theirs = {"R": v / i * GTC.cos(phi), "X": v / i * GTC.sin(phi), "Z": v / i}
    for name, one in theirs.items():
        assert impedance[name].u == pytest.approx(GTC.uncertainty(one), rel=1e-6)
        assert impedance[name].dof == pytest.approx(GTC.dof(one), rel=1e-6)
