"""The usable pixels of a field as flat arrays, and Zernike terms over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import Term, zernike_rows
from fringe.orders.fit.field import Array, Field

_GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True)
class Pixels:
    """The usable pixels of a field as flat arrays, each of shape (K,), block by block."""

    light: Array
    weight: Array
    u: Array
    v: Array
    block: NDArray[np.int32]
    # change of u and v over one field pixel along x and along y, for the pixel's own blur
    unit_from_px: NDArray[np.float64]
    scale: int
    cached_terms: dict[Term, Array] = field(default_factory=dict, repr=False, compare=False)

    def __len__(self) -> int:
        """Number of pixels."""
        return int(self.light.size)

    def rows(self, terms: Sequence[Term]) -> list[Array]:
        """Zernike terms over all pixels, cached for other fits to the same pixels."""
        missing = [term for term in dict.fromkeys(terms) if term not in self.cached_terms]
        if missing:
            self.cached_terms.update(
                zip(missing, zernike_rows(missing, self.u, self.v), strict=True)
            )
        return [self.cached_terms[term] for term in terms]


def _shift(step: int) -> int:
    """Shift from row to row that leaves out no column: near the golden section, and coprime."""
    near = round(step * _GOLDEN)
    return next(k for k in range(max(near, 1), step + 2) if math.gcd(k, step) == 1)


def pixels_of(field: Field, most: int | None = None, blocks: int = 20) -> Pixels:
    """Flatten a field to its usable pixels.

    Parameters
    ----------
    field : Field
    most : int, optional
        Thin out evenly to at most about this many.
    blocks : int
        Blocks across the disc for the covariance.
    """
    good = field.weight > 0
    if most is not None and good.sum() > most:
        step = int(np.ceil(good.sum() / most))
        # every step-th pixel of a row, shifted from row to row
        columns = np.arange(good.shape[1]) % step
        rows = np.arange(good.shape[0]) * _shift(step) % step
        good &= columns == ((step - rows) % step)[:, None]
    u, v = field.u[good], field.v[good]
    count = max(4, min(blocks, int(2 * field.radius_px / 8)))
    column = np.clip(((u + 1) / 2 * count).astype(np.int32), 0, count - 1)
    row = np.clip(((v + 1) / 2 * count).astype(np.int32), 0, count - 1)
    block = row * count + column
    # sort by block, so that sums over blocks run over contiguous slices
    order = np.argsort(block, kind="stable")
    flat = (field.light[good], field.weight[good], u, v)
    light, weight, u, v = (values[order] for values in flat)
    return Pixels(light, weight, u, v, block[order], field.unit_from_px, field.scale)
