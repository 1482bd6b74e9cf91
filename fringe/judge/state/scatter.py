"""How much the spells of a shop differ from each other: learned from spell to spell."""

from __future__ import annotations

import math
from dataclasses import dataclass

# What is assumed beforehand: a standard deviation of the logarithm of a spell's rate, and as how
# many spells it counts, so that shops differ by a quarter in it (ours, no source).
USUAL_SCATTER, USUAL_SPELLS = 0.25, 8.0


@dataclass(frozen=True)
class Scatter:
    """Variance of the logarithm of what a spell does beyond its median.

    Attributes
    ----------
    squares : float
        Sum of the squares of these logarithms, as far as readings told them.
    spells : float
        How many spells that comes from; a spell that readings tell by half counts by half.
    """

    squares: float = USUAL_SPELLS * USUAL_SCATTER**2
    spells: float = USUAL_SPELLS

    @property
    def u(self) -> float:
        """Its standard deviation."""
        return math.sqrt(self.squares / self.spells)

    def with_spell(self, squares: float, spells: float) -> Scatter:
        """The same with what one more visit told."""
        return Scatter(self.squares + squares, self.spells + spells)


USUAL = Scatter()  # of a shop that was not seen yet
