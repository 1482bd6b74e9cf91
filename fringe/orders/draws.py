"""Pseudo-random numbers for the few draws of a reading, always the same.

`numpy.random` does this and more, but to load it takes 7 MB and as long as a twentieth of a
reading. SplitMix64 (Steele, Lea & Flood, OOPSLA 2014, 453; constants from memory) mixes a counter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_GOLDEN, _FIRST, _SECOND = (
    np.uint64(word) for word in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB)
)
_DROPPED, _UNIT = np.uint64(11), 2.0**-53  # bits that a float has no room for


class Draws:
    """Numbers drawn one after another from a seed."""

    def __init__(self, seed: int) -> None:
        self._drawn = seed << 32

    def uniform(self, *shape: int) -> NDArray[np.float64]:
        """Numbers from 0 to 1, one excluded."""
        count = int(np.prod(shape))
        word = np.arange(self._drawn + 1, self._drawn + count + 1, dtype=np.uint64) * _GOLDEN
        self._drawn += count
        for shift, factor in ((30, _FIRST), (27, _SECOND)):
            word = (word ^ (word >> np.uint64(shift))) * factor
        word ^= word >> np.uint64(31)
        return np.asarray((word >> _DROPPED) * _UNIT).reshape(shape)

    def integers(self, below: int, *shape: int) -> NDArray[np.intp]:
        """Whole numbers from zero, `below` excluded."""
        return (self.uniform(*shape) * below).astype(np.intp)

    def normal(self, *shape: int) -> NDArray[np.float64]:
        """Standard normal numbers (Box & Muller, Ann. Math. Stat. 29 (1958) 610)."""
        far = np.sqrt(-2 * np.log(1 - self.uniform(*shape)))
        return np.asarray(far * np.cos(2 * np.pi * self.uniform(*shape)))

    def some(self, weight: NDArray[np.float64], count: int) -> NDArray[np.intp]:
        """Different places of `weight`, the likelier the greater it is there; `count` at most.

        Those of the greatest keys u^(1 / weight), as if they were drawn one after another
        (Efraimidis & Spirakis, Inf. Process. Lett. 97 (2006) 181).
        """
        if len(weight) <= count:
            return np.arange(len(weight))
        # the same order by logarithms
        keys = np.log(1 - self.uniform(len(weight))) / np.maximum(weight, 1e-30)
        return np.argpartition(-keys, count)[:count]
