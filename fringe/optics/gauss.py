"""Nodes and weights of Gauss's integration."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_STEPS = 4  # of Newton's, after which nothing moves in double precision


@lru_cache(16)
def gauss_legendre(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes between -1 and 1, rising, and weights that add up to two, each shape (count,).

    Both are kept for whoever asks next, and cannot be written to.

    Newton's steps from Tricomi's approximation (NIST DLMF 18.16.14 and 3.5.21, from memory);
    `numpy.polynomial` has them as well, and takes long to load.
    """
    import numpy as np

    k = np.arange(count, 0, -1)
    nodes = (1 - (count - 1) / (8 * count**3)) * np.cos(np.pi * (4 * k - 1) / (4 * count + 2))
    slope = np.ones(count)
    for _ in range(_STEPS):
        before, value = np.ones(count), nodes
        for n in range(1, count):
            before, value = value, ((2 * n + 1) * nodes * value - n * before) / (n + 1)
        slope = count * (before - nodes * value) / (1 - nodes**2)
        nodes = nodes - value / slope
    weights = 2 / ((1 - nodes**2) * slope**2)
    nodes.flags.writeable = weights.flags.writeable = False
    return nodes, weights
