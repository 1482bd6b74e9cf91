"""The check of a budget by propagation of distributions (JCGM 101:2008): draws, and what they say.

Draws come from a seeded generator, so that the same budget says the same twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput
from fringe.student_t import coverage_factor, student_density

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
        Mean and standard deviation of the draws. With an input of two degrees of freedom or
        fewer their distribution has no standard deviation, and `u` depends on the seed.
    low, high : float
        Ends of the interval that leaves 2.5 % on each side.
    agrees : bool
        Whether first order is good enough, all standard uncertainties taken as known: both ends
        of its interval lie within 0.05 u of those of the draws, half a unit in the second
        figure of an uncertainty of 1.0. Where the ends themselves scatter more, by few draws
        or long tails, four times that scatter.
    dof_agrees : bool
        Whether `low` and `high` lie as near to the interval with the effective degrees of
        freedom (Welch and Satterthwaite).
    dof : float or None
        Degrees of freedom that the first-order interval was made with.
    """

    trials: int
    mean: float
    u: float
    low: float
    high: float
    agrees: bool
    dof_agrees: bool
    dof: float | None = None


@dataclass(frozen=True)
class Draws:
    """Draws of all inputs, from their names to arrays of shape (trials,).

    Attributes
    ----------
    values : mapping
        With the long tails of inputs that few readings tell.
    known : mapping
        The same as if each standard uncertainty were known.
    """

    values: Mapping[str, Any]
    known: Mapping[str, Any]

    @property
    def all_known(self) -> bool:
        """Whether no input has a long tail, so that both are the same."""
        return all(self.values[name] is self.known[name] for name in self.known)


def draw_inputs(inputs: Sequence[Input], matrix: Any, trials: int, seed: int) -> Draws:
    """Draw all inputs, from the distributions that their degrees of freedom give them.

    Parameters
    ----------
    inputs : sequence of Input
        With `dof`, an input is drawn from a scaled and shifted t distribution, whose standard
        deviation is sqrt(dof / (dof - 2)) times its `u`.
    matrix : ndarray, shape (inputs, inputs)
        Their correlations. Correlated inputs of separate estimates are taken as normal.
    trials, seed : int
        Number of draws, and seed of the generator.

    Returns
    -------
    Draws

    References
    ----------
    JCGM 101:2008, 6.4.9.2 (t distribution for repeated indications). Inputs of one `dof_group`
    had one estimate of their scatter, so they share its draw: a multivariate t, as
    JCGM 102:2011, 5.3.2, has it (both from memory).
    """
    import numpy as np

    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    unit = rng.standard_normal((trials, len(inputs))) @ root.T
    scales: dict[tuple[str, float], Any] = {}
    values_of, known = {}, {}
    for i, one in enumerate(inputs):
        tied = np.count_nonzero(matrix[i]) > 1
        if one.distribution == "rectangular" and not tied:
            unit[:, i] = rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), trials)
        known[one.name] = values_of[one.name] = one.value + one.u * unit[:, i]
        if one.distribution == "rectangular" and not tied:
            continue
        if one.dof is not None and math.isfinite(one.dof) and (one.dof_group or not tied):
            key = (one.dof_group or f"#{i}", one.dof)
            if key not in scales:
                scales[key] = np.sqrt(one.dof / rng.chisquare(one.dof, trials))
            values_of[one.name] = one.value + one.u * unit[:, i] * scales[key]
    return Draws(values_of, known)


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


def run_both(model: Model, draws: Draws, trials: int) -> tuple[Any, Any]:
    """Results of all draws, and of those with known uncertainties."""
    sample = run_model(model, draws.values, trials)
    return sample, sample if draws.all_known else run_model(model, draws.known, trials)


def check_first_order(
    value: float, u: float, samples: tuple[Any, Any], dof: float | None = None
) -> MonteCarlo:
    """Hold first order against the draws (JCGM 101:2008, clause 8).

    The straight line and the degrees of freedom are held against them one by one: of few
    readings the effective degrees of freedom are a guess, however straight the model is.

    Parameters
    ----------
    value, u, dof : float, float, float or None
        Result of first order, its standard uncertainty and effective degrees of freedom.
    samples : pair of ndarray, shape (trials,)
        The result of each draw, and of each with known uncertainties (`Draws`); not finite
        where the model has none.

    Raises
    ------
    BadInput
        If fewer than two draws can be evaluated.
    """
    import numpy as np

    sound, known = (each[np.isfinite(each)] for each in samples)
    if min(sound.size, known.size) < 2:
        raise BadInput("budget: the uncertainties are so large that no draw can be evaluated")
    low, high = np.quantile(sound, [0.025, 0.975])

    def near(ends: Any, dof: float | None) -> bool:
        half, slack = coverage_factor(dof) * u, max(0.05, 4 * _end_noise(sound.size, dof)) * u
        slack += 1e-12 * abs(value)
        away = max(abs(value - half - ends[0]), abs(value + half - ends[1]))
        return bool(away <= slack)

    return MonteCarlo(
        trials=int(samples[0].size),
        mean=float(sound.mean()),
        u=float(sound.std()),
        low=float(low),
        high=float(high),
        agrees=bool(
            known.size == samples[1].size and near(np.quantile(known, [0.025, 0.975]), None)
        ),
        dof_agrees=bool(near((low, high), dof)),
        dof=dof,
    )


def _end_noise(trials: int, dof: float | None) -> float:
    """Standard deviation of an end of the draws' 95 % interval, in units of u.

    That of a sample's quantile of probability p, sqrt(p (1 - p) / n) / density, for a t or
    normal distribution (textbook, from memory).
    """
    return math.sqrt(0.025 * 0.975 / trials) / student_density(coverage_factor(dof), dof)
