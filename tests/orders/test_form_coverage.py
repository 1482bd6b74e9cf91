"""Intervals of power and form hold the truth on rendered works, perfect spheres among them."""

from __future__ import annotations

import numpy as np
from form_coverage import QUANTITIES, Case, outcome
from scipy.stats import binom

# least coverage that is asked for, and the chance to fail it by bad luck at that coverage
LEAST, BAD_LUCK = 0.88, 1e-4
WORKS = 10


def test_intervals_hold_the_truth(rng: np.random.Generator) -> None:
    """Of ten works, clean and dirty, no fewer intervals hold the truth than luck would have.

    Power, B, C, rms and astigmatism, each at 88 % or more; every other work is a perfect sphere.
    tests/benchmarks/coverage.py counts as many as wanted.
    """
    cases = [
        Case(
            ("clean", "dirty", "dirty")[k % 3],
            bool(k % 2),
            "given",
            "untold" if k % 4 else "far",
            int(rng.integers(2**31)),
        )
        for k in range(WORKS)
    ]
    found = [one for one in (outcome(case, (320, 300)) for case in cases) if one.refused is None]
    assert len(found) > WORKS // 2
    for letter in QUANTITIES:
        held = sum(one.held(letter) for one in found)
        worst = max(found, key=lambda one: one.ratio(letter))
        assert held >= binom.ppf(BAD_LUCK, len(found), LEAST), (letter, worst)
