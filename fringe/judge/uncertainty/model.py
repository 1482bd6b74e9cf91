"""Inputs of a result and the function that makes it of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fringe.errors import BadInput

Model = Callable[[Mapping[str, Any]], Any]


DISTRIBUTIONS = ("normal", "rectangular")


@dataclass(frozen=True)
class Input:
    """One input quantity of a result.

    Attributes
    ----------
    name : str
        Short name, as `plate radius` or `zero`.
    value, u : float
        Value and standard uncertainty, in `unit`.
    unit : str
        Unit of both.
    dof : float or None
        Degrees of freedom of `u`; None: taken as known.
    distribution : {'normal', 'rectangular'}
        For the Monte Carlo run.
    dof_group : str
        Inputs of one group had their `u` from one estimate, with `dof` degrees together.
    source : str
        How `u` is known.
    of : str
        The lamp, the plate, the photograph whose error it is; empty where no other budget
        shares it.
    """

    name: str
    value: float
    u: float
    unit: str = ""
    dof: float | None = None
    distribution: str = "normal"
    dof_group: str = ""
    source: str = ""
    of: str = ""

    def __post_init__(self) -> None:
        """Refuse an uncertainty that is negative or not finite."""
        if not (math.isfinite(self.value) and 0 <= self.u < math.inf):
            raise BadInput(f"budget: {self.name} has no finite value and uncertainty")
        if self.dof is not None and self.dof <= 0:
            raise BadInput(f"budget: {self.name} has no degrees of freedom left")
        if self.distribution not in DISTRIBUTIONS:
            raise BadInput(f"budget: {self.name}: unknown distribution {self.distribution!r}")
