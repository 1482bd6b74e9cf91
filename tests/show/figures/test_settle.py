from __future__ import annotations

import numpy as np
import pytest

from fringe.judge.settling.powers import SettlingPower
from fringe.judge.settling.settle import settle
from fringe.show.figures.settle import settle_figure


def made(count=9, span=60.0, tau=22.0, noise=0.02, sense="edge", limit=0.2):
    times = np.linspace(0, span, count)
    rng = np.random.default_rng(count)
    values = -2.2 - 1.2 * np.exp(-times / tau) + rng.normal(0, noise, count)
    powers = SettlingPower(tuple(values), (max(noise, 1e-3),) * count, 0.01, sense, 589.29)
    return times, powers, settle(times, values, max(noise, 1e-3), limit_fringes=limit)


def test_readings_and_fit_are_drawn():
    """Each reading stands at its minute with its 95 % bar, and the curve runs through them."""
    times, powers, found = made()
    (axes,) = settle_figure(times, powers, found).axes
    point, _, (bars,) = axes.containers[0].lines
    assert list(point.get_xdata()) == list(times)
    assert list(point.get_ydata()) == list(powers.powers_fringes)
    low, high = bars.get_segments()[0][:, 1]
    assert (high - low) / 2 == pytest.approx(1.96 * 0.02, rel=1e-3)
    curve = next(line for line in axes.lines if len(line.get_xdata()) > 50)
    at = np.interp(times[3], curve.get_xdata(), curve.get_ydata())
    assert at == pytest.approx(-2.2 - 1.2 * np.exp(-times[3] / 22), abs=0.05)


@pytest.mark.parametrize(
    "case",
    [
        {},
        {"count": 3},
        {"span": 5.0},
        {"tau": 0.5},
        {"noise": 1.0},
        {"sense": "unknown"},
        {"limit": None},
        {"count": 60, "span": 600.0},
    ],
)
def test_extremes_stay_clean(assert_clean, case):
    """No text overlaps or clips, from three readings to sixty, with open ends and wild scatter."""
    times, powers, found = made(**case)
    texts = " ".join(
        assert_clean(
            settle_figure(
                times,
                powers,
                found,
                surface_name="Name " * 20,
                diameter_mm=150.0,
                when="2026-03-14",
            )
        )
    )
    for fact in ("Name Name", "2026-03-14", "aperture ⌀ 150 mm", "λ = 589.29 nm"):
        assert fact in texts
