"""Where an uncertainty comes from: inputs, sensitivities, shares and degrees of freedom.

First order (JCGM 100:2008, 5.1 and 5.2, with correlations) and effective degrees of freedom
after Welch and Satterthwaite (the same, G.4). A Monte Carlo run (JCGM 101:2008) says whether
first order was good enough. Inputs that a chain of pieces shares stay one input, so what
cancels in a difference cancels here as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fringe.errors import BadInput
from fringe.format import fixed, plus_minus, uncertainty_decimals
from fringe.judge.uncertainty.model import Input, Model
from fringe.judge.uncertainty.montecarlo import (
    MonteCarlo,
    check_first_order,
    draw_inputs,
    run_both,
)
from fringe.quantity import half_width
from fringe.student_t import coverage_factor, effective_dof


@dataclass(frozen=True)
class Row:
    """One line of a budget.

    Attributes
    ----------
    input : Input
        The input quantity.
    sensitivity : float
        Change of the result for a change of the input [result's unit / input's unit].
    contribution : float
        sensitivity times u, with sign [result's unit].
    share : float
        Part of the result's variance; all shares add up to one. Below zero where a
        correlation takes away.
    """

    input: Input
    sensitivity: float
    contribution: float
    share: float


@dataclass(frozen=True)
class Budget:
    """A result with the budget of its uncertainty.

    Attributes
    ----------
    name, unit : str
        What it is, and its unit.
    value, u : float
        Value and standard uncertainty.
    dof : float or None
        Effective degrees of freedom; None: unlimited.
    rows : tuple of Row
        Largest contribution first.
    monte_carlo : MonteCarlo or None
        The check, if it was run.
    """

    name: str
    unit: str
    value: float
    u: float
    dof: float | None
    rows: tuple[Row, ...] = field(repr=False)
    monte_carlo: MonteCarlo | None = None

    @property
    def u95(self) -> float:
        """Half-width of the 95 % interval (Student t with the effective degrees of freedom)."""
        return half_width(self.u, self.dof)

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the 95 % interval; those of the Monte Carlo run where first order fails."""
        check = self.monte_carlo
        if check is not None and not check.agrees:
            # the draws have the tails of their inputs; what the result's own degrees of freedom
            # say beyond those of the inputs comes on top
            wider = coverage_factor(self.dof) / coverage_factor(check.dof)
            return (
                self.value + wider * (check.low - self.value),
                self.value + wider * (check.high - self.value),
            )
        return self.value - self.u95, self.value + self.u95

    @property
    def warning(self) -> str | None:
        """Say that first order is not good enough, with the interval to use; else None."""
        check = self.monte_carlo
        if check is None or check.agrees:
            return None
        decimals = uncertainty_decimals(self.u or check.u)
        low, high = (fixed(end, decimals) for end in self.interval)
        return (
            f"{self.name}: first order is not good enough; "
            f"95 % lie between {low} and {high} {self.unit}"
        )

    @property
    def few_readings(self) -> str | None:
        """Say how far t draws reach where effective degrees of freedom are a poor guess."""
        check = self.monte_carlo
        if check is None or check.dof is None or not check.agrees or check.dof_agrees:
            return None
        decimals = uncertainty_decimals(self.u)
        low, high = (fixed(end, decimals) for end in (check.low, check.high))
        return f"few readings: 95 % of draws from t lie between {low} and {high} {self.unit}"

    def half_width(self, row: Row) -> float:
        """What a row gives to the 95 % interval [result's unit].

        By the result's own coverage factor, so that the rows add up in squares to `u95`.
        """
        return half_width(abs(row.contribution), self.dof)

    @property
    def text(self) -> str:
        """Value ± U with its unit; with a sign where it may be of either."""
        signed = not self.name.endswith(("radius", "irregularity"))
        return plus_minus(self.value, self.u95, self.unit, signed=signed)

    def to_json(self) -> dict[str, object]:
        """Return the result, its rows and the Monte Carlo check with plain numbers."""
        check = self.monte_carlo
        return {
            "name": self.name,
            "unit": self.unit,
            "value": self.value,
            "u": self.u,
            "dof": self.dof,
            "u95": self.u95,
            "rows": [
                {
                    "input": row.input.name,
                    "value": row.input.value,
                    "u": row.input.u,
                    "unit": row.input.unit,
                    "dof": row.input.dof,
                    "source": row.input.source or None,
                    "sensitivity": row.sensitivity,
                    "contribution": abs(row.contribution),
                    "share": row.share,
                }
                for row in self.rows
            ],
            "monte_carlo": None
            if check is None
            else {
                "trials": check.trials,
                "mean": check.mean,
                "u": check.u,
                "low": check.low,
                "high": check.high,
                "agrees": check.agrees,
                "dof_agrees": check.dof_agrees,
            },
            "warning": self.warning,
        }


@dataclass(frozen=True)
class Budgets:
    """Budgets of several results and the correlations between them.

    Attributes
    ----------
    results : dict
        From result name to its Budget, in the order of the models.
    correlation : list of list of float
        Correlation matrix of the results, in that order.
    """

    results: dict[str, Budget]
    correlation: list[list[float]]

    def __getitem__(self, name: str) -> Budget:
        """Take the budget of one result."""
        return self.results[name]

    def correlation_of(self, first: str, second: str) -> float:
        """Correlation coefficient of two results."""
        names = list(self.results)
        return float(self.correlation[names.index(first)][names.index(second)])


def independent_budget(name: str, unit: str, model: Model, inputs: Sequence[Input]) -> Budget:
    """First-order budget of independent inputs, with nothing but the standard library.

    For the commands that must start at once; a test holds it against :func:`budgets`.

    Parameters
    ----------
    name, unit : str
        What the result is, and its unit.
    model : callable
        Takes a mapping from input name to number, returns the result.
    inputs : sequence of Input
        Independent of one another.

    Returns
    -------
    Budget
        Without a Monte Carlo check.
    """
    value = float(model({one.name: one.value for one in inputs}))
    sensitivities = [_sensitivity(model, inputs, i) for i in range(len(inputs))]
    u = math.hypot(*(c * one.u for c, one in zip(sensitivities, inputs, strict=True)))
    return _assemble(name, unit, value, u, inputs, sensitivities, None)


def budgets(
    models: Mapping[tuple[str, str], Model],
    inputs: Sequence[Input],
    correlations: Mapping[tuple[str, str], float] | None = None,
    *,
    trials: int = 200_000,
    seed: int = 1,
) -> Budgets:
    """Budgets of several results of the same inputs, correlations carried.

    Parameters
    ----------
    models : mapping
        From (name, unit) of a result to its model, a callable that takes a mapping from
        input name to numbers (floats, or arrays of one shape) and returns the result.
    inputs : sequence of Input
        Shared by all results.
    correlations : mapping, optional
        From a pair of input names to their correlation coefficient, -1 to 1.
    trials : int
        Draws of the Monte Carlo check; zero leaves it out.
    seed : int
        Of the random numbers of the check.

    Returns
    -------
    Budgets
        One Budget a result, and the correlations between the results.

    Raises
    ------
    BadInput
        If a correlation names an unknown input or the matrix is not one of correlations.
    """

    from uncertainties import nominal_value, std_dev

    matrix = _correlation_matrix(inputs, correlations or {})
    numbers = _correlated_numbers(inputs, matrix)
    draws = draw_inputs(inputs, matrix, trials, seed) if trials else None
    results: dict[str, Budget] = {}
    outputs = []
    for (name, unit), model in models.items():
        output, sensitivities = _propagate(model, inputs, numbers)
        outputs.append(output)
        value, u = float(nominal_value(output)), float(std_dev(output))
        budget = _assemble(name, unit, value, u, inputs, sensitivities, matrix)
        if draws is not None:
            check = check_first_order(value, u, run_both(model, draws, trials), budget.dof)
            budget = replace(budget, monte_carlo=check)
        results[name] = budget
    return Budgets(results, _output_correlation(outputs))


def _sensitivity(model: Model, inputs: Sequence[Input], i: int) -> float:
    """Central difference over a step that rounding and curvature both leave alone."""
    one = inputs[i]
    if one.u == 0:
        return 0.0
    values = {each.name: each.value for each in inputs}
    step = max(min(one.u, abs(one.value) * 1e-5 or one.u), abs(one.value) * 1e-9)
    up = float(model({**values, one.name: one.value + step}))
    down = float(model({**values, one.name: one.value - step}))
    return (up - down) / (2 * step)


def _assemble(
    name: str,
    unit: str,
    value: float,
    u: float,
    inputs: Sequence[Input],
    sensitivities: Sequence[float],
    matrix: Any,
) -> Budget:
    own = [c * one.u for c, one in zip(sensitivities, inputs, strict=True)]
    # with correlations, what an input adds to the variance includes its part of each pair
    joint = own if matrix is None else [float(row @ own) for row in matrix]
    variance = u**2
    rows = [
        Row(one, c, mine, mine * shared / variance if variance > 0 else 0.0)
        for one, c, mine, shared in zip(inputs, sensitivities, own, joint, strict=True)
    ]
    dof = effective_dof([(r.share * variance, r.input.dof, r.input.dof_group) for r in rows], u)
    rows.sort(key=lambda row: -abs(row.contribution))
    return Budget(name, unit, value, u, dof, tuple(rows))


def _correlation_matrix(
    inputs: Sequence[Input], correlations: Mapping[tuple[str, str], float]
) -> Any:
    import numpy as np

    names = [one.name for one in inputs]
    if len(set(names)) != len(names):
        raise BadInput("budget: two inputs have the same name")
    matrix = np.eye(len(names))
    for (first, second), r in correlations.items():
        if first not in names or second not in names or first == second:
            raise BadInput(f"budget: no pair of inputs {first!r} and {second!r} to correlate")
        i, j = names.index(first), names.index(second)
        matrix[i, j] = matrix[j, i] = r
    if np.linalg.eigvalsh(matrix).min() < -1e-9 or abs(matrix).max() > 1:
        raise BadInput("budget: the correlations contradict one another")
    return matrix


def _correlated_numbers(inputs: Sequence[Input], matrix: Any) -> dict[str, object]:
    """Inputs as numbers of :mod:`uncertainties`, which carry their correlations."""
    import numpy as np
    from uncertainties import correlated_values_norm, ufloat

    off = np.any(matrix - np.eye(len(inputs)) != 0, axis=1)
    numbers: dict[str, Any] = {
        one.name: ufloat(one.value, one.u) if one.u else one.value
        for one, tied in zip(inputs, off, strict=True)
        if not tied
    }
    tied = [i for i in range(len(inputs)) if off[i]]
    if tied:
        pairs = [(inputs[i].value, inputs[i].u) for i in tied]
        values = correlated_values_norm(pairs, matrix[np.ix_(tied, tied)])
        numbers.update({inputs[i].name: value for i, value in zip(tied, values, strict=True)})
    return numbers


def _propagate(
    model: Model, inputs: Sequence[Input], numbers: Mapping[str, Any]
) -> tuple[Any, list[float]]:
    """Result as a number of :mod:`uncertainties`, and the sensitivity to each input."""
    from uncertainties import wrap

    names = [one.name for one in inputs]
    sensitivities = [_sensitivity(model, inputs, i) for i in range(len(inputs))]

    def of_all(*values: float) -> float:
        return float(model(dict(zip(names, values, strict=True))))

    # our central differences, since those of the library take one step for all magnitudes
    derivatives = [lambda *_, c=c: c for c in sensitivities]
    return wrap(of_all, derivatives)(*(numbers[name] for name in names)), sensitivities


def _output_correlation(outputs: Sequence[Any]) -> list[list[float]]:
    """Correlation matrix of the results; one that is exact goes with nothing."""
    import numpy as np
    from uncertainties import correlation_matrix, std_dev

    live = [i for i, output in enumerate(outputs) if std_dev(output) > 0]
    matrix = np.eye(len(outputs))
    if live:
        matrix[np.ix_(live, live)] = correlation_matrix([outputs[i] for i in live])
    rows: list[list[float]] = matrix.tolist()
    return rows
