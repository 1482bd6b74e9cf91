"""The check of a budget by propagation of distributions (JCGM 101:2008): draws, and what they say.

Draws come from a seeded generator, so that the same budget says the same twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput
from fringe.student_t import coverage_factor

if TYPE_CHECKING:
    from fringe.judge.uncertainty.model import Input, Model


@dataclass(frozen=True)
class MonteCarlo:
    """The check by propagation of distributions.

    Attributes
    ----------
    trials : int
        Number of draws.
    mean, u : float
        Mean and standard deviation of the result.
    low, high : float
        Ends of the interval that leaves 2.5 % on each side.
    agrees : bool
        Whether both ends of the first-order interval lie within `tolerance` of them.
    tolerance : float
        0.05 u: half a unit in the second figure of an uncertainty of 1.0. With fewer than
        50,000 draws it is four times the scatter of the ends themselves, which is more.
    """

    trials: int
    mean: float
    u: float
    low: float
    high: float
    agrees: bool
    tolerance: float


def draw_inputs(inputs: Sequence[Input], matrix: Any, trials: int, seed: int) -> dict[str, Any]:
    """Draw all inputs (JCGM 101:2008, 6.4); correlated ones are taken as normal."""
    import numpy as np

    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    unit = rng.standard_normal((trials, len(inputs))) @ root.T
    draws = {}
    for i, one in enumerate(inputs):
        tied = np.count_nonzero(matrix[i]) > 1
        if one.distribution == "rectangular" and not tied:
            unit[:, i] = rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), trials)
        draws[one.name] = one.value + one.u * unit[:, i]
    return draws


def run_model(model: Model, draws: Mapping[str, Any], trials: int) -> Any:
    """Results of all draws, shape (trials,); fewer where the model takes single numbers only."""
    import numpy as np

    try:
        return np.broadcast_to(np.asarray(model(draws), dtype=float), (trials,))
    except (TypeError, ValueError):  # what `math` and an `if` say to an array
        fewer = min(trials, 50_000)
    sample = np.empty(fewer)
    for k in range(fewer):
        try:
            sample[k] = model({name: float(column[k]) for name, column in draws.items()})
        except BadInput:  # a draw outside what the model allows
            sample[k] = np.nan
    return sample


def check_first_order(value: float, u: float, sample: Any) -> MonteCarlo:
    """Hold the first-order interval against that of the draws (JCGM 101:2008, clause 8).

    Both with the standard uncertainties as they are; degrees of freedom come in by the
    coverage factor afterwards, so that what is tested is the straight line alone.
    """
    import numpy as np

    sound = sample[np.isfinite(sample)]
    if sound.size < 2:
        raise BadInput("budget: the uncertainties are so large that no draw can be evaluated")
    low, high = np.quantile(sound, [0.025, 0.975])
    half, tolerance = coverage_factor() * u, max(0.05, 4 * _end_noise(sound.size)) * u
    slack = tolerance + 1e-12 * abs(value)
    agrees = (
        sound.size == sample.size
        and abs(value - half - low) <= slack
        and abs(value + half - high) <= slack
    )
    return MonteCarlo(
        trials=int(sample.size),
        mean=float(sound.mean()),
        u=float(sound.std()),
        low=float(low),
        high=float(high),
        agrees=bool(agrees),
        tolerance=tolerance,
    )


def _end_noise(trials: int) -> float:
    """Standard deviation of an end of the draws' 95 % interval, in units of u.

    That of a sample's quantile of probability p, sqrt(p (1 - p) / n) / density, for a normal
    distribution (textbook, from memory).
    """
    density = math.exp(-(coverage_factor() ** 2) / 2) / math.sqrt(2 * math.pi)
    return math.sqrt(0.025 * 0.975 / trials) / density
