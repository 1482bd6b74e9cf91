"""Local terms of a form: bends of a small place, beside the Zernike terms of the whole disc.

A patch is a product of two cubic B-splines on a square lattice over the disc, freed of what plane,
sphere and astigmatism explain of it, so that these stay where they are: in the Zernike terms up
to degree two. A lattice of spacing 1/K has its nodes at -1, -1 + 1/K, ..., 1; the patch about
column i and row j is the term (-K, 1 + i + j (2 K + 1)): a negative first number tells it from
a Zernike term.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Term = tuple[int, int]
LATTICES = (8, 16)  # nodes a semi-diameter of the lattices that fits use, the coarser first
_MOST_NODES = 64  # a semi-diameter, of any lattice
_LOW: tuple[Term, ...] = ((0, 0), (1, 1), (1, -1), (2, 0), (2, 2), (2, -2))
_SIDE = 24  # places across a patch that its share of plane and sphere is summed over


def is_patch(term: Term) -> bool:
    """Tell a patch from a Zernike term."""
    return term[0] < 0


def patch(nodes: int, column: int, row: int) -> Term:
    """Term of the patch about a node of a lattice with so many nodes a semi-diameter."""
    return -nodes, 1 + column + row * (2 * nodes + 1)


def node(term: Term) -> tuple[float, float, float]:
    """Middle of a patch and its lattice's spacing, on the unit disc.

    Raises
    ------
    BadInput
        If there is no such patch.
    """
    nodes, place = -term[0], term[1] - 1
    side = 2 * nodes + 1
    if not (1 <= nodes <= _MOST_NODES and 0 <= place < side * side):
        raise BadInput(f"there is no patch {term[0]}, {term[1]}")
    return place % side / nodes - 1, place // side / nodes - 1, 1 / nodes


def patch_values(term: Term, u: NDArray[Any], v: NDArray[Any]) -> NDArray[Any]:
    """Values of a patch, shape of `u` and in its precision."""
    total = _low_values(tuple(-x for x in _low_share(term)), u, v)
    total += _bare(term, u, v)
    return total


def patch_slopes(
    term: Term, u: NDArray[np.float64], v: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Derivatives of a patch along u and v, each of the shape of `u`."""
    at_u, at_v, step = node(term)
    x, y = (u - at_u) / step, (v - at_v) / step
    _, tilt_u, tilt_v, power, cos, sin = _low_share(term)
    along_u = _slope(x) * _spline(y) / step - tilt_u - 2 * ((2 * power + cos) * u + sin * v)
    along_v = _spline(x) * _slope(y) / step - tilt_v - 2 * ((2 * power - cos) * v + sin * u)
    return along_u, along_v


def patches_sum(
    terms: Sequence[Term], values: NDArray[np.float64], u: NDArray[Any], v: NDArray[Any]
) -> NDArray[np.float64]:
    """Sum of patches at places, shape of `u`."""
    import numpy as np

    low = np.zeros(len(_LOW))
    total = np.zeros(np.shape(u))
    for term, value in zip(terms, values, strict=True):
        low -= value * np.array(_low_share(term))
        at_u, at_v, step = node(term)
        near = (abs(u - at_u) < 2 * step) & (abs(v - at_v) < 2 * step)
        total[near] += value * _bare(term, u[near], v[near])
    return np.asarray(total + _low_values(tuple(low), u, v))


def _bare(term: Term, u: NDArray[Any], v: NDArray[Any]) -> NDArray[Any]:
    at_u, at_v, step = node(term)
    kind = u.dtype.type
    along, across = ((w - kind(at)) / kind(step) for w, at in ((u, at_u), (v, at_v)))
    values: NDArray[Any] = _spline(along) * _spline(across)
    return values


def _spline(x: NDArray[Any]) -> NDArray[Any]:
    """Cubic B-spline of knots one apart about zero, 1 at its crest."""
    import numpy as np

    size = np.abs(x)
    inner = np.maximum(1 - size, 0)
    outer = np.maximum(2 - size, 0)
    return np.asarray((outer**3 - 4 * inner**3) / x.dtype.type(4))


def _slope(x: NDArray[np.float64]) -> NDArray[np.float64]:
    import numpy as np

    size = np.abs(x)
    inner, outer = np.maximum(1 - size, 0), np.maximum(2 - size, 0)
    return np.asarray(np.sign(x) * (12 * inner**2 - 3 * outer**2) / 4)


def _low_values(values: Sequence[float], u: NDArray[Any], v: NDArray[Any]) -> NDArray[Any]:
    """Sum of the low terms, in the order of `_LOW`."""
    piston, tilt_u, tilt_v, power, cos, sin = (u.dtype.type(x) for x in values)
    total: NDArray[Any] = (2 * power + cos) * u * u + (2 * power - cos) * v * v
    total += 2 * sin * u * v + tilt_u * u + tilt_v * v
    total += piston - power
    return total


@lru_cache(4096)
def _low_share(term: Term) -> tuple[float, ...]:
    """What plane, sphere and astigmatism explain of a patch over the disc: coefficients of `_LOW`.

    The terms are orthogonal over the disc, of mean square 1, 1/4, 1/4, 1/3, 1/6, 1/6.
    """
    import numpy as np

    at_u, at_v, step = node(term)
    places = 2 * step * ((2 * np.arange(_SIDE) + 1) / _SIDE - 1)
    u, v = np.meshgrid(at_u + places, at_v + places)
    height = np.where(u * u + v * v <= 1, _bare(term, u, v), 0.0)
    area = (4 * step / _SIDE) ** 2 / np.pi
    squares = (1, 1 / 4, 1 / 4, 1 / 3, 1 / 6, 1 / 6)
    found = []
    for place, square in enumerate(squares):
        one = _low_values([float(k == place) for k in range(len(_LOW))], u, v)
        found.append(float((height * one).sum()) * area / square)
    return tuple(found)
