"""Numbers drawn without `numpy.random`: their distribution, and that they are always the same."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.orders.draws import Draws


def test_the_published_sequence() -> None:
    """The first word of seed zero is that of SplitMix64 (known value, from memory)."""
    assert Draws(0).uniform(1)[0] == (0xE220A8397B1DCDAF >> 11) / 2**53


def test_distributions() -> None:
    """Means, deviations and lack of correlation within four standard errors."""
    draws = Draws(1)
    flat, normal = draws.uniform(4000), draws.normal(4000)
    assert flat.mean() == pytest.approx(0.5, abs=4 * np.sqrt(1 / 12 / 4000))
    assert normal.mean() == pytest.approx(0, abs=4 / np.sqrt(4000))
    assert normal.std() == pytest.approx(1, abs=4 / np.sqrt(2 * 4000))
    assert abs(np.corrcoef(flat[1:], flat[:-1])[0, 1]) < 4 / np.sqrt(4000)
    assert set(draws.integers(7, 500)) == set(range(7))
    assert np.array_equal(Draws(3).uniform(5), Draws(3).uniform(5))


def test_places_by_weight() -> None:
    """Different places, heavier ones more often; all where there are no more."""
    weight = np.repeat([1.0, 4.0], 1000)
    chosen = Draws(2).some(weight, 300)
    assert len(set(chosen)) == 300
    assert 0.7 < (chosen >= 1000).mean() < 0.86
    assert list(Draws(2).some(np.ones(3), 5)) == [0, 1, 2]
